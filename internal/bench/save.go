package bench

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"coilkeep/internal/capture"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// pending is a measurement that is not known to be on the disk.
type pending struct {
	measurement record.Measurement
	readings    []record.Reading
	targetOhms  float64
	// open is the batch that was open when it was measured, and its design; nil
	// when none was. who asked for it is empty when nobody did.
	open       *record.Batch
	openDesign *record.Design
	who        string
	// patterned is true when the serial came from the bench's pattern, so that
	// another one will do when it is taken.
	patterned bool
	writing   bool
	retryAt   time.Time
	// longer is the first record of the coil where this one is to take its place,
	// because it stayed on the clips; nil mostly.
	longer *record.Measurement
	// done is closed once it is durable.
	done chan struct{}
	// why says what went wrong with the last attempt; "saving" before that.
	why string
}

// saved is how an attempt to write ended.
type saved struct {
	measurement record.Measurement
	// next is the serial number after it; empty when a person must say, or when the
	// history is still to be asked.
	next string
	err  error
	took time.Duration
}

const (
	// writeWithin bounds one attempt, so that a hanging disk is seen.
	writeWithin = 15 * time.Second
	// retryAfter is the pause between attempts.
	retryAfter = 2 * time.Second
	// partingWithin is how long a daemon that was told to stop waits for a
	// write.
	partingWithin = 1500 * time.Millisecond
)

// save turns a result into a measurement and begins to write it. Until it is
// durable the capture takes no other coil.
func (b *station) save(ctx context.Context, r capture.Result, who string) {
	filing := b.filing()
	b.follow(r, who)
	b.begin(ctx, r, filing, &pending{targetOhms: b.targetOhms(), patterned: b.next.serial == "",
		open: b.around.Batch, openDesign: b.around.Design, who: cmp.Or(who, b.next.who)})
}

// begin begins to write what p is for.
func (b *station) begin(ctx context.Context, r capture.Result, f workshop.Filing, p *pending) {
	m, readings, err := workshop.NewRecord(r, f)
	if err != nil {
		// Marshalling plain numbers cannot fail on any input; if it does, say so.
		b.log.Error("measurement cannot be kept", "err", err)
		b.machine.Unsaved("it cannot be kept: " + err.Error())
		return
	}
	p.measurement, p.readings, p.why, p.done = m, readings, "saving", make(chan struct{})
	b.pending = p
	b.machine.Unsaved(b.pending.why)
	b.write(ctx)
}

func (b *station) targetOhms() float64 {
	if d := b.design(); d != nil {
		return d.TargetOhms
	}
	return 0
}

// write starts one attempt. It does not end with ctx: a commit under way is
// seen through.
func (b *station) write(ctx context.Context) {
	p := b.pending
	p.writing = true
	m, readings, patterned, who := p.measurement, p.readings, p.patterned, p.who
	go func() {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), writeWithin)
		defer cancel()
		start := time.Now()
		done, err := b.store.RecordBy(ctx, m, readings, who)
		if errors.Is(err, record.ErrDuplicate) && patterned {
			if m.Serial, err = b.store.NextSerial(ctx, b.settings.Serials); err == nil {
				done, err = b.store.RecordBy(ctx, m, readings, who)
			}
		}
		s := saved{measurement: done, err: err, took: time.Since(start)}
		if err == nil && b.settings.Serials != "" {
			if s.next, err = b.store.NextSerial(ctx, b.settings.Serials); err != nil {
				b.log.Warn("the next serial number is not known yet", "err", err)
			}
		}
		b.saves <- s
	}()
}

// retry writes again what could not be written, when its time has come.
func (b *station) retry(ctx context.Context) {
	if p := b.pending; p != nil && !p.writing && !b.now().Before(p.retryAt) {
		b.write(ctx)
	}
}

// saved handles the end of an attempt to write.
func (b *station) saved(ctx context.Context, s saved) {
	if b.pending.longer != nil && unmendable(s.err) {
		// Somebody voided or replaced the first meanwhile: that stands.
		b.log.Warn("a better result of a coil is left out", "coil", b.pending.measurement.Serial, "err", s.err)
		b.written()
		return
	}
	if s.err != nil {
		why := s.err.Error()
		if why != b.pending.why { // a disk may be full all night
			b.log.Error("measurement not saved, will try again", "coil", b.pending.measurement.Serial, "err", s.err)
		}
		b.pending.writing = false
		b.pending.retryAt = b.now().Add(retryAfter)
		b.pending.why = why
		b.machine.Unsaved(b.pending.why)
		return
	}
	m := s.measurement
	b.counter.HistoryWrite(s.took)
	if first := b.pending.longer; first != nil {
		b.savedLonger(*first, m)
		b.written()
		b.askAgain()
		return
	}
	b.counter.MeasurementRecorded(m, b.pending.targetOhms)
	if b.onClips != nil {
		b.onClips.serial, b.onClips.measurement = m.Serial, &m
	}
	b.last, b.change = &m, nil
	b.next = nextCoil{}
	b.around.Serial = s.next
	b.changes.Add(1)
	b.written()
	b.log.Info("measured", "coil", m.Serial, "batch", m.Batch, "r20_ohms", m.R20Ohms,
		"expanded_uncertainty_ohms", m.ExpandedUncertaintyOhms, "verdict", m.Verdict)
	b.hub.Publish(Event{MeasurementEvent, b.settings.Name, m})
	b.askAgain()
}

