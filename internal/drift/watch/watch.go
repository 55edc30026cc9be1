// Package watch keeps at hand what the drift analysis says of the batches in a
// history: for pages, programs and metrics, which ask often, while coils come
// seldom. It also knows which signals a person has taken note of.
//
// Which records count is for package records, what they mean for package drift.
package watch

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"coilkeep/internal/control"
	"coilkeep/internal/drift"
	"coilkeep/internal/drift/records"
	"coilkeep/internal/record"
)

// Store is what is needed of a history.
type Store interface {
	records.Store
	Stamp(ctx context.Context) (record.Stamp, error)
	WithdrawnCoils(ctx context.Context) (map[string]int, error)
	Journal(ctx context.Context, f record.JournalFilter) ([]record.JournalEntry, error)
	AddJournal(ctx context.Context, e record.JournalEntry) (record.JournalEntry, error)
	AddBaseline(ctx context.Context, b record.Baseline) (record.Baseline, error)
	AddFirstBaseline(ctx context.Context, b record.Baseline) (kept record.Baseline, err error)
}

// Drift is the drift report of a batch or a winder. Indices count from 1 in the
// list of points, sequences are the coils' own numbers; what cannot be said is null,
// and the notes say why.
type Drift struct {
	drift.Report
	// The signals that stand: run rules WE1 to WE4, ewma, cusum, step, trend.
	Standing []string `json:"standing"`
	// Whether one of them was not taken note of; false for a winder, whose batches
	// have their own.
	News bool `json:"news"`
	// The latest note about signals of the batch; null when there is none.
	Note *record.JournalEntry `json:"acknowledged"`
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
	drift Drift
	err   error
}

// New watches a history. The time of day is told in zone.
func New(store Store, zone *time.Location) *Watcher {
	return &Watcher{store: store, zone: zone, known: map[string]*answer{}}
}

// falseAlarms of the charts that are used throughout; reckoning them takes
// longer than an analysis.
var falseAlarms = sync.OnceValue(func() control.FalseAlarms { return control.StandardScheme().FalseAlarms() })

// Batch says how a batch fares. The error wraps [records.ErrNothing] when no
// coil of it counts yet, and record.ErrNotFound when there is no such batch.
func (w *Watcher) Batch(ctx context.Context, name string) (Drift, error) {
	stamp, err := w.store.Stamp(ctx)
	if err != nil {
		return Drift{}, err
	}
	a := w.answerFor(name, stamp)
	select {
	case a.turn <- struct{}{}:
		defer func() { <-a.turn }()
	case <-ctx.Done():
		return Drift{}, ctx.Err()
	}
	if a.known {
		return a.drift, a.err
	}
	d, err := w.analyseBatch(ctx, name)
	// What failed may succeed next time, but for there being nothing as yet.
	if err == nil || errors.Is(err, records.ErrNothing) {
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

func (w *Watcher) analyseBatch(ctx context.Context, name string) (Drift, error) {
	coils, options, err := records.CoilsOfBatch(ctx, w.store, name, w.zone)
	if err != nil {
		return Drift{}, err
	}
	d, err := analyseCoils(coils, options)
	if err != nil {
		return Drift{}, fmt.Errorf("batch %s: %w", name, err)
	}
	d.News = len(d.Standing) > 0
	notes, err := w.store.Journal(ctx, record.JournalFilter{Action: records.Acknowledged, Subject: name, Limit: 1})
	if err != nil || len(notes) == 0 {
		return d, err
	}
	d.Note = &notes[0]
	then, err := reportAt(notes[0].Time, coils, options)
	if err != nil {
		return Drift{}, fmt.Errorf("batch %s as it was: %w", name, err)
	}
	d.News = raisesNews(d.Report, then)
	return d, nil
}

// Winder says how the coils of one design that a winder wound fare, over all
// batches. design may be empty when there is only one; otherwise the error wraps
// [records.ErrSeveralDesigns].
func (w *Watcher) Winder(ctx context.Context, winder, design string) (Drift, error) {
	coils, options, err := records.CoilsOfWinder(ctx, w.store, winder, design, w.zone)
	if err != nil {
		return Drift{}, err
	}
	d, err := analyseCoils(coils, options)
	if err != nil {
		return Drift{}, fmt.Errorf("winder %s: %w", winder, err)
	}
	return d, nil
}

func analyseCoils(coils []drift.Coil, options drift.Options) (Drift, error) {
	alarms := falseAlarms()
	options.FalseAlarms = &alarms
	report, err := drift.Analyse(coils, options)
	if err != nil {
		return Drift{}, err
	}
	return Drift{Report: report, Standing: Standing(report)}, nil
}

// reportAt is the report that a person had before them at an instant.
func reportAt(at time.Time, coils []drift.Coil, options drift.Options) (drift.Report, error) {
	var known []drift.Coil
	for _, c := range coils {
		if !c.WoundAt().After(at) {
			known = append(known, c)
		}
	}
	if len(known) == 0 {
		return drift.Report{}, nil
	}
	d, err := analyseCoils(known, options)
	return d.Report, err
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
	if err != nil && !errors.Is(err, records.ErrNothing) {
		return record.JournalEntry{}, err
	}
	if len(d.Standing) == 0 {
		return record.JournalEntry{}, fmt.Errorf("batch %s: %w", batch, ErrNoSignal)
	}
	return w.store.AddJournal(ctx, record.JournalEntry{Bench: kept.Bench, Who: who, Action: records.Acknowledged, Subject: batch,
		Detail: note})
}

// StandingIn lists the signals that stand in a batch; none without a coil.
func (w *Watcher) StandingIn(ctx context.Context, batch string) ([]string, error) {
	d, err := w.Batch(ctx, batch)
	if errors.Is(err, records.ErrNothing) {
		return nil, nil
	}
	return d.Standing, err
}
