package bench

import (
	"context"
	"errors"
	"time"

	"coilkeep/internal/capture"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// surroundings is how the bench is situated, by an answer of the history. Commands
// may change it at any time, so it is asked for again when the history changes.
type surroundings struct {
	workshop.Situation
	// asOf is how many changes of this bench the answer surely knows of.
	asOf int64
	// asked numbers the questions: a later one knows more.
	asked int64
	err   error
}

// lookEvery is how soon a batch started by a command is seen, askEvery how soon
// what only time changes.
const (
	lookEvery = time.Second
	askEvery  = time.Minute
)

// watchSurroundings asks the history for them when it has changed, and passes on
// what it hears.
func (b *Bench) watchSurroundings(ctx context.Context) {
	var known struct { // what the last answer was about
		stamp record.Stamp
		next  workshop.Coming
		until time.Time
	}
	for ctx.Err() == nil {
		// Before the question: what is written meanwhile shows as another stamp.
		stamp, err := b.store.Stamp(ctx)
		next := *b.coming.Load()
		if err != nil || stamp != known.stamp || next != known.next || time.Now().After(known.until) {
			a := b.askHistory(ctx)
			select {
			case b.contexts <- a:
			case <-ctx.Done():
				return
			}
			known.stamp, known.next, known.until = stamp, next, time.Now().Add(askEvery)
			if err != nil || a.err != nil {
				known.until = time.Time{}
			}
		}
		timer := time.NewTimer(lookEvery)
		select {
		case <-ctx.Done():
		case <-timer.C:
		case <-b.refetch:
			known.until = time.Time{}
		}
		timer.Stop()
	}
}

func (b *Bench) askHistory(ctx context.Context) surroundings {
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	a := surroundings{asOf: b.changes.Load(), asked: b.questions.Add(1)}
	a.Situation, a.err = workshop.SituationOf(ctx, b.store, b.settings.Name, b.settings.Serials, *b.coming.Load())
	return a
}

// surround takes new surroundings into use. They are old when the bench has
// written since they were asked for, or heard the answer to a later question: they
// may still show the coil before as the last one, or the batch before as open.
// Whoever wrote asks again.
func (b *station) surround(a surroundings) (old bool) {
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
	if sameBatch(b.around.Batch, a.Batch) {
		a.Batch = b.around.Batch // keeps the pointer, so that nothing counts as changed
	}
	if b.last == nil || a.Last != nil && (a.Last.ID != b.last.ID || a.Last.Status != b.last.Status) {
		b.last = a.Last
	}
	b.around = a
	b.lost.know(a.Unrecorded)
	b.configure()
	return false
}

func sameBatch(a, b *record.Batch) bool {
	if a == nil || b == nil {
		return a == b
	}
	return a.Name == b.Name && a.LastSequence == b.LastSequence && len(a.Spools) == len(b.Spools) &&
		(a.ClosedAt == nil) == (b.ClosedAt == nil)
}

// configure tells the capture the rules for the coil to come, and holds it
// when it is not known what that coil is. One that is recorded and still on the
// clips keeps the rules it was recorded by, for it may be measured better.
func (b *station) configure() {
	b.coming.Store(b.toCome())
	if b.onClips != nil {
		b.machine.Hold("")
		return
	}
	s := b.corrected(b.settings.Capture)
	if d := b.design(); d != nil {
		s = workshop.RulesFor(s, *d)
	}
	s.SoakedSince = b.soakedSince()
	b.machine.Configure(s)
	b.machine.Hold(b.missing())
}

func (b *station) toCome() *workshop.Coming {
	c := workshop.Coming{Serial: b.filedUnder()}
	if batch := b.batch(); batch != nil {
		c.Batch = batch.Name
	}
	return &c
}

// corrected fills in what is in force for the meter, its leads and the probe. A measured
// lead zero takes the place of the configured one.
func (b *station) corrected(s capture.Settings) capture.Settings {
	if c := workshop.CalibrationInForce(b.around.Calibrations, record.Meter, b.now(), b.meter.Labels()...); c != nil {
		s.CorrectionRatio, s.MeterCalibrationID = c.CorrectionRatio, c.ID
	}
	if c := workshop.CalibrationInForce(b.around.Calibrations, record.Probe, b.now(), b.probe.Labels()...); c != nil {
		s.ProbeCalibrationID = c.ID
	}
	if z := workshop.LeadZeroInForce(b.around.Leads, b.now(), b.meter.Labels()...); z != nil {
		s.LeadOhms, s.LeadHalfWidthOhms = z.Ohms, z.HalfWidthOhms
	}
	return s
}

// missing says what a person must do before a coil can be recorded; empty when
// nothing.
func (b *station) missing() string {
	if why := b.meter.strange(); why != "" {
		return why
	}
	switch {
	case b.design() == nil:
		return "no batch is open: start one, and the coil is recorded"
	}
	if u := b.question(); u != nil {
		return unrecordedQuestion(*u)
	}
	if b.filedUnder() == "" {
		return "which coil is it? Type or scan its serial number"
	}
	return ""
}

// filedUnder is the serial number of the coil to come; empty when a person
// must say.
func (b *station) filedUnder() string {
	if b.next.serial != "" || b.around.Batch == nil {
		return b.next.serial
	}
	if b.question() != nil || b.lost.taken[b.around.Serial] {
		return ""
	}
	return b.around.Serial
}

func (b *station) stage() string {
	if b.next.stage != "" {
		return b.next.stage
	}
	return record.StageWound
}

// design is what the coil to come is judged by: its own when it was measured
// before, that of the open batch otherwise.
func (b *station) design() *record.Design {
	if b.next.design != nil {
		return b.next.design
	}
	return b.around.Design
}

// batch is what the coil to come belongs to.
func (b *station) batch() *record.Batch {
	if b.next.first != nil {
		return b.next.batch
	}
	return b.around.Batch
}