// written ends what was pending.
func (b *station) written() {
	close(b.pending.done)
	b.pending = nil
	b.machine.Unsaved("")
	b.configure()
}

// unmendable is true for an error that no other attempt to write can mend.
func unmendable(err error) bool {
	return errors.Is(err, record.ErrConflict) || errors.Is(err, record.ErrDuplicate) ||
		errors.Is(err, record.ErrNotFound) || errors.Is(err, record.ErrInvalid)
}

// askAgain lets the history be asked for the next serial at once.
func (b *Bench) askAgain() {
	select {
	case b.refetch <- struct{}{}:
	default:
	}
}

// finishPending waits for a write under way, or tries once more, before the
// bench stops. What still cannot be written is put whole into the log, the
// last place left to keep it.
func (b *station) finishPending() {
	if b.pending == nil {
		return
	}
	if !b.pending.writing {
		b.write(context.Background())
	}
	timer := time.NewTimer(partingWithin)
	defer timer.Stop()
	var err error
	select {
	case s := <-b.saves:
		if s.err == nil {
			b.saved(context.Background(), s)
			return
		}
		err = s.err
	case <-timer.C:
		err = fmt.Errorf("the history did not answer within %v", partingWithin)
	}
	last := struct {
		Measurement record.Measurement `json:"measurement"`
		Readings    []record.Reading   `json:"readings"`
	}{b.pending.measurement, b.pending.readings}
	whole, marshalErr := json.Marshal(last)
	if marshalErr != nil {
		whole = fmt.Appendf(nil, "%+v", last) // anything rather than nothing
	}
	b.log.Error("stopping with a measurement that could not be saved; it follows here in full",
		"coil", b.pending.measurement.Serial, "err", err, "measurement", string(whole))
}

// note writes a journal entry without making the bench wait for it.
func (b *Bench) note(e record.JournalEntry) {
	e.Bench = b.settings.Name
	b.notes.Go(func() {
		ctx, cancel := context.WithTimeout(context.Background(), partingWithin)
		defer cancel()
		if _, err := b.store.AddJournal(ctx, e); err != nil {
			b.log.Error("journal entry not written", "err", err, "action", e.Action, "subject", e.Subject)
		}
	})
}

// filing is what is known of the coil on the clips.
func (b *station) filing() workshop.Filing {
	return workshop.Filing{Bench: b.settings.Name, Serial: b.filedUnder(), Stage: b.stage(), Supersedes: b.next.supersedes,
		Batch: b.batch(), Design: b.design(), First: b.next.first, Meter: b.meter.Label(), Probe: b.probe.Label()}
}

// refile files the measurement that cannot be saved under its serial number as
// that of another coil: with the batch, the spool and the stage of that one. It
// was computed and judged by one design, so a coil of another is refused.
func (b *station) refile(next nextCoil) error {
	p := b.pending
	if p.writing || p.why == "saving" {
		return fmt.Errorf("%w: the last coil is still being saved", ErrState)
	}
	if next.serial == "" {
		return &record.FieldError{Field: "serial", Problem: "must not be empty: the coil measured last could not be saved (" +
			p.why + ") and waits for a serial number"}
	}
	f := workshop.Filing{Serial: next.serial, Stage: cmp.Or(next.stage, record.StageWound), Supersedes: next.supersedes,
		Batch: p.open, Design: p.openDesign, First: next.first}
	if next.first != nil {
		f.Batch, f.Design = next.batch, next.design
	}
	m := &p.measurement
	judgedBy := fmt.Sprintf("%s revision %d", m.Design, m.DesignRevision)
	switch {
	case f.Design == nil:
		return fmt.Errorf("%w: no batch was open when it was measured, and coil %s is new; give the serial number of a coil of design %s",
			ErrState, next.serial, judgedBy)
	case f.Design.Name != m.Design || f.Design.Revision != m.DesignRevision:
		return fmt.Errorf("%w: it was computed and judged as a coil of design %s, and coil %s is of %s revision %d; give another serial "+
			"number, and measure that coil again",
			ErrState, judgedBy, next.serial, f.Design.Name, f.Design.Revision)
	}
	f.File(m)
	p.patterned, p.who = false, cmp.Or(p.who, next.who)
	p.retryAt = b.now()
	return nil
}
