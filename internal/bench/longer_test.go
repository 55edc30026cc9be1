package bench

import (
	"context"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/capture"
	"coilkeep/internal/conformity"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
	"coilkeep/internal/uncertainty"
	"coilkeep/internal/workshop"
)

// fine is a bench so good that nearly all of what is not known of a coil is how warm
// it is, and coils so small that it is soon known.
func fine(s *Settings) {
	s.Capture.ProbeHalfWidthKelvin, s.Capture.CoilDifferenceKelvin = 0.01, 0.01
	s.Capture.MeterPercent, s.Capture.MeterOhms = 0.0005, 0.01
	s.Capture.TimeConstant = 2 * time.Second
}

// untilBetter leaves the coil on the clips until more is known of it than when it
// was recorded, by far.
func (p *place) untilBetter(m record.Measurement) {
	p.t.Helper()
	p.until("a better result", func(s Snapshot) bool {
		return s.ExpandedUncertaintyOhms != nil && *s.ExpandedUncertaintyOhms < 0.7*m.ExpandedUncertaintyOhms
	})
}

// A coil that stays on is recorded a second time when the clips open, in the place
// of the first, and is one coil everywhere.
func TestACoilThatStaysOnIsMeasuredLonger(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, fine)
	p.untilState(capture.Open)
	first := p.measure(6600)
	// Whoever scans the next coil meanwhile does not change what this one is.
	p.untilBetter(first)
	p.next(Next{Serial: "A-1"})
	p.clip(0)
	s := p.until("the better record", func(s Snapshot) bool { return s.Last.ID != first.ID })
	m := *s.Last
	if m.Serial != first.Serial || m.Supersedes != first.ID || m.Sequence != first.Sequence || m.Batch != first.Batch ||
		m.Spool != first.Spool || m.Stage != first.Stage || m.Status != record.Recorded || m.Reason != record.MeasuredLonger {
		t.Errorf("recorded %+v in the place of %+v", m, first)
	}
	if m.ExpandedUncertaintyOhms >= first.ExpandedUncertaintyOhms {
		t.Errorf("± %.3g Ω, before ± %.3g Ω", m.ExpandedUncertaintyOhms, first.ExpandedUncertaintyOhms)
	}
	old, _, err := p.store.Measurement(t.Context(), first.ID)
	if err != nil || old.Status != record.Superseded || old.Reason != record.MeasuredLonger {
		t.Errorf("the first stands as %s, %q, %v", old.Status, old.Reason, err)
	}
	if s.Changed != nil {
		t.Errorf("a change of the verdict is told: %+v", s.Changed)
	}
	deeds, err := p.store.Journal(t.Context(), record.JournalFilter{Action: "supersede"})
	if err != nil || len(deeds) != 0 {
		t.Errorf("journal %+v, %v; it is nobody's deed", deeds, err)
	}
	stats, err := p.store.BatchStatistics(t.Context(), "first")
	if err != nil || stats.Count != 1 {
		t.Errorf("%d coils in the batch, %v", stats.Count, err)
	}
	if next := p.measure(6610); next.Serial != "A-1" {
		t.Errorf("the next is filed as %s, want A-1", next.Serial)
	}
	p.counts.mu.Lock()
	defer p.counts.mu.Unlock()
	if p.counts.measurements != 2 {
		t.Errorf("%d measurements counted, want one for each coil", p.counts.measurements)
	}
}

// A pattern is not needed for it: that nobody has said which coil comes next must
// not stop it.
func TestMeasuredLongerWithoutAPattern(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, func(s *Settings) { fine(s); s.Serials = "" })
	p.clip(0)
	p.until("the bench", func(s Snapshot) bool { return strings.Contains(s.Words, "serial") })
	p.next(Next{Serial: "A-17"})
	first := p.measure(6600)
	p.untilBetter(first)
	p.clip(0)
	s := p.until("the better record", func(s Snapshot) bool { return s.Last.ID != first.ID })
	if s.Last.Serial != "A-17" || s.Last.Supersedes != first.ID {
		t.Errorf("recorded as %s in the place of %s", s.Last.Serial, s.Last.Supersedes)
	}
	p.until("the question", func(s Snapshot) bool { return strings.Contains(s.Words, "which coil is it") })
}

