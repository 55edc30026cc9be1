package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
	"coilkeep/internal/conformity"
	"coilkeep/internal/drift/watch"
	"coilkeep/internal/history"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

var noon = time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC)

// patience bounds every wait of these tests.
const patience = 10 * time.Second

// settableBench is a bench whose state a test sets; what it is told to do
// with batches it does in a real history, and the rest it remembers.
type settableBench struct {
	store *history.Store

	mu       sync.Mutex
	snapshot bench.Snapshot
	err      error // what every order answers
	next     bench.Next
	request  bench.RecordRequest
	typed    string
}

func (b *settableBench) Snapshot() bench.Snapshot {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.snapshot
}

func (b *settableBench) Takes() (leastOhms, mostOhms float64) { return 100, 200_000 }

// set changes how the bench stands.
func (b *settableBench) set(change func(*bench.Snapshot)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	change(&b.snapshot)
}

// told returns what the bench was told last.
func (b *settableBench) told() (next bench.Next, request bench.RecordRequest, typed string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.next, b.request, b.typed
}

// fail has every order answer err.
func (b *settableBench) fail(err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.err = err
}

func (b *settableBench) StartBatch(ctx context.Context, start record.BatchStart) (record.Batch, error) {
	batch, err := b.store.OpenBatch(ctx, start)
	if err == nil {
		b.set(func(s *bench.Snapshot) { s.Batch = &batch })
	}
	return batch, err
}

func (b *settableBench) CloseBatch(ctx context.Context, who string) (record.Batch, error) {
	open := b.Snapshot().Batch
	if open == nil {
		return record.Batch{}, fmt.Errorf("%w: no batch is open", bench.ErrState)
	}
	b.set(func(s *bench.Snapshot) { s.Batch = nil })
	return b.store.CloseBatch(ctx, open.Name, who)
}

func (b *settableBench) ChangeSpool(ctx context.Context, spool, who string) (record.Batch, error) {
	return b.store.ChangeSpool(ctx, b.Snapshot().Batch.Name, spool, who)
}

func (b *settableBench) SetNext(_ context.Context, next bench.Next) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.next = next
	return b.err
}

func (b *settableBench) Record(_ context.Context, request bench.RecordRequest) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.request = request
	return b.err
}

func (b *settableBench) Type(_ context.Context, role record.Role, text string, _ bool) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.typed = string(role) + " " + text
	return b.err
}

func (b *settableBench) MeasureAgain(_ context.Context, id, who string) error {
	return b.answer("again", id, who)
}

func (b *settableBench) TakeNext(_ context.Context, id, who string) error {
	return b.answer("next", id, who)
}

func (b *settableBench) Dismiss(_ context.Context, id, who string) (record.Unrecorded, error) {
	return record.Unrecorded{ID: id}, b.answer("dismiss", id, who)
}

// answer remembers what was said of a coil that was not recorded.
func (b *settableBench) answer(what, id, who string) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.typed = what + " " + id + " " + who
	return b.err
}

func (b *settableBench) Soak(ctx context.Context, k record.Soak) (record.Soak, error) {
	k.Bench = b.Snapshot().Bench
	return b.store.AddSoak(ctx, k)
}

// workshop is a daemon's HTTP side over a real history, with one bench, north.
type testShop struct {
	Server
	store *history.Store
	north *settableBench
	hub   *bench.Hub
	url   string
}

func newWorkshop(t testing.TB) *testShop {
	t.Helper()
	store, err := history.Open(t.Context(), filepath.Join(t.TempDir(), "coilkeep.db"),
		history.Options{Now: func() time.Time { return noon }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := store.Close(); err != nil {
			t.Error(err)
		}
	})
	north := &settableBench{store: store, snapshot: idle("north")}
	w := &testShop{store: store, north: north, hub: &bench.Hub{}}
	w.Server = Server{
		Benches: []Bench{north},
		History: store,
		Drift:   watch.New(store, time.UTC),
		Events:  w.hub,
		Metrics: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "text/plain")
			fmt.Fprintln(w, "coilkeep_build_info 1")
		}),
		Workshop: "Heron Lane Coils",
		Now:      func() time.Time { return noon },
	}
	return w
}

// idle is how a bench stands with nothing on the clips.
func idle(name string) bench.Snapshot {
	temperature, at := 22.35, noon.Add(-time.Second)
	return bench.Snapshot{
		Bench: name, Time: noon, State: capture.Open, Words: "Clip a coil on.", Since: noon,
		TemperatureCelsius: &temperature,
		Meter: bench.Instrument{Role: record.Meter, Driver: "scpi", Port: "/dev/ttyUSB0", Identity: "Elder Vale,EV-40,1207,1.2",
			Up: true, LastAt: &at, LastStatus: "overload"},
		Probe: bench.Instrument{Role: record.Probe, Driver: "line", Port: "/dev/ttyUSB1", Up: true, LastAt: &at, LastStatus: "ok"},
		Stage: record.StageWound, Unrecorded: []bench.Unrecorded{}, AheadSeconds: capture.Ahead.Seconds(),
	}
}

// start serves the workshop until the test ends, or until stop is called.
func (w *testShop) start(t testing.TB) (stop func()) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	w.url = "http://" + listener.Addr().String()
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- w.Run(ctx, listener) }()
	stop = sync.OnceFunc(func() {
		cancel()
		select {
		case err := <-ended:
			if err != nil {
				t.Errorf("Run returned %v", err)
			}
		case <-time.After(patience):
			t.Error("the server does not stop")
		}
	})
	t.Cleanup(stop)
	return stop
}

