package watch

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/conformity"
	"coilkeep/internal/drift"
	"coilkeep/internal/history"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

var monday = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// windingShop is a real history with one batch, in which coils are wound a minute
// apart by a seeded hand that scatters by 20 Ω.
type windingShop struct {
	testing.TB
	store  *history.Store
	random *rand.Rand
	wound  int
	// late is how much later than the last coil it is.
	late time.Duration
}

func newWindingShop(t testing.TB) *windingShop {
	t.Helper()
	w := &windingShop{TB: t, random: rand.New(rand.NewPCG(5, 6))}
	store, err := history.Open(t.Context(), filepath.Join(t.TempDir(), "coilkeep.db"), history.Options{Now: w.now})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := store.Close(); err != nil {
			t.Error(err)
		}
	})
	w.store = store
	_, err = store.AddDesign(t.Context(), record.Design{Name: "larkspur", TargetOhms: 6690, LowerOhms: 6490, UpperOhms: 6890,
		AlphaPerKelvin: 0.00393, AlphaStandardUncertaintyPerKelvin: 0.00002}, "ada")
	if err == nil {
		_, err = store.OpenBatch(t.Context(), record.BatchStart{Name: "spring-3", Bench: "north", Design: "larkspur", Winder: "W2",
			Spool: "S-17"})
	}
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func (w *windingShop) now() time.Time { return monday.Add(time.Duration(w.wound)*time.Minute + w.late) }

// wind records coils about a level.
func (w *windingShop) wind(coils int, ohms float64) (last record.Measurement) {
	w.Helper()
	for range coils {
		w.wound++
		last = w.measure(fmt.Sprintf("HN-%04d", w.wound), ohms, "")
	}
	return last
}

// measure records one coil about a level, in the place of a measurement before.
func (w *windingShop) measure(serial string, ohms float64, supersedes string) record.Measurement {
	w.Helper()
	in := r20.Inputs{ResistanceOhms: ohms + 20*w.random.NormFloat64(), Readings: 8, ResolutionOhms: 0.1, StandardDeviationOhms: 0.1,
		MeterOhms: 0.3, TemperatureCelsius: 20, ProbeHalfWidthKelvin: 0.1, AlphaPerKelvin: 0.00393, AlphaStandardUncertaintyPerKelvin: 0.00002}
	result, err := r20.Evaluate(in)
	if err != nil {
		w.Fatal(err)
	}
	tolerance := conformity.Tolerance{LowerOhms: 6490, UpperOhms: 6890}
	j, err := conformity.Judge(result.R20Ohms, result.StandardUncertaintyOhms, result.ExpandedUncertaintyOhms, tolerance)
	if err != nil {
		w.Fatal(err)
	}
	m, err := w.store.Record(w.Context(), record.Measurement{
		Time: w.now(), Bench: "north", Batch: "spring-3", Design: "larkspur", DesignRevision: 1, Serial: serial, Supersedes: supersedes,
		ResistanceOhms: in.ResistanceOhms, TemperatureCelsius: 20, R20Ohms: result.R20Ohms,
		ExpandedUncertaintyOhms: result.ExpandedUncertaintyOhms, CoverageFactor: result.CoverageFactor,
		Verdict: j.Verdict, ConformityProbability: j.Probability, Status: record.Recorded, Spool: "S-17", Winder: "W2",
		Stage: record.StageWound, AlphaPerKelvin: 0.00393, Formula: r20.Formula, Inputs: in, Tolerance: tolerance,
		Budget: result.Budget, Settings: json.RawMessage(`{"min_ohms":100}`),
	}, []record.Reading{{Time: w.now(), Role: record.Meter, Value: in.ResistanceOhms, Resolution: 0.1, Status: "ok", Raw: "R",
		InWindow: true}})
	if err != nil {
		w.Fatal(err)
	}
	return m
}

func (w *windingShop) batch(of *Watcher) workshop.Drift {
	w.Helper()
	d, err := of.Batch(w.Context(), "spring-3")
	if err != nil {
		w.Fatal(err)
	}
	return d
}

