package bench

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/capture"
	"coilkeep/internal/history"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// fakeBench is a meter and a probe that answer at once, a coil that can be
// clipped on and cables that can be pulled.
type fakeBench struct {
	mu    sync.Mutex
	ohms  float64 // 0: clips open
	n     int
	meter fakeCable
	probe fakeCable
}

type fakeCable struct {
	gone, silent, garbage bool
	answers               int // in garbage
	dropped               int64
	identity              string // what the next one opened says of itself
	current               *fakeInstrument
}

type fakeInstrument struct {
	bench  *fakeBench
	probe  bool
	closed chan struct{}
	once   sync.Once
	// identity is what it says of itself; empty is an ordinary answer.
	identity string
}

// nameless is the identity of an instrument that does not say what it is.
const nameless = "nameless"

func (f *fakeBench) clip(ohms float64) { f.do(func() { f.ohms = ohms }) }

func (f *fakeBench) do(change func()) {
	f.mu.Lock()
	defer f.mu.Unlock()
	change()
}

func (f *fakeBench) cable(probe bool) *fakeCable {
	if probe {
		return &f.probe
	}
	return &f.meter
}

func (f *fakeBench) opener(probe bool) func(context.Context) (driver.Instrument, error) {
	return func(context.Context) (driver.Instrument, error) {
		f.mu.Lock()
		defer f.mu.Unlock()
		if f.cable(probe).gone {
			return nil, errors.New("no such device; is it plugged in?")
		}
		i := &fakeInstrument{bench: f, probe: probe, closed: make(chan struct{}), identity: f.cable(probe).identity}
		f.cable(probe).current = i
		return i, nil
	}
}

func (i *fakeInstrument) Read(ctx context.Context) (driver.Reading, error) {
	f := i.bench
	f.mu.Lock()
	defer f.mu.Unlock()
	select {
	case <-i.closed:
		return driver.Reading{}, driver.ErrLineLost
	default:
	}
	switch c := f.cable(i.probe); {
	case c.gone:
		return driver.Reading{}, fmt.Errorf("read: %w", driver.ErrLineLost)
	case c.silent:
		return driver.Reading{}, fmt.Errorf("read: %w", driver.ErrSilent)
	case c.garbage:
		c.answers++
		return driver.Reading{Time: time.Now(), Status: driver.Unreadable, Reason: fmt.Sprintf("noise %d", c.answers), Raw: `\x00\xff`}, nil
	}
	r := driver.Reading{Time: time.Now(), Status: driver.OK, Resolution: 0.01, Value: 21.5, Raw: "21.50"}
	if i.probe {
		return r, nil
	}
	if f.ohms == 0 {
		r.Status, r.Value, r.Raw = driver.Overload, 0, "OL"
		return r, nil
	}
	f.n++
	r.Value = f.ohms + 0.01*float64(f.n%3) // a little life in the last digit
	r.Raw = fmt.Sprintf("%.2f", r.Value)
	return r, nil
}

func (i *fakeInstrument) Dropped() int64 {
	i.bench.mu.Lock()
	defer i.bench.mu.Unlock()
	return i.bench.cable(i.probe).dropped
}

func (i *fakeInstrument) Identify(context.Context) (driver.Identity, error) {
	if i.identity == nameless {
		return driver.Identity{}, nil
	}
	return driver.Identity{Raw: cmp.Or(i.identity, "Elder Vale,EV-41,0007,1.2")}, nil
}

func (i *fakeInstrument) Close() error {
	i.once.Do(func() { close(i.closed) })
	return nil
}

// counts is a Counter that remembers.
type counts struct {
	mu           sync.Mutex
	measurements int
	reconnects   int
	refused      map[capture.Refusal]int
	dropped      map[record.Role]int64
}

func newCounts() *counts {
	return &counts{refused: map[capture.Refusal]int{}, dropped: map[record.Role]int64{}}
}

func (c *counts) ReadingSeen(string, record.Role, driver.Status) {}
func (c *counts) BytesDropped(_ string, role record.Role, bytes int64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.dropped[role] += bytes
}
func (c *counts) HistoryWrite(time.Duration) {}
func (c *counts) Reconnected(string, record.Role) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.reconnects++
}
func (c *counts) MeasurementRecorded(record.Measurement, float64) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.measurements++
}
func (c *counts) CaptureRefused(_ string, why capture.Refusal) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.refused[why]++
}

// quickSettings are rules that need tenths of seconds, so that tests on the
// real clock are quick.
func quickSettings(name string, f *fakeBench) Settings {
	instrument := func(probe bool) InstrumentSettings {
		return InstrumentSettings{Driver: "fake", Port: "fake", Poll: 10 * time.Millisecond, Timeout: 50 * time.Millisecond,
			Open: f.opener(probe)}
	}
	probe := instrument(true)
	return Settings{
		Name: name, Serials: "HN-%04d", Meter: instrument(false), Probe: &probe, ProbeLowCelsius: 0, ProbeHighCelsius: 50,
		Capture: capture.Settings{
			MinOhms: 100, MaxOhms: 200e3, HandsOff: 50 * time.Millisecond, Bounce: 100 * time.Millisecond,
			MaxGap: time.Second, Readings: 5, Window: 50 * time.Millisecond, SlopePercentPerMinute: 10,
			Patience: 300 * time.Millisecond, TimeConstant: 10 * time.Second,
			MeterPercent: 0.05, MeterOhms: 0.3, ProbeHalfWidthKelvin: 0.3, CoilDifferenceKelvin: 0.5, MaxAge: time.Second,
			AlphaPerKelvin: 0.00393, AlphaStandardUncertaintyPerKelvin: 0.00005,
		},
	}
}

