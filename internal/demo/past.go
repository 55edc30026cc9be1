package demo

import (
	"context"
	"fmt"
	"math"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/simulate"
	"coilkeep/internal/capture"
	"coilkeep/internal/copper"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// Records is a history to put the past into, and to ask what a buyer's question
// needs.
type Records interface {
	workshop.ComplaintStore
	BatchRecords
	Designs(ctx context.Context) ([]record.Design, error)
	AddDesign(ctx context.Context, d record.Design, who string) (record.Design, error)
	Record(ctx context.Context, m record.Measurement, readings []record.Reading) (record.Measurement, error)
	AddCheckMeasurement(ctx context.Context, c record.CheckMeasurement) (record.CheckMeasurement, error)
	AddComparison(ctx context.Context, c record.Comparison) (record.Comparison, error)
}

// BatchRecords opens batches and closes them.
type BatchRecords interface {
	OpenBatchOf(ctx context.Context, bench string) (*record.Batch, error)
	OpenBatch(ctx context.Context, start record.BatchStart) (record.Batch, error)
	ChangeSpool(ctx context.Context, batch, spool, who string) (record.Batch, error)
	CloseBatch(ctx context.Context, batch, who string) (record.Batch, error)
}

// Past is what the workshop did before the demo begins: its designs, yesterday's
// batch, the first coils of today's, and its answers to buyers. It has a time of
// its own.
type Past struct {
	seed    uint64
	wound   int // coils of today's batch
	now     time.Time
	at      time.Time
	store   Records
	rules   capture.Settings
	serial  int
	rig     *simulate.Bench
	machine *capture.Machine
	probeAt time.Time
}

// UsuallyWound is how many coils of the batch under way a newcomer finds wound:
// enough to show its change of spool.
const UsuallyWound = 22

// yesterdayWound is how many coils yesterday's batch has.
const yesterdayWound = 30

// meterName is how the simulated meter names itself.
const meterName = "Elder Vale,EV-41,0007,1.2"

// NewPast is the past that ends at now, with so many coils of the batch that is
// still under way.
func NewPast(seed uint64, wound int, now time.Time) *Past {
	return &Past{seed: seed, wound: wound, now: now, at: now.Add(-26 * time.Hour).Truncate(time.Minute)}
}

// Now is the time as it passes while the past is filled in: the clock of the
// history that it is put into.
func (p *Past) Now() time.Time { return p.at }

// Fill puts the past into a history that is empty, and returns how many coils of
// the batch under way are wound. Each coil is captured from simulated readings by
// the rules of the demo's bench, only not in real time. A history kept from an
// earlier demo is left as it is, but that it has a batch under way again.
func (p *Past) Fill(ctx context.Context, store Records, rules capture.Settings) (wound int, err error) {
	p.store, p.rules = store, rules
	open, err := p.store.OpenBatchOf(ctx, Bench)
	if err != nil {
		return 0, err
	}
	if open != nil {
		return open.LastSequence, nil
	}
	designs, err := p.store.Designs(ctx)
	if err != nil {
		return 0, err
	}
	if len(designs) == 0 {
		if err := p.work(ctx); err != nil {
			return 0, fmt.Errorf("prepare the records of the demo: %w", err)
		}
		return p.wound, nil
	}
	p.at = p.now
	_, err = p.startBatch(ctx, todaysDesign())
	return 0, err
}

// work winds what was wound.
func (p *Past) work(ctx context.Context) error {
	for _, design := range simulate.Designs() {
		tolerance := design.TargetOhms * design.TolerancePercent / 100
		_, err := p.store.AddDesign(ctx, record.Design{
			Name: design.Name, TargetOhms: design.TargetOhms,
			LowerOhms: design.TargetOhms - tolerance, UpperOhms: design.TargetOhms + tolerance,
			GaugeAWG: design.GaugeAWG, Turns: design.Turns,
			Bobbin:         &record.Bobbin{StraightMM: design.StraightMM, CoreRadiusMM: design.CoreRadiusMM, BuildMM: design.BuildMM},
			AlphaPerKelvin: float64(copper.Standard), AlphaStandardUncertaintyPerKelvin: copper.StandardUncertaintyPerKelvin,
		}, operator)
		if err != nil {
			return err
		}
	}
	p.rig = simulate.NewBench(simulate.Config{
		Room:  simulate.Room{BaseCelsius: 20.4, SwingKelvin: 0.6, Period: 3 * time.Hour},
		Meter: simulate.OrdinaryMeter(), Probe: simulate.OrdinaryProbe(), Seed: p.seed,
		Now: func() time.Time { return p.at },
	})
	yesterday, err := p.startBatch(ctx, simulate.Designs()[0])
	if err != nil {
		return err
	}
	if err := p.wind(ctx, yesterday, simulate.NewWinder(simulate.Designs()[0], p.seed+1), yesterdayWound); err != nil {
		return err
	}
	if _, err := p.store.CloseBatch(ctx, yesterday.Name, "Wren"); err != nil {
		return err
	}
	p.at = p.now.Add(-time.Duration(p.wound+2) * time.Minute).Truncate(time.Second)
	today, err := p.startBatch(ctx, todaysDesign())
	if err != nil {
		return err
	}
	if err := p.wind(ctx, today, simulate.NewWinder(todaysDesign(), p.seed), p.wound); err != nil {
		return err
	}
	return p.answer(ctx)
}

func (p *Past) startBatch(ctx context.Context, design simulate.Design) (record.Batch, error) {
	return p.store.OpenBatch(ctx, record.BatchStart{Bench: Bench, Design: design.Name,
		Winder: "old treadle", Operator: "Wren", Spool: "HL-117", Who: "Wren"})
}

// wind measures the coils a winder makes, about one a minute.
func (p *Past) wind(ctx context.Context, batch record.Batch, winder *simulate.Winder, coils int) error {
	design, err := p.store.DesignRevision(ctx, batch.Design, batch.DesignRevision)
	if err != nil {
		return err
	}
	rules := workshop.RulesFor(p.rules, design)
	p.machine = capture.New(rules)
	for i := range coils {
		if i%checkEvery == 0 {
			if err := p.checkMeter(ctx); err != nil {
				return err
			}
		}
		wound := winder.Next()
		if wound.NewSpool {
			if batch, err = p.store.ChangeSpool(ctx, batch.Name, wound.Spool, "Wren"); err != nil {
				return err
			}
		}
		p.pass(20*time.Second, nil)
		p.pass(2*time.Second, p.machine) // the clips are seen open
		coil := simulate.CopperCoil(wound.R20Ohms, p.rig.RoomCelsius())
		p.rig.Attach(coil)
		result := p.pass(40*time.Second, p.machine)
		p.rig.Detach()
		if result == nil {
			return fmt.Errorf("coil %d of batch %s was not measured: %s", wound.Sequence, batch.Name, p.machine.View().Words)
		}
		if err := p.keep(ctx, *result, batch, design); err != nil {
			return err
		}
		p.pass(2*time.Second, p.machine)
	}
	return nil
}

// A resistor that never changes tells the meter from the winder: it is measured
// before the first coil and after every few.
const (
	checkEvery    = 4
	checkStandard = "CS-1"
	checkOhms     = 6810.0
)

// checkMeter measures the check standard, as the bench does when asked to.
func (p *Past) checkMeter(ctx context.Context) error {
	p.pass(20*time.Second, nil)
	p.rig.Attach(simulate.Coil{R20Ohms: checkOhms})
	const readings = 8
	sum := 0.0
	for range readings {
		p.pass(200*time.Millisecond, nil)
		sum += p.rig.ReadMeter().Value
	}
	celsius := p.rig.ReadProbe()
	p.rig.Detach()
	rules := p.rules
	shown := r20.Inputs{ResistanceOhms: sum / readings, CorrectionRatio: rules.CorrectionRatio, LeadOhms: rules.LeadOhms}
	_, err := p.store.AddCheckMeasurement(ctx, record.CheckMeasurement{
		Bench: Bench, Standard: checkStandard, NominalOhms: checkOhms, MeasuredOhms: shown.CorrectedOhms(),
		TemperatureCelsius: &celsius, Meter: meterName, By: "Wren",
	})
	return err
}

// pass lets time pass with the instruments read, until the machine has a
// result or d is over. Without a machine only the clock moves.
func (p *Past) pass(d time.Duration, m *capture.Machine) *capture.Result {
	end := p.at.Add(d)
	if m == nil {
		p.at = end
		return nil
	}
	for p.at.Before(end) {
		p.at = p.at.Add(100 * time.Millisecond)
		if p.at.Sub(p.probeAt) >= 500*time.Millisecond {
			p.probeAt = p.at
			celsius := math.Round(p.rig.ReadProbe()*100) / 100
			m.Probe(driver.Reading{Time: p.at, Status: driver.OK, Value: celsius, Resolution: 0.01, Raw: fmt.Sprintf("T=%.2f C", celsius)})
		}
		if out := m.Meter(meterReading(p.at, p.rig.ReadMeter())); out.Result != nil {
			return out.Result
		}
	}
	return nil
}

func meterReading(at time.Time, v simulate.MeterValue) driver.Reading {
	if v.Overload {
		return driver.Reading{Time: at, Status: driver.Overload, Reason: "overload", Raw: "+9.90000000E+37"}
	}
	return driver.Reading{Time: at, Status: driver.OK, Value: v.Value, Resolution: v.Resolution, Raw: fmt.Sprintf("%+.8E", v.Value)}
}

func (p *Past) keep(ctx context.Context, r capture.Result, batch record.Batch, design record.Design) error {
	p.serial++
	m, readings, err := workshop.NewRecord(r, workshop.Filing{
		Bench: Bench, Serial: fmt.Sprintf("HL-%04d", p.serial), Stage: record.StageWound,
		Batch: &batch, Design: &design, Meter: meterName, Probe: "line",
	})
	if err != nil {
		return err
	}
	_, err = p.store.Record(ctx, m, readings)
	return err
}