// A step is news until it is taken note of, also for the coils that follow it;
// the next step is news again.
func TestAcknowledge(t *testing.T) {
	t.Parallel()
	w := newWindingShop(t)
	watcher := New(w.store, time.UTC)
	if _, err := watcher.Batch(t.Context(), "spring-3"); !errors.Is(err, workshop.ErrNoCoils) {
		t.Errorf("without a coil: got %v", err)
	}
	if _, err := watcher.Acknowledge(t.Context(), "spring-3", "seen", "ada"); !errors.Is(err, ErrNoSignal) {
		t.Errorf("nothing to take note of: got %v", err)
	}
	w.wind(40, 6690)
	if d := w.batch(watcher); d.News || d.Note != nil || slices.Contains(d.Standing, workshop.SignalStep) {
		t.Errorf("a quiet batch: %v, news %v", d.Standing, d.News)
	}
	w.wind(15, 6770)
	d := w.batch(watcher)
	if !d.News || !slices.Contains(d.Standing, workshop.SignalStep) || !slices.Contains(d.Standing,
		workshop.SignalCUSUM) || d.ChangePoints[0].LastBefore < 37 || d.ChangePoints[0].LastBefore > 43 {
		t.Fatalf("after a step of four sigma at coil 41: %v, news %v, changes %+v", d.Standing, d.News, d.ChangePoints)
	}
	if _, err := watcher.Acknowledge(t.Context(), "spring-3", "  ", "ada"); err == nil {
		t.Error("a note that says nothing passed")
	}
	entry, err := watcher.Acknowledge(t.Context(), "spring-3", "new spool, two turns less", "ada")
	if err != nil {
		t.Fatal(err)
	}
	if d = w.batch(watcher); d.News || d.Note == nil || *d.Note != entry || !slices.Contains(d.Standing, workshop.SignalStep) {
		t.Errorf("taken note of: news %v, note %+v, standing %v", d.News, d.Note, d.Standing)
	}
	w.wind(10, 6770)
	if d = w.batch(watcher); d.News {
		t.Errorf("ten more coils at the same level are news: %v", d.Standing)
	}
	w.wind(15, 6690)
	if d = w.batch(watcher); !d.News || len(d.ChangePoints) != 2 {
		t.Errorf("the step back: news %v, changes %+v", d.News, d.ChangePoints)
	}
	if standing, err := watcher.StandingIn(t.Context(), "spring-3"); err != nil || !slices.Equal(standing, d.Standing) {
		t.Errorf("standing %v, %v", standing, err)
	}
}

// Coils that are measured again later were there when the signal was taken note of.
func TestAcknowledgedCoilsMeasuredAgain(t *testing.T) {
	t.Parallel()
	w := newWindingShop(t)
	watcher := New(w.store, time.UTC)
	w.wind(40, 6690)
	var moved []record.Measurement
	for range 15 {
		moved = append(moved, w.wind(1, 6770))
	}
	if _, err := watcher.Acknowledge(t.Context(), "spring-3", "new spool", "ada"); err != nil {
		t.Fatal(err)
	}
	w.late = 24 * time.Hour
	for _, m := range moved {
		w.measure(m.Serial, 6770, m.ID)
	}
	d := w.batch(watcher)
	if d.News || len(d.Points) != 55 || len(d.ChangePoints) == 0 {
		t.Errorf("news %v, %d points, changes %+v; want the step of 55 coils, taken note of", d.News, len(d.Points), d.ChangePoints)
	}
	if d.ChangePoints[0].LastBefore < 37 || strings.Contains(d.Summary, "pause") {
		t.Errorf("the step is told at %+v: %s", d.ChangePoints, d.Summary)
	}
}

// countingStore counts how often the coils are read.
type countingStore struct {
	*history.Store
	reads int
}

func (s *countingStore) Measurements(ctx context.Context, f record.Filter) ([]record.Measurement, string, error) {
	s.reads++
	return s.Store.Measurements(ctx, f)
}

// gatedStore keeps those who read the coils of one batch waiting until it is opened.
type gatedStore struct {
	*history.Store
	batch   string
	waiting chan struct{} // gets one entry a reader
	gate    chan struct{} // closed to open
	reads   atomic.Int32
}

func (s *gatedStore) Measurements(ctx context.Context, f record.Filter) ([]record.Measurement, string, error) {
	if f.Batch == s.batch {
		s.reads.Add(1)
		s.waiting <- struct{}{}
		select {
		case <-s.gate:
		case <-ctx.Done():
			return nil, "", ctx.Err()
		}
	}
	return s.Store.Measurements(ctx, f)
}