// reply is an answer, read whole.
type reply struct {
	status int
	header http.Header
	body   []byte
}

// ask sends a request; body may be nil, a string of JSON, or a value that
// becomes JSON. The answer is checked against the API's own description.
func (w *testShop) ask(t *testing.T, method, path string, body any, change ...func(*http.Request)) reply {
	t.Helper()
	var content io.Reader
	switch b := body.(type) {
	case nil:
	case string:
		content = strings.NewReader(b)
	default:
		encoded, err := json.Marshal(b)
		if err != nil {
			t.Fatal(err)
		}
		content = bytes.NewReader(encoded)
	}
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	request, err := http.NewRequestWithContext(ctx, method, w.url+path, content)
	if err != nil {
		t.Fatal(err)
	}
	if body != nil {
		request.Header.Set("Content-Type", "application/json")
	}
	for _, c := range change {
		c(request)
	}
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatalf("%s %s: %v", method, path, err)
	}
	defer response.Body.Close()
	answer := reply{status: response.StatusCode, header: response.Header}
	if answer.body, err = io.ReadAll(response.Body); err != nil {
		t.Fatalf("%s %s: %v", method, path, err)
	}
	checkDescribed(t, request, answer)
	return answer
}

// want fails the test unless the answer has that status and is JSON, and
// decodes it into a T.
func want[T any](t *testing.T, r reply, status int) T {
	t.Helper()
	var value T
	wantType := "application/json"
	if status >= 400 {
		wantType = "application/problem+json"
	}
	if r.status != status {
		t.Fatalf("got status %d, want %d: %s", r.status, status, r.body)
	}
	if got := r.header.Get("Content-Type"); got != wantType {
		t.Errorf("got content type %q, want %q", got, wantType)
	}
	if err := json.Unmarshal(r.body, &value); err != nil {
		t.Fatalf("decode the answer: %v: %s", err, r.body)
	}
	return value
}

// longMeadow is the design of these tests.
func longMeadow() record.Design {
	d := workshop.BlankDesign()
	d.Name, d.TargetOhms, d.LowerOhms, d.UpperOhms = "Long Meadow", 6690, 6355.5, 7024.5
	d.GaugeAWG, d.Turns = 42, 5600
	return d
}

// wind opens batch LM-1 on bench north, of a design it adds first.
func (w *testShop) wind(t testing.TB) record.Batch {
	t.Helper()
	design, err := w.store.AddDesign(t.Context(), longMeadow(), "")
	if err != nil {
		t.Fatal(err)
	}
	batch, err := w.store.OpenBatch(t.Context(), record.BatchStart{Name: "LM-1", Bench: "north", Design: design.Name,
		Spool: "S-7", Winder: "W1", Operator: "Ada"})
	if err != nil {
		t.Fatal(err)
	}
	w.north.set(func(s *bench.Snapshot) { s.Batch, s.Design, s.NextSerial = &batch, &design, "HN-0001" })
	return batch
}

// measure records a coil of batch LM-1 that measures ohms at 22.35 °C.
func (w *testShop) measure(t testing.TB, serial string, ohms float64, at time.Time) record.Measurement {
	t.Helper()
	d := longMeadow()
	inputs := r20.Inputs{
		ResistanceOhms: ohms, Readings: 8, StandardDeviationOhms: 0.12, ResolutionOhms: 0.1,
		MeterPercent: 0.05, MeterOhms: 0.3, TemperatureCelsius: 22.35, ProbeHalfWidthKelvin: 0.3,
		CoilDifferenceHalfWidthKelvin: 0.5, AlphaPerKelvin: d.AlphaPerKelvin,
		AlphaStandardUncertaintyPerKelvin: d.AlphaStandardUncertaintyPerKelvin,
	}
	result, err := r20.Evaluate(inputs)
	if err != nil {
		t.Fatal(err)
	}
	judgement, err := conformity.Judge(result.R20Ohms, result.StandardUncertaintyOhms, result.ExpandedUncertaintyOhms, d.Tolerance())
	if err != nil {
		t.Fatal(err)
	}
	m := record.Measurement{
		Time: at, Bench: "north", Batch: "LM-1", Design: d.Name, DesignRevision: 1, Serial: serial,
		ResistanceOhms: ohms, TemperatureCelsius: inputs.TemperatureCelsius, R20Ohms: result.R20Ohms,
		ExpandedUncertaintyOhms: result.ExpandedUncertaintyOhms, CoverageFactor: result.CoverageFactor,
		Verdict: judgement.Verdict, ConformityProbability: judgement.Probability, Status: record.Recorded,
		Spool: "S-7", Winder: "W1", Operator: "Ada", Meter: "Elder Vale,EV-40,1207,1.2", Probe: "line on /dev/ttyUSB1",
		Stage: record.StageWound, AlphaPerKelvin: d.AlphaPerKelvin, Formula: r20.Formula, Inputs: inputs,
		Tolerance: d.Tolerance(), Budget: result.Budget, Settings: json.RawMessage(`{"min_ohms":100}`),
		Notes: []string{"one reading was left out"}, CaptureSeconds: 6.4,
	}
	readings := []record.Reading{
		{Time: at, Role: record.Meter, Value: ohms, Resolution: 0.1, Status: "ok", Raw: fmt.Sprint(ohms), InWindow: true},
		{Time: at, Role: record.Probe, Value: 22.35, Resolution: 0.01, Status: "ok", Raw: "T=22.35 C"},
	}
	stored, err := w.store.Record(t.Context(), m, readings)
	if err != nil {
		t.Fatal(err)
	}
	w.north.set(func(s *bench.Snapshot) { s.Last = &stored })
	return stored
}