// What somebody voided while the coil was on stays void, and the bench goes on.
func TestAVoidedCoilIsNotMeasuredLonger(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, fine)
	p.untilState(capture.Open)
	first := p.measure(6600)
	p.untilBetter(first)
	if _, err := p.store.Void(t.Context(), first.ID, "another coil", "Wren"); err != nil {
		t.Fatal(err)
	}
	p.open()
	if m := p.measure(6610); m.Serial != "HN-0002" {
		t.Errorf("the next is filed as %s", m.Serial)
	}
	if got := len(p.all()); got != 2 {
		t.Errorf("%d measurements, want the void one and the next", got)
	}
}

// A verdict that changes is told by event, snapshot and journal.
func TestAVerdictThatChangesIsSaid(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, func(s *Settings) { fine(s); s.Capture.Patience = 60 * time.Millisecond })
	p.untilState(capture.Open)
	if _, err := p.bench.CloseBatch(t.Context(), "Wren"); err != nil {
		t.Fatal(err)
	}
	if _, err := p.store.AddDesign(t.Context(), record.Design{Name: "Guarded", TargetOhms: 6650, LowerOhms: 6300, UpperOhms: 7000,
		GuardFactor: 1, AlphaPerKelvin: 0.00393, AlphaStandardUncertaintyPerKelvin: 0.00001}, "test"); err != nil {
		t.Fatal(err)
	}
	if _, err := p.bench.StartBatch(t.Context(), record.BatchStart{Name: "second", Design: "Guarded"}); err != nil {
		t.Fatal(err)
	}
	first := p.measure(6600)
	// So near the limit that patience ends before the verdict is certain, and so
	// far that it is in the end; how soon the first window is full varies a little.
	for range 8 {
		ohms := first.ExpandedUncertaintyOhms
		p.clip(0)
		p.until("open clips", func(s Snapshot) bool { return s.State == capture.Open && s.Unsaved == "" })
		first = p.measure((7000 - 0.8*ohms) * (1 + 0.00393*1.5))
		if first.Verdict == conformity.Undecided {
			break
		}
	}
	if first.Verdict != conformity.Undecided {
		t.Fatalf("the first verdict is %s each time", first.Verdict)
	}
	p.until("a certain verdict", func(s Snapshot) bool {
		return s.ExpandedUncertaintyOhms != nil && s.R20Ohms != nil && *s.R20Ohms+1.1**s.ExpandedUncertaintyOhms < 7000
	})
	events, cancel := p.hub.Subscribe()
	defer cancel()
	p.clip(0)
	s := p.until("the change", func(s Snapshot) bool { return s.Changed != nil })
	want := VerdictChange{Bench: "north", Time: s.Changed.Time, Serial: first.Serial, From: conformity.Undecided, To: conformity.In}
	if *s.Changed != want || s.Last.Verdict != conformity.In {
		t.Errorf("told %+v, last %s; want %+v", *s.Changed, s.Last.Verdict, want)
	}
	for e := range events {
		if e.Type == VerdictEvent {
			if e.Data.(VerdictChange) != want {
				t.Errorf("event %+v", e.Data)
			}
			break
		}
	}
	deeds, err := p.store.Journal(t.Context(), record.JournalFilter{Action: "verdict changed"})
	if err != nil || len(deeds) != 1 || deeds[0].Subject != first.Serial {
		t.Errorf("journal %+v, %v", deeds, err)
	}
	p.measure(6600)
	p.until("the change to be over", func(s Snapshot) bool { return s.Changed == nil })
}

// stuck is a history that takes no better record before it is let go.
type stuck struct {
	Store
	letGo chan struct{}
}

func (s *stuck) RecordBy(ctx context.Context, m record.Measurement, readings []record.Reading, who string) (record.Measurement, error) {
	if m.Supersedes != "" {
		select {
		case <-s.letGo:
		case <-ctx.Done():
			return m, ctx.Err()
		}
		return m, record.ErrFull
	}
	return s.Store.RecordBy(ctx, m, readings, who)
}

// Stopped between the two, the first is what is kept.
func TestStoppedBetweenTheTwoRecords(t *testing.T) {
	t.Parallel()
	disk := &stuck{letGo: make(chan struct{})}
	p := newPlace(t, func(s Store) Store { disk.Store = s; return disk }, fine)
	p.untilState(capture.Open)
	first := p.measure(6600)
	p.untilBetter(first)
	p.clip(0)
	p.until("the write to begin", func(s Snapshot) bool { return s.Unsaved != "" })
	close(disk.letGo)
	p.stop()
	list := p.all()
	if len(list) != 1 || list[0].ID != first.ID || !list[0].Stands() {
		t.Errorf("kept %+v, want the first record alone", list)
	}
}