// A batch that is slow to read holds up those who ask for it, as long as they care
// to wait, and nobody who asks for another; it is read once for all of them.
func TestSlowBatchHoldsUpNoOther(t *testing.T) {
	t.Parallel()
	w := newWindingShop(t)
	w.wind(12, 6690)
	if _, err := w.store.OpenBatch(t.Context(), record.BatchStart{Name: "summer-1", Bench: "south", Design: "larkspur",
		Winder: "W3"}); err != nil {
		t.Fatal(err)
	}
	store := &gatedStore{Store: w.store, batch: "spring-3", waiting: make(chan struct{}, 9), gate: make(chan struct{})}
	watcher := New(store, time.UTC)
	type result struct {
		drift workshop.Drift
		err   error
	}
	results := make(chan result)
	ask := func(ctx context.Context) {
		d, err := watcher.Batch(ctx, "spring-3")
		results <- result{d, err}
	}
	await := func() result {
		t.Helper()
		select {
		case r := <-results:
			return r
		case <-time.After(10 * time.Second):
			t.Fatal("no answer")
			return result{}
		}
	}
	first, leave := context.WithCancel(t.Context())
	go ask(first)
	select {
	case <-store.waiting:
	case <-time.After(10 * time.Second):
		t.Fatal("the batch is not read")
	}
	other, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	if _, err := watcher.Batch(other, "summer-1"); !errors.Is(err, workshop.ErrNoCoils) {
		t.Errorf("another batch: %v, want its own answer", err)
	}
	gone, giveUp := context.WithCancel(t.Context())
	giveUp()
	if _, err := watcher.Batch(gone, "spring-3"); !errors.Is(err, context.Canceled) {
		t.Errorf("who has left: %v, want the cancellation", err)
	}
	// The first leaves; what it began is nobody's answer, and the next reads again.
	leave()
	if r := await(); !errors.Is(r.err, context.Canceled) {
		t.Errorf("the first: %v, want the cancellation", r.err)
	}
	for range 3 {
		go ask(t.Context())
	}
	close(store.gate)
	for range 3 {
		if r := await(); r.err != nil || len(r.drift.Points) != 12 {
			t.Errorf("%d points, %v; want 12", len(r.drift.Points), r.err)
		}
	}
	if n := store.reads.Load(); n != 2 {
		t.Errorf("read %d times, want once for the first and once for the others", n)
	}
}

// Asking again costs nothing until something has changed.
func TestRemembers(t *testing.T) {
	t.Parallel()
	w := newWindingShop(t)
	store := &countingStore{Store: w.store}
	watcher := New(store, time.UTC)
	last := w.wind(12, 6690)
	first := w.batch(watcher)
	w.batch(watcher)
	if store.reads != 1 {
		t.Errorf("read %d times for two questions", store.reads)
	}
	if _, err := w.store.Void(t.Context(), last.ID, "wrong coil", "ada"); err != nil {
		t.Fatal(err)
	}
	if d := w.batch(watcher); store.reads != 2 || len(d.Points) != len(first.Points)-1 {
		t.Errorf("after a void: read %d times, %d points", store.reads, len(d.Points))
	}
	if _, err := watcher.Batch(t.Context(), "autumn-1"); !errors.Is(err, record.ErrNotFound) || len(watcher.known) != 1 {
		t.Errorf("an unknown batch: got %v, and %d are remembered", err, len(watcher.known))
	}
	winder, err := watcher.Winder(t.Context(), "W2", "")
	if err != nil || len(winder.Points) != 11 || winder.News {
		t.Errorf("the winder: %d points, %v", len(winder.Points), err)
	}
}

