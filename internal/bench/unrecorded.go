package bench

import (
	"context"
	"fmt"
	"sync/atomic"
	"time"

	"github.com/google/uuid"

	"coilkeep/internal/capture"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// A coil that leaves the clips without a record is listed until it is measured or
// somebody dismisses it. The next coil that is clipped on may be the same again or
// the one after it, and only a person can see which: until one has said so, nothing
// is recorded under a serial number that the bench chose. So no label ever shifts.

// parted acts on the end of a contact. What the clips held was a coil, unless the
// bench was told otherwise.
func (b *station) parted(e *capture.Ended, coil bool) {
	if e == nil {
		return
	}
	c := b.onClips
	b.onClips = nil
	if t := e.TimeConstant; t != nil && coil {
		b.keepCurve(t, c)
	}
	if !e.Measured && e.Refusal != "" {
		b.counter.CaptureRefused(b.settings.Name, e.Refusal)
		b.log.Info("coil not measured", "reason", e.Refusal, "words", e.Words)
		if coil && b.leavesACoil(e.Refusal) {
			b.unrecorded(e)
		}
	}
}

// leavesACoil is true for a refusal that leaves a coil without a record. A typed value
// that was refused is still before the eyes of whoever typed it, and waits for a
// temperature. And a coil that the bench asked about may be recorded already:
// taking it off is what the question asks for.
func (b *station) leavesACoil(why capture.Refusal) bool {
	return !b.settings.Capture.Typed && why != capture.SameCoilDoubt
}

// unrecorded notes that the coil that was on the clips is not recorded, and forgets
// which one was to come: the next may be the same or another.
func (b *station) unrecorded(e *capture.Ended) {
	id, err := uuid.NewV7()
	if err != nil {
		b.log.Error("a coil that was not recorded cannot be listed", "err", err)
		return
	}
	u := record.Unrecorded{ID: id.String(), Time: b.now().UTC(), Bench: b.settings.Name, Serial: b.filedUnder(), Stage: b.stage(),
		ByPattern: b.next.serial == "" && b.filedUnder() != "", Refusal: string(e.Refusal), Words: e.Words}
	if why := b.missing(); e.Refusal == capture.OnHold && why != "" {
		u.Words = why
	}
	b.hub.Publish(Event{UnrecordedEvent, b.settings.Name, UnrecordedData{b.settings.Name, listedUnrecorded(u)}})
	if b.lost.lists(u) {
		b.note(record.JournalEntry{Action: "not recorded", Subject: b.settings.Name, Detail: u.Words})
		return
	}
	b.next = nextCoil{}
	l := lostCoil{u, &atomic.Bool{}}
	b.lost.add(l, b.around.Unrecorded)
	b.notes.Go(func() { b.storeLost(l) })
}

// storeLost writes a coil that was not recorded, again and again while the history
// does not take it, until the bench stops.
func (b *Bench) storeLost(l lostCoil) {
	for {
		ctx, cancel := context.WithTimeout(context.Background(), partingWithin)
		_, err := b.store.AddUnrecorded(ctx, l.Unrecorded)
		cancel()
		if err == nil {
			b.changes.Add(1)
			l.stored.Store(true)
			b.askAgain()
			return
		}
		b.log.Error("a coil that was not recorded is not listed in the history yet", "coil", l.Serial, "err", err)
		select {
		case <-b.stopping:
			return
		case <-time.After(retryAfter):
		}
	}
}

// question is the coil of which must be said whether it is the next one; nil when
// nothing is to be asked. Where a person gives each serial number, that says it.
func (b *station) question() *record.Unrecorded {
	if b.settings.Serials == "" || b.next.serial != "" {
		return nil
	}
	return b.lost.asked(b.settings.Serials, b.last)
}

// unrecordedQuestion says the question.
func unrecordedQuestion(u record.Unrecorded) string {
	return fmt.Sprintf("%s was not recorded: %s. Is this %s again, or the next one?", u.Serial, u.Words, u.Serial)
}

// MeasureAgain says that the next coil is the one that was not recorded: it is
// filed under its serial number.
func (b *Bench) MeasureAgain(ctx context.Context, id, who string) error {
	u, err := b.openOne(ctx, id)
	if err != nil {
		return err
	}
	if u.Serial == "" {
		return fmt.Errorf("%w: it is not known which coil that was; type or scan its serial number, or dismiss it", ErrState)
	}
	if err := b.SetNext(ctx, Next{Serial: u.Serial, Stage: u.Stage, Again: true, Who: who}); err != nil {
		return err
	}
	b.note(record.JournalEntry{Who: record.Label(who), Action: "same coil again", Subject: u.Serial,
		Detail: "not recorded before: " + u.Words})
	return nil
}

// TakeNext says that the next coil is another than the one that was not recorded,
// which stays listed and keeps its serial number.
func (b *Bench) TakeNext(ctx context.Context, id, who string) error {
	u, err := b.openOne(ctx, id)
	if err != nil {
		return err
	}
	err = b.do(ctx, func(b *station) error {
		b.lost.answer(u)
		if b.next.serial == u.Serial {
			b.next = nextCoil{}
		}
		b.configure()
		return nil
	})
	if err == nil {
		b.note(record.JournalEntry{Who: record.Label(who), Action: "next coil", Subject: u.Serial,
			Detail: "it is put aside; not recorded: " + u.Words})
	}
	return err
}

// Dismiss takes a coil that was not recorded off the list, and all of the same
// serial number with it. The bench gives that number to no other coil.
func (b *Bench) Dismiss(ctx context.Context, id, who string) (record.Unrecorded, error) {
	if _, err := b.openOne(ctx, id); err != nil {
		return record.Unrecorded{}, err
	}
	u, err := b.store.Dismiss(ctx, id, record.Label(who))
	if err == nil {
		err = b.do(ctx, func(b *station) error {
			if b.next.serial == u.Serial {
				b.next = nextCoil{}
			}
			return nil
		})
	}
	return u, b.takeUp(ctx, err)
}

// openOne finds a coil of this bench that is not recorded yet.
func (b *Bench) openOne(ctx context.Context, id string) (record.Unrecorded, error) {
	u, err := b.store.Unrecorded(ctx, id)
	switch {
	case err != nil:
		return u, err
	case u.Bench != b.settings.Name:
		return u, fmt.Errorf("%w: that coil left bench %s", record.ErrNotFound, u.Bench)
	case u.End != nil:
		return u, fmt.Errorf("%w: coil %s was %s at %s", record.ErrConflict, u.Serial, u.End.How, words.Minute(u.End.Time, time.Local))
	}
	return u, nil
}