// A coil declared soaked is measured as such, until it was on the clips.
func TestASoakedCoil(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	since := time.Now().Add(-2 * time.Hour).Truncate(time.Microsecond).UTC()
	if _, err := p.bench.Soak(t.Context(), record.Soak{Serial: "HN-0001", Since: time.Now().Add(time.Hour)}); err == nil {
		t.Error("a soak from tomorrow on is taken")
	}
	k, err := p.bench.Soak(t.Context(), record.Soak{Serial: "HN-0001", Since: since, Who: "Wren"})
	if err != nil || k.Bench != "north" {
		t.Fatalf("%+v, %v", k, err)
	}
	soaked := p.measure(6600)
	p.open()
	other := p.measure(6600)
	if s := settingsOf(t, p, soaked); !s.SoakedSince.Equal(since) {
		t.Errorf("soaked since %v, want %v", s.SoakedSince, since)
	}
	if s := settingsOf(t, p, other); !s.SoakedSince.IsZero() {
		t.Errorf("%s was soaked since %v, and nobody said so", other.Serial, s.SoakedSince)
	}
	const told = "put beside the probe before"
	if !strings.Contains(copperOrigin(t, p, soaked), told) || strings.Contains(copperOrigin(t, p, other), told) {
		t.Errorf("the budgets say %q and %q", copperOrigin(t, p, soaked), copperOrigin(t, p, other))
	}
	p.open()
	p.next(Next{Serial: "HN-0001", Again: true})
	if m := p.measure(6600); !settingsOf(t, p, m).SoakedSince.IsZero() {
		t.Error("it was in somebody's hands since")
	}
}

// What was said by a clock that was set since does not count.
func TestASoakByAnotherClock(t *testing.T) {
	t.Parallel()
	b := New(quickSettings("north", &fakeBench{}), nil, newCounts(), &Hub{}, slog.New(slog.DiscardHandler)).station
	b.around.Batch = &record.Batch{Name: "first"}
	b.around.Serial, b.around.SoakOf = "HN-0001", "HN-0001"
	b.around.Soak = &record.Soak{Since: b.now().Add(-time.Minute)}
	if b.soakedSince().IsZero() {
		t.Fatal("it does not count at all")
	}
	b.clockSetUntil = b.now()
	b.clockSet()
	if got := b.soakedSince(); !got.IsZero() {
		t.Errorf("soaked since %v", got)
	}
}

func settingsOf(t *testing.T, p *place, light record.Measurement) capture.Settings {
	t.Helper()
	m, readings, err := p.store.Measurement(t.Context(), light.ID)
	if err != nil {
		t.Fatal(err)
	}
	s, err := workshop.CapturedOf(m, readings)
	if err != nil {
		t.Fatal(err)
	}
	return s.Settings
}

// copperOrigin is what a measurement's temperature of the copper was drawn from.
func copperOrigin(t *testing.T, p *place, light record.Measurement) string {
	t.Helper()
	m, _, err := p.store.Measurement(t.Context(), light.ID)
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(m.Budget, func(c uncertainty.Component) bool { return c.Source == r20.CopperSource })
	if i < 0 {
		t.Fatalf("the budget does not speak of the copper: %+v", m.Budget)
	}
	return m.Budget[i].Origin
}

// A coil left on teaches its time constant, which is kept as a record.
func TestACurveIsKept(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	first := p.measure(6600)
	estimate := &capture.TimeConstantEstimate{TimeConstant: 8 * time.Minute, StandardError: 30 * time.Second, StartKelvin: 4}
	p.on(func(b *station) { b.keepCurve(estimate, b.onClips) })
	p.until("the curve", func(Snapshot) bool {
		list, err := p.store.CoolingCurves(t.Context(), "Fen")
		return err == nil && len(list) == 1 && list[0].Serial == first.Serial && list[0].TimeConstantSeconds == 480 &&
			list[0].TimeConstantErrorSeconds == 30
	})
	deeds, err := p.store.Journal(t.Context(), record.JournalFilter{Action: "time constant"})
	if err != nil || len(deeds) != 1 || deeds[0].Detail != "left on the clips it settled with a time constant of 8.0 ± 0.5 min from 4.0 "+
		"K away" {
		t.Errorf("journal %+v, %v", deeds, err)
	}
}
