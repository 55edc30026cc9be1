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

// lostCoil is a coil that was not recorded, from the moment on that the clips
// opened until the history is known to list it.
type lostCoil struct {
	record.Unrecorded
	// stored is true once it is in the history, and the bench has counted that as a
	// change of its own.
	stored *atomic.Bool
}

// parted acts on the end of a contact. What the clips held was a coil, unless the
// bench was told otherwise.
func (b *Bench) parted(e *capture.Ended, coil bool) {
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
func (b *Bench) leavesACoil(why capture.Refusal) bool {
	return !b.settings.Capture.Typed && why != capture.SameCoilDoubt
}

// unrecorded notes that the coil that was on the clips is not recorded, and forgets
// which one was to come: the next may be the same or another.
func (b *Bench) unrecorded(e *capture.Ended) {
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
	if u.Serial == "" && b.listsAlready(u) {
		b.note(record.JournalEntry{Action: "not recorded", Subject: b.settings.Name, Detail: u.Words})
		return
	}
	b.next = nextCoil{}
	l := lostCoil{u, &atomic.Bool{}}
	b.lost = append([]lostCoil{l}, b.lost...)
	b.relist()
	b.notes.Go(func() { b.storeLost(l) })
}

// listsAlready is true for a coil of unknown number where another is listed with
// the same reason: the list says no more for naming it twice.
func (b *Bench) listsAlready(u record.Unrecorded) bool {
	for _, o := range b.open {
		if o.Serial == "" && o.Refusal == u.Refusal {
			return true
		}
	}
	return false
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

// relist makes the list of what was not recorded and is neither measured nor
// dismissed: the latest first, each serial number once.
func (b *Bench) relist() {
	type key struct{ serial, stage string }
	known, answered := map[key]bool{}, map[string]bool{}
	b.open, b.taken = nil, map[string]bool{}
	add := func(u record.Unrecorded) {
		if b.answered[u.ID] {
			answered[u.ID] = true
		}
		if u.ByPattern {
			b.taken[u.Serial] = true
		}
		k := key{u.Serial, u.Stage}
		if u.Serial == "" {
			k.stage = u.Refusal
		}
		if !known[k] {
			known[k] = true
			b.open = append(b.open, u)
		}
	}
	for _, l := range b.lost {
		add(l.Unrecorded)
	}
	for _, u := range b.around.Unrecorded {
		add(u)
	}
	b.answered = answered
}

// forgetStored drops the lost coils that the history has listed when it was asked
// last.
func (b *Bench) forgetStored() {
	var kept []lostCoil
	for _, l := range b.lost {
		if !l.stored.Load() {
			kept = append(kept, l)
		}
	}
	b.lost = kept
}

// question is the coil of which must be said whether it is the next one; nil when
// nothing is to be asked. Where a person gives each serial number, that says it.
func (b *Bench) question() *record.Unrecorded {
	if b.settings.Serials == "" || b.next.serial != "" {
		return nil
	}
	for _, u := range b.open {
		if u.Serial != "" && !b.answered[u.ID] && !b.passed(u) {
			return &u
		}
	}
	return nil
}

// passed is true when a coil after u was recorded, so that somebody has answered
// before, perhaps to another run of the program.
func (b *Bench) passed(u record.Unrecorded) bool {
	if b.last == nil {
		return false
	}
	of, made := record.SerialNumber(b.settings.Serials, u.Serial)
	last, lastMade := record.SerialNumber(b.settings.Serials, b.last.Serial)
	if made {
		return lastMade && last > of
	}
	return b.last.Time.After(u.Time)
}

// unrecordedQuestion says the question.
func unrecordedQuestion(u record.Unrecorded) string {
	return fmt.Sprintf("%s was not recorded: %s. Is this %s again, or the next one?", u.Serial, u.Words, u.Serial)
}

// listing is what people are shown of what was not recorded.
func (b *Bench) listing() []Unrecorded {
	list := make([]Unrecorded, len(b.open))
	asked := b.question()
	for i, u := range b.open {
		list[i] = listedUnrecorded(u)
		list[i].Asked = asked != nil && asked.ID == u.ID
	}
	return list
}

func listedUnrecorded(u record.Unrecorded) Unrecorded {
	return Unrecorded{ID: u.ID, Time: u.Time, Serial: u.Serial, Stage: u.Stage, Refusal: u.Refusal, Words: u.Words}
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
	err = b.do(ctx, func() error {
		b.answer(u)
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
		err = b.do(ctx, func() error {
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

// answer notes that somebody has said that the next coil is not u, nor another
// listed before it.
func (b *Bench) answer(u record.Unrecorded) {
	for _, o := range b.open {
		if o.ID == u.ID || o.Time.Before(u.Time) {
			b.answered[o.ID] = true
		}
	}
}