// place is a running bench with its history.
type place struct {
	*fakeBench
	t      testing.TB
	bench  *Bench
	store  *history.Store
	hub    *Hub
	counts *counts
	events <-chan Event
	stop   func()
	// others is how many measurements of another release are in the history.
	others int
}

func openStore(t testing.TB, path string) *history.Store {
	t.Helper()
	store, err := history.Open(t.Context(), path, history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := store.Close(); err != nil {
			t.Errorf("close the history: %v", err)
		}
	})
	return store
}

// newPlace starts a bench with a batch open; wrap may stand between it and its
// history.
func newPlace(t *testing.T, wrap func(Store) Store, change func(*Settings)) *place {
	t.Helper()
	store := openStore(t, filepath.Join(t.TempDir(), "history.db"))
	if _, err := store.AddDesign(t.Context(), record.Design{Name: "Fen", TargetOhms: 6650, LowerOhms: 6300, UpperOhms: 7000,
		AlphaPerKelvin: 0.00393, AlphaStandardUncertaintyPerKelvin: 0.00005}, "test"); err != nil {
		t.Fatal(err)
	}
	if _, err := store.OpenBatch(t.Context(), record.BatchStart{Name: "first", Bench: "north", Design: "Fen", Spool: "SP-1"}); err != nil {
		t.Fatal(err)
	}
	return startPlace(t, store, &fakeBench{}, wrap, change)
}

func startPlace(t *testing.T, store *history.Store, f *fakeBench, wrap func(Store) Store, change func(*Settings)) *place {
	t.Helper()
	settings := quickSettings("north", f)
	if change != nil {
		change(&settings)
	}
	var s Store = store
	if wrap != nil {
		s = wrap(store)
	}
	p := &place{fakeBench: f, t: t, store: store, hub: &Hub{}, counts: newCounts()}
	events, cancelEvents := p.hub.Subscribe()
	p.events = events
	p.bench = New(settings, s, p.counts, p.hub, slog.New(slog.DiscardHandler))
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- p.bench.Run(ctx) }()
	p.stop = sync.OnceFunc(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("Run: %v", err)
		}
		cancelEvents()
		p.replay()
	})
	t.Cleanup(p.stop)
	return p
}

// replay captures again what was measured, whatever the test did to the bench.
func (p *place) replay() {
	p.t.Helper()
	var report record.Report
	err := workshop.VerifyCaptures(context.Background(), p.store, &report, func(int, int) {})
	others := 0 // by the rules of another release
	for _, n := range report.NotRecomputed {
		others += n.Count
	}
	if err != nil || len(report.Faults) > 0 || others != p.others || report.CapturedAgain+others != len(p.all()) {
		p.t.Errorf("captured again: %d of %d, %+v, %v", report.CapturedAgain, len(p.all()), report.Faults, err)
	}
}

const patience = 10 * time.Second

// until waits for a snapshot that satisfies ok.
func (p *place) until(what string, ok func(Snapshot) bool) Snapshot {
	p.t.Helper()
	timeout := time.NewTimer(patience)
	defer timeout.Stop()
	for {
		if s := p.bench.Snapshot(); ok(s) {
			return s
		}
		select {
		case _, open := <-p.events:
			if !open {
				p.events, _ = p.hub.Subscribe()
			}
		case <-timeout.C:
			s := p.bench.Snapshot()
			p.t.Fatalf("waited in vain for %s; state %s: %s (meter %q)", what, s.State, s.Words, s.Meter.Fault)
		}
	}
}

func (p *place) untilState(want capture.State) Snapshot {
	p.t.Helper()
	return p.until("state "+string(want), func(s Snapshot) bool {
		return s.State == want && s.Words != "looking at the clips"
	})
}

// measure clips a coil on and waits until it is recorded under a new id.
func (p *place) measure(ohms float64) record.Measurement {
	p.t.Helper()
	before := p.bench.Snapshot().Last
	p.clip(ohms)
	s := p.until("a measurement", func(s Snapshot) bool {
		return s.State == capture.Recorded && s.Last != nil && (before == nil || s.Last.ID != before.ID)
	})
	return *s.Last
}

func (p *place) open() {
	p.t.Helper()
	p.clip(0)
	p.untilState(capture.Open)
}

func (p *place) all() []record.Measurement {
	p.t.Helper()
	list, _, err := p.store.Measurements(context.Background(), record.Filter{Bench: "north"})
	if err != nil {
		p.t.Fatal(err)
	}
	return list
}
