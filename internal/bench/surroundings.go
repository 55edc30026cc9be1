package bench

import (
	"context"
	"errors"
	"time"

	"coilkeep/internal/capture"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// surroundings is what the history says about the coil to come: the batch that
// is open, its design, the next serial number, and what its instruments were
// calibrated for.
// Commands may change them at any time, so they are asked for again and again.
type surroundings struct {
	batch        *record.Batch
	design       *record.Design
	serial       string // by the bench's pattern; empty without one
	calibrations []record.Calibration
	leads        []record.LeadZero
	last         *record.Measurement
	deed         string // id of the latest entry of the journal; empty without one
	// unrecorded is what left this bench without a record, the latest first.
	unrecorded []record.Unrecorded
	// soak is that of the coil soakOf; nil without one.
	soak   *record.Soak
	soakOf string
	// asOf is how many changes of this bench the answer surely knows of.
	asOf int64
	// asked numbers the questions: a later one knows more.
	asked int64
	err   error
}

// lookEvery is how soon a batch started by a command is seen.
const lookEvery = time.Second

// watchSurroundings asks the history for them and passes on what it hears.
func (b *Bench) watchSurroundings(ctx context.Context) {
	for ctx.Err() == nil {
		a := b.askHistory(ctx)
		select {
		case b.contexts <- a:
		case <-ctx.Done():
			return
		}
		timer := time.NewTimer(lookEvery)
		select {
		case <-ctx.Done():
		case <-timer.C:
		case <-b.refetch:
		}
		timer.Stop()
	}
}

func (b *Bench) askHistory(ctx context.Context) surroundings {
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	a := surroundings{asOf: b.changes.Load(), asked: b.questions.Add(1)}
	a.err = func() (err error) {
		if a.batch, err = b.store.OpenBatchOf(ctx, b.settings.Name); err != nil {
			return err
		}
		if a.batch != nil {
			design, err := b.store.DesignRevision(ctx, a.batch.Design, a.batch.DesignRevision)
			if err != nil {
				return err
			}
			a.design = &design
		}
		if b.settings.Serials != "" {
			if a.serial, err = b.store.NextSerial(ctx, b.settings.Serials); err != nil {
				return err
			}
		}
		if a.unrecorded, err = b.store.OpenUnrecorded(ctx, b.settings.Name); err != nil {
			return err
		}
		if err := b.askSoak(ctx, &a); err != nil {
			return err
		}
		if a.calibrations, err = b.store.Calibrations(ctx, b.settings.Name); err != nil {
			return err
		}
		if a.leads, err = b.store.LeadZeros(ctx, b.settings.Name); err != nil {
			return err
		}
		latest, _, err := b.store.Measurements(ctx, record.Filter{Bench: b.settings.Name, Newest: true, Limit: 1})
		if err != nil {
			return err
		}
		if len(latest) == 1 {
			a.last = &latest[0]
		}
		deeds, err := b.store.Journal(ctx, record.JournalFilter{Limit: 1})
		if err == nil && len(deeds) == 1 {
			a.deed = deeds[0].ID
		}
		return err
	}()
	return a
}

// coming is the coil to come and its batch, by name.
type coming struct{ serial, batch string }

// askSoak asks for the soak of the coil to come, as far as that is known; a new
// one is of the open batch.
func (b *Bench) askSoak(ctx context.Context, a *surroundings) (err error) {
	next := *b.coming.Load()
	if next.serial == "" && a.batch != nil {
		next = coming{a.serial, a.batch.Name}
	}
	a.soakOf = next.serial
	if next.serial != "" {
		a.soak, err = b.store.SoakOf(ctx, b.settings.Name, next.serial, next.batch)
	}
	return err
}

// surround takes new surroundings into use. They are old when the bench has
// written since they were asked for, or heard the answer to a later question: they
// may still show the coil before as the last one, or the batch before as open.
// Whoever wrote asks again.
func (b *Bench) surround(a surroundings) (old bool) {
	if a.asOf < b.changes.Load() || a.asked < b.around.asked {
		return true
	}
	if a.err != nil {
		if !errors.Is(a.err, context.Canceled) {
			b.log.Error("history does not answer", "err", a.err)
			b.machine.Hold("the history does not answer: " + a.err.Error())
		}
		return false
	}
	if same(b.around.batch, a.batch) {
		a.batch = b.around.batch // keeps the pointer, so that nothing counts as changed
	}
	if b.last == nil || a.last != nil && (a.last.ID != b.last.ID || a.last.Status != b.last.Status) {
		b.last = a.last
	}
	b.around = a
	b.forgetStored()
	b.relist()
	b.configure()
	return false
}

func same(a, b *record.Batch) bool {
	if a == nil || b == nil {
		return a == b
	}
	return a.Name == b.Name && a.LastSequence == b.LastSequence && len(a.Spools) == len(b.Spools) &&
		(a.ClosedAt == nil) == (b.ClosedAt == nil)
}

// configure tells the capture the rules for the coil to come, and holds it
// when it is not known what that coil is. One that is recorded and still on the
// clips keeps the rules it was recorded by, for it may be measured better.
func (b *Bench) configure() {
	b.coming.Store(b.toCome())
	if b.onClips != nil {
		b.machine.Hold("")
		return
	}
	s := b.corrected(b.settings.Capture)
	if d := b.design(); d != nil {
		s = RulesFor(s, *d)
	}
	s.SoakedSince = b.soakedSince()
	b.machine.Configure(s)
	b.machine.Hold(b.missing())
}

func (b *Bench) toCome() *coming {
	c := coming{serial: b.filedUnder()}
	if batch := b.batch(); batch != nil {
		c.batch = batch.Name
	}
	return &c
}

// corrected fills in what is in force for the meter and its leads. A measured
// lead zero takes the place of the configured one.
func (b *Bench) corrected(s capture.Settings) capture.Settings {
	if c := workshop.CalibrationInForce(b.around.calibrations, record.Meter, b.meter.Label(), b.now()); c != nil {
		s.CorrectionRatio = c.CorrectionRatio
	}
	if z := workshop.LeadZeroInForce(b.around.leads, b.meter.Label(), b.now()); z != nil {
		s.LeadOhms, s.LeadHalfWidthOhms = z.Ohms, z.HalfWidthOhms
	}
	return s
}

// RulesFor is a bench's capture settings for a coil of a design: what it is
// judged by, its wire, and its own time constant where it is known.
func RulesFor(s capture.Settings, d record.Design) capture.Settings {
	tolerance := d.Tolerance()
	s.Tolerance = &tolerance
	s.AlphaPerKelvin = d.AlphaPerKelvin
	s.AlphaStandardUncertaintyPerKelvin = d.AlphaStandardUncertaintyPerKelvin
	s.WantedUncertaintyPercent = d.WantedUncertaintyPercent
	if d.TimeConstantSeconds > 0 {
		s = coolingOf(s, d)
	}
	return s
}

// coolingOf is settings with what a design tells of how its coils cool.
func coolingOf(s capture.Settings, d record.Design) capture.Settings {
	s.TimeConstant = time.Duration(d.TimeConstantSeconds * float64(time.Second))
	s.TimeConstantRatio, s.QuickShare, s.QuickShareDeviation = d.TimeConstantRatio, d.QuickShare, d.QuickShareDeviation
	return s
}

// missing says what a person must do before a coil can be recorded; empty when
// nothing.
func (b *Bench) missing() string {
	if why := b.strange(); why != "" {
		return why
	}
	switch {
	case b.design() == nil:
		return "no batch is open: start one, and the coil is recorded"
	}
	if u := b.question(); u != nil {
		return ask(*u)
	}
	if b.filedUnder() == "" {
		return "which coil is it? Type or scan its serial number"
	}
	return ""
}

// filedUnder is the serial number of the coil to come; empty when a person
// must say.
func (b *Bench) filedUnder() string {
	if b.next.serial != "" || b.around.batch == nil {
		return b.next.serial
	}
	if b.question() != nil || b.taken[b.around.serial] {
		return ""
	}
	return b.around.serial
}

func (b *Bench) stage() string {
	if b.next.stage != "" {
		return b.next.stage
	}
	return record.StageWound
}

// design is what the coil to come is judged by: its own when it was measured
// before, that of the open batch otherwise.
func (b *Bench) design() *record.Design {
	if b.next.design != nil {
		return b.next.design
	}
	return b.around.design
}

// batch is what the coil to come belongs to.
func (b *Bench) batch() *record.Batch {
	if b.next.first != nil {
		return b.next.batch
	}
	return b.around.batch
}
