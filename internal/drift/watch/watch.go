// Package watch keeps at hand what the drift analysis says of the batches in a
// history: for pages, programs and metrics, which ask often, while coils come
// seldom. It also knows which signals a person has taken note of.
//
// Which records count and what follows from them is for package workshop, what they
// mean for package drift.
package watch

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// Store is what is needed of a history.
type Store interface {
	workshop.BaselineStore
	workshop.WindingStore
	Stamp(ctx context.Context) (record.Stamp, error)
	AddJournal(ctx context.Context, e record.JournalEntry) (record.JournalEntry, error)
}

// Watcher analyses batches when asked, and again only when the history has
// changed. Make one with [New]; it may be used by several goroutines at once.
type Watcher struct {
	store Store
	zone  *time.Location

	mu    sync.Mutex // never held over a question to the store
	stamp record.Stamp
	known map[string]*answer // by batch, as of the stamp
}

// answer is what is known of a batch.
type answer struct {
	// turn holds one token, for the one who may look at the rest or work it out.
	turn  chan struct{}
	known bool
	drift workshop.Drift
	err   error
}

// New watches a history. The time of day is told in zone.
func New(store Store, zone *time.Location) *Watcher {
	return &Watcher{store: store, zone: zone, known: map[string]*answer{}}
}

// Batch says how a batch fares. The error wraps [workshop.ErrNoCoils] when no
// coil of it counts yet, and record.ErrNotFound when there is no such batch.
func (w *Watcher) Batch(ctx context.Context, name string) (workshop.Drift, error) {
	stamp, err := w.store.Stamp(ctx)
	if err != nil {
		return workshop.Drift{}, err
	}
	a := w.answerFor(name, stamp)
	select {
	case a.turn <- struct{}{}:
		defer func() { <-a.turn }()
	case <-ctx.Done():
		return workshop.Drift{}, ctx.Err()
	}
	if a.known {
		return a.drift, a.err
	}
	d, err := workshop.DriftOfBatch(ctx, w.store, name, w.zone)
	// What failed may succeed next time, but for there being nothing as yet.
	if err == nil || errors.Is(err, workshop.ErrNoCoils) {
		a.known, a.drift, a.err = true, d, err
	}
	if errors.Is(err, record.ErrNotFound) {
		w.forgetBatch(name) // or any name that is asked for would be kept
	}
	return d, err
}

func (w *Watcher) forgetBatch(name string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	delete(w.known, name)
}

// answerFor is where what is known of a batch goes, as the history stands. Those who
// ask for one batch wait for each other, and not for those who ask for another.
func (w *Watcher) answerFor(name string, stamp record.Stamp) *answer {
	w.mu.Lock()
	defer w.mu.Unlock()
	if stamp != w.stamp {
		w.stamp = stamp
		clear(w.known)
	}
	a := w.known[name]
	if a == nil {
		a = &answer{turn: make(chan struct{}, 1)}
		w.known[name] = a
	}
	return a
}

// ErrNoSignal is returned when there is nothing to take note of.
var ErrNoSignal = errors.New("no drift signal stands")

// Acknowledge keeps the note of a person who has seen the signals of a batch.
// They are no news from then on, until another is raised. The error wraps
// [ErrNoSignal] when none stands, or is a *record.FieldError.
func (w *Watcher) Acknowledge(ctx context.Context, batch, note, who string) (record.JournalEntry, error) {
	note = strings.TrimSpace(note)
	if note == "" {
		return record.JournalEntry{}, &record.FieldError{Field: "note", Problem: "must say what was found or done"}
	}
	kept, err := w.store.Batch(ctx, batch)
	if err != nil {
		return record.JournalEntry{}, err
	}
	d, err := w.Batch(ctx, batch)
	if err != nil && !errors.Is(err, workshop.ErrNoCoils) {
		return record.JournalEntry{}, err
	}
	if len(d.Standing) == 0 {
		return record.JournalEntry{}, fmt.Errorf("batch %s: %w", batch, ErrNoSignal)
	}
	return w.store.AddJournal(ctx, record.JournalEntry{Bench: kept.Bench, Who: who, Action: workshop.Acknowledged, Subject: batch,
		Detail: note})
}

// StandingIn lists the signals that stand in a batch; none without a coil.
func (w *Watcher) StandingIn(ctx context.Context, batch string) ([]string, error) {
	d, err := w.Batch(ctx, batch)
	if errors.Is(err, workshop.ErrNoCoils) {
		return nil, nil
	}
	return d.Standing, err
}

// Winder says how the coils of one design that a winder wound fare, see
// [workshop.DriftOfWinder].
func (w *Watcher) Winder(ctx context.Context, winder, design string) (workshop.Drift, error) {
	return workshop.DriftOfWinder(ctx, w.store, winder, design, w.zone)
}

// Windings lists what was wound on which winder, see [workshop.Windings].
func (w *Watcher) Windings(ctx context.Context) ([]workshop.Winding, error) {
	return workshop.Windings(ctx, w.store)
}

// SpoolBook lists the spools of one design, see [workshop.SpoolBookOf].
func (w *Watcher) SpoolBook(ctx context.Context, design string) (workshop.SpoolBook, error) {
	return workshop.SpoolBookOf(ctx, w.store, design, w.zone)
}

// Revise makes a baseline of some coils of a batch and keeps it, see
// [workshop.ReviseBaseline].
func (w *Watcher) Revise(ctx context.Context, c workshop.BaselineChoice) (record.Baseline, error) {
	return workshop.ReviseBaseline(ctx, w.store, w.zone, c)
}