// The first forty good coils are kept as the baseline; those after them change
// nothing, until a person revises it.
func TestBaseline(t *testing.T) {
	t.Parallel()
	w := newWindingShop(t)
	watcher := New(w.store, time.UTC)
	follow := func(m record.Measurement) {
		t.Helper()
		events := make(chan bench.Event, 2)
		events <- bench.Event{Type: bench.ReadingEvent, Data: bench.ReadingData{}}
		events <- bench.Event{Type: bench.MeasurementEvent, Data: m}
		close(events)
		watcher.followEvents(t.Context(), events, slog.New(slog.DiscardHandler))
	}
	follow(w.wind(39, 6690))
	if d := w.batch(watcher); d.Baseline.Frozen {
		t.Errorf("39 coils: %+v", d.Baseline)
	}
	follow(w.wind(3, 6690))
	kept := *w.batch(watcher).Baseline
	if !kept.Frozen || kept.Count != drift.DefaultBaseline || kept.Short {
		t.Fatalf("42 coils: %+v", kept)
	}
	ctx, cancel := context.WithCancel(t.Context())
	hub := &bench.Hub{}
	ended := make(chan struct{})
	go func() {
		watcher.Follow(ctx, hub.Subscribe, slog.New(slog.DiscardHandler))
		close(ended)
	}()
	cancel()
	select {
	case <-ended:
	case <-time.After(10 * time.Second):
		t.Fatal("it follows on after the end")
	}
	follow(w.wind(20, 6770))
	d := w.batch(watcher)
	if *d.Baseline != kept || !slices.Contains(d.Standing, workshop.SignalStep) {
		t.Errorf("a step changed the baseline from %+v to %+v; standing %v", kept, *d.Baseline, d.Standing)
	}
	revised, err := watcher.Revise(t.Context(), workshop.BaselineChoice{Batch: "spring-3", From: 43, Count: 18,
		Reason: "another spool", Who: "ada"})
	if err != nil || revised.Count != 18 || revised.FirstCoil != "HN-0043" || revised.Winder != "W2" || revised.MeanOhms < 6755 ||
		revised.MeanOhms > 6785 {
		t.Fatalf("revised to %+v, %v", revised, err)
	}
	if d := w.batch(watcher); !d.Baseline.Frozen || d.Baseline.MeanOhms != revised.MeanOhms {
		t.Errorf("the baseline is %+v, want the revised one", d.Baseline)
	}
	for name, tt := range map[string]struct {
		choice workshop.BaselineChoice
		want   error
		says   string
	}{
		"no reason": {workshop.BaselineChoice{Batch: "spring-3", From: 1, Count: 20}, nil, "must say why"},
		"too few left": {workshop.BaselineChoice{Batch: "spring-3", From: 60, Count: 10, Reason: "x"}, workshop.ErrNoBaseline,
			"has 3 coils from number 60 on, not 10"},
		"too few":       {workshop.BaselineChoice{Batch: "spring-3", From: 1, Count: 5, Reason: "x"}, drift.ErrInput, "10 at least"},
		"unknown batch": {workshop.BaselineChoice{Batch: "autumn-1", Reason: "x"}, record.ErrNotFound, "autumn-1"},
	} {
		_, err := watcher.Revise(t.Context(), tt.choice)
		if err == nil || tt.want != nil && !errors.Is(err, tt.want) || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%s: got %v, want %q", name, err, tt.says)
		}
	}
}

// A winder that wanders from the start has no baseline to keep.
func TestUnsteadyBaseline(t *testing.T) {
	t.Parallel()
	w := newWindingShop(t)
	w.wind(20, 6690)
	w.wind(25, 6770)
	if err := workshop.KeepFirstBaseline(t.Context(), w.store, time.UTC, "W2", "larkspur", 1); err != nil {
		t.Fatal(err)
	}
	if kept, err := w.store.CurrentBaseline(t.Context(), "W2", "larkspur", 1); err != nil || kept != nil {
		t.Errorf("kept %+v, %v, though there is a step at coil 21", kept, err)
	}
}

func TestBooks(t *testing.T) {
	t.Parallel()
	w := newWindingShop(t)
	watcher := New(w.store, time.UTC)
	if book, err := watcher.SpoolBook(t.Context(), "larkspur"); err != nil || len(book.Spools) != 0 {
		t.Errorf("before a coil: %+v, %v", book, err)
	}
	void := w.wind(13, 6690)
	if _, err := w.store.Void(t.Context(), void.ID, "a shorted turn", "ada"); err != nil {
		t.Fatal(err)
	}
	windings, err := watcher.Windings(t.Context())
	if err != nil || len(windings) != 1 || windings[0] != (workshop.Winding{Winder: "W2", Design: "larkspur", Batches: 1, Coils: 12,
		Last:      monday,
		LastBatch: "spring-3"}) {
		t.Errorf("windings %+v, %v", windings, err)
	}
	for _, design := range []string{"", "larkspur"} { // the one wound last
		book, err := watcher.SpoolBook(t.Context(), design)
		if err != nil || book.Design != "larkspur" || len(book.Spools) != 1 || book.Spools[0].Spool != "S-17" ||
			book.Spools[0].Count != 12 || book.Newest != 0 {
			t.Errorf("book %+v, %v", book, err)
		}
	}
}
