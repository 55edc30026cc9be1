package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/simulate"
	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
	"coilkeep/internal/config"
	"coilkeep/internal/copper"
	"coilkeep/internal/history"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// prepare fills an empty history with what the workshop did before the demo
// begins: its designs, yesterday's batch, and the first coils of today's. It
// returns how many coils of the open batch are wound already. Each coil is
// captured from simulated readings by the same rules as in life, only not in
// real time.
func (d *demo) prepare(ctx context.Context, cfg config.Config) (wound int, err error) {
	p := &past{demo: d, settings: demoSettings(cfg), at: d.env.now().Add(-26 * time.Hour).Truncate(time.Minute)}
	p.store, err = history.Open(ctx, cfg.History.Path, history.Options{Now: func() time.Time { return p.at }})
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, p.store.Close()) }()
	open, err := p.store.OpenBatchOf(ctx, demoBench)
	if err != nil {
		return 0, err
	}
	if open != nil { // a folder kept from an earlier demo
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
		return d.wound, nil
	}
	p.at = d.env.now()
	_, err = p.startBatch(ctx, d.design)
	return 0, err
}

const (
	yesterdayWound = 30
	todayWound     = 22
)

// demoMeter is how the simulated meter names itself.
const demoMeter = "Elder Vale,EV-41,0007,1.2"

// past is the workshop before the demo begins, at a time of its own.
type past struct {
	*demo
	settings bench.Settings
	store    *history.Store
	at       time.Time
	serial   int
	rig      *simulate.Bench
	machine  *capture.Machine
	probeAt  time.Time
}

// work winds what was wound.
func (p *past) work(ctx context.Context) error {
	for _, design := range simulate.Designs() {
		tolerance := design.TargetOhms * design.TolerancePercent / 100
		_, err := p.store.AddDesign(ctx, record.Design{
			Name: design.Name, TargetOhms: design.TargetOhms,
			LowerOhms: design.TargetOhms - tolerance, UpperOhms: design.TargetOhms + tolerance,
			GaugeAWG: design.GaugeAWG, Turns: design.Turns,
			Bobbin:         &record.Bobbin{StraightMM: design.StraightMM, CoreRadiusMM: design.CoreRadiusMM, BuildMM: design.BuildMM},
			AlphaPerKelvin: float64(copper.Standard), AlphaStandardUncertaintyPerKelvin: copper.StandardUncertaintyPerKelvin,
		}, "demo")
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
	p.at = p.env.now().Add(-time.Duration(p.wound+2) * time.Minute).Truncate(time.Second)
	today, err := p.startBatch(ctx, p.design)
	if err != nil {
		return err
	}
	if err := p.wind(ctx, today, simulate.NewWinder(p.design, p.seed), p.wound); err != nil {
		return err
	}
	return p.answer(ctx)
}

func (p *past) startBatch(ctx context.Context, design simulate.Design) (record.Batch, error) {
	return p.store.OpenBatch(ctx, record.BatchStart{Bench: demoBench, Design: design.Name,
		Winder: "old treadle", Operator: "Wren", Spool: "HL-117", Who: "Wren"})
}

// wind measures the coils a winder makes, about one a minute.
func (p *past) wind(ctx context.Context, batch record.Batch, winder *simulate.Winder, coils int) error {
	design, err := p.store.DesignRevision(ctx, batch.Design, batch.DesignRevision)
	if err != nil {
		return err
	}
	rules := workshop.RulesFor(p.settings.Capture, design)
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
func (p *past) checkMeter(ctx context.Context) error {
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
	rules := p.settings.Capture
	shown := r20.Inputs{ResistanceOhms: sum / readings, CorrectionRatio: rules.CorrectionRatio, LeadOhms: rules.LeadOhms}
	_, err := p.store.AddCheckMeasurement(ctx, record.CheckMeasurement{
		Bench: demoBench, Standard: checkStandard, NominalOhms: checkOhms, MeasuredOhms: shown.CorrectedOhms(),
		TemperatureCelsius: &celsius, Meter: demoMeter, By: "Wren",
	})
	return err
}

// pass lets time pass with the instruments read, until the machine has a
// result or d is over. Without a machine only the clock moves.
func (p *past) pass(d time.Duration, m *capture.Machine) *capture.Result {
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

func (p *past) keep(ctx context.Context, r capture.Result, batch record.Batch, design record.Design) error {
	p.serial++
	m, readings, err := workshop.NewRecord(r, workshop.Filing{
		Bench: demoBench, Serial: fmt.Sprintf("HL-%04d", p.serial), Stage: record.StageWound,
		Batch: &batch, Design: &design, Meter: demoMeter, Probe: "line",
	})
	if err != nil {
		return err
	}
	_, err = p.store.Record(ctx, m, readings)
	return err
}
