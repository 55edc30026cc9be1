package web

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
	"coilkeep/internal/conformity"
	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
)

// event is one server-sent event as a client sees it.
type event struct{ id, kind, data string }

// listener follows an event stream.
type listener struct {
	events chan event // closed when the stream ends
	cancel context.CancelFunc
}

// listen opens the event stream; lastID is sent along when not empty.
func listen(t *testing.T, url, lastID string) *listener {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	t.Cleanup(cancel)
	request, err := http.NewRequestWithContext(ctx, "GET", url, nil)
	if err != nil {
		t.Fatal(err)
	}
	if lastID != "" {
		request.Header.Set("Last-Event-ID", lastID)
	}
	response, err := http.DefaultClient.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	if response.StatusCode != http.StatusOK || response.Header.Get("Content-Type") != "text/event-stream" {
		t.Fatalf("got status %d, content type %q", response.StatusCode, response.Header.Get("Content-Type"))
	}
	l := &listener{events: make(chan event), cancel: cancel}
	go func() {
		defer close(l.events)
		defer response.Body.Close()
		var e event
		for lines := bufio.NewScanner(response.Body); lines.Scan(); {
			field, value, _ := strings.Cut(lines.Text(), ": ")
			switch field {
			case "id":
				e.id = value
			case "event":
				e.kind = value
			case "data":
				e.data = value
			case "":
				if e.kind == "" {
					continue // the retry advice
				}
				select {
				case l.events <- e:
				case <-ctx.Done():
					return
				}
				e = event{}
			}
		}
	}()
	return l
}

// next returns the next event that is no heartbeat.
func (l *listener) next(t *testing.T) event {
	t.Helper()
	deadline := time.After(patience)
	for {
		select {
		case e, open := <-l.events:
			if !open {
				t.Fatal("the stream has ended")
			}
			if e.kind != "heartbeat" {
				return e
			}
		case <-deadline:
			t.Fatal("no event came")
		}
	}
}

// ended waits for the end of the stream.
func (l *listener) ended(t *testing.T) {
	t.Helper()
	deadline := time.After(patience)
	for {
		select {
		case _, open := <-l.events:
			if !open {
				return
			}
		case <-deadline:
			t.Fatal("the stream does not end")
		}
	}
}

func TestEvents(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	l := listen(t, w.url+"/api/v1/events", "")

	first := l.next(t)
	var snapshot bench.Snapshot
	if err := json.Unmarshal([]byte(first.data), &snapshot); err != nil {
		t.Fatal(err)
	}
	if first.kind != "state" || snapshot.Bench != "north" || snapshot.State != capture.Open {
		t.Errorf("got first event %+v, want the state of bench north", first)
	}

	value := 6721.4
	w.hub.Publish(bench.Event{Type: bench.ReadingEvent, Bench: "north", Data: bench.ReadingData{Bench: "north", Role: record.Meter,
		Time: noon, Value: &value, Unit: "ohm", Resolution: 0.1, Status: "ok", Raw: "+6.7214E+03"}})
	e := l.next(t)
	if e.kind != "reading" || !strings.Contains(e.data, `"value":6721.4`) || !strings.Contains(e.data, `"unit":"ohm"`) || e.id != "" {
		t.Errorf("got %+v, want the reading", e)
	}

	m := w.measure(t, "HN-0001", 6721.4, noon)
	w.hub.Publish(bench.Event{Type: bench.MeasurementEvent, Bench: "north", Data: m})
	e = l.next(t)
	if e.kind != "measurement" || e.id != m.ID || !strings.Contains(e.data, `"serial":"HN-0001"`) {
		t.Errorf("got %+v, want the measurement with its id", e)
	}

	w.hub.Publish(bench.Event{Type: bench.InstrumentEvent, Bench: "north", Data: bench.InstrumentData{Bench: "north",
		Instrument: bench.Instrument{Role: record.Probe, Driver: "line", Fault: "unplugged"}}})
	e = l.next(t)
	if e.kind != "instrument" || !strings.Contains(e.data, `"bench":"north","role":"probe"`) {
		t.Errorf("got %+v, want the instrument", e)
	}
}

// TestEventsAreDescribed checks the data of each event against the API's
// description.
func TestEventsAreDescribed(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	m := w.measure(t, "HN-0001", 6721.4, noon)
	for schema, data := range map[string]any{
		"Bench":       w.north.Snapshot(),
		"Measurement": m,
		"InstrumentEvent": bench.InstrumentData{Bench: "north", Instrument: bench.Instrument{Role: record.Probe, Driver: "line",
			Fault: "unplugged"}},
		"UnrecordedEvent": bench.UnrecordedData{Bench: "north", Unrecorded: bench.Unrecorded{ID: "u-1", Time: noon, Stage: record.StageWound,
			Refusal: "on-hold", Words: "no batch is open"}},
		"VerdictChange": bench.VerdictChange{Bench: "north", Time: noon, Serial: "HN-0001", From: conformity.Undecided, To: conformity.In},
		"LiveReading": bench.ReadingData{Bench: "north", Role: record.Probe, Time: noon, Unit: "celsius", Status: "impossible",
			Reason: "85 °C is a power-on value", Raw: "85.00"},
	} {
		encoded, err := json.Marshal(data)
		if err != nil {
			t.Fatal(err)
		}
		var value any
		if err := json.Unmarshal(encoded, &value); err != nil {
			t.Fatal(err)
		}
		if err := described().validate(value, "components", "schemas", schema); err != nil {
			t.Errorf("%s: %v", schema, err)
		}
	}
}

func TestEventsOfOneBench(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	south := &settableBench{store: w.store, snapshot: idle("south")}
	w.Server.Benches = append(w.Server.Benches, south)
	w.start(t)
	l := listen(t, w.url+"/api/v1/events?bench=south", "")
	if e := l.next(t); e.kind != "state" || !strings.Contains(e.data, `"bench":"south"`) {
		t.Errorf("got %+v, want the state of south", e)
	}
	w.hub.Publish(bench.Event{Type: bench.StateEvent, Bench: "north", Data: w.north.Snapshot()})
	w.hub.Publish(bench.Event{Type: bench.StateEvent, Bench: "south", Data: south.Snapshot()})
	if e := l.next(t); !strings.Contains(e.data, `"bench":"south"`) {
		t.Errorf("got %+v, want nothing of north", e)
	}
	want[problem.Details](t, w.ask(t, "GET", "/api/v1/events?bench=west", nil), http.StatusNotFound)
}

// TestEventsMissed has a client that comes back be told what was measured
// meanwhile, once.
func TestEventsMissed(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	seen := w.measure(t, "HN-0001", 6700, noon)
	missed := w.measure(t, "HN-0002", 6701, noon.Add(time.Minute))
	w.start(t)
	l := listen(t, w.url+"/api/v1/events", seen.ID)
	if e := l.next(t); e.kind != "measurement" || e.id != missed.ID {
		t.Errorf("got %+v, want measurement %s", e, missed.ID)
	}
	if e := l.next(t); e.kind != "state" {
		t.Errorf("got %+v, want the state", e)
	}
	// The same measurement, still under way when the client came back.
	w.hub.Publish(bench.Event{Type: bench.MeasurementEvent, Bench: "north", Data: missed})
	later := w.measure(t, "HN-0003", 6702, noon.Add(2*time.Minute))
	w.hub.Publish(bench.Event{Type: bench.MeasurementEvent, Bench: "north", Data: later})
	if e := l.next(t); e.id != later.ID {
		t.Errorf("got %+v, want measurement %s", e, later.ID)
	}
	unknown := func(r *http.Request) { r.Header.Set("Last-Event-ID", "17") }
	got := want[problem.Details](t, w.ask(t, "GET", "/api/v1/events", nil, unknown), http.StatusUnprocessableEntity)
	if got.Field != "Last-Event-ID" {
		t.Errorf("got field %q, want Last-Event-ID", got.Field)
	}
}

// TestEventsOutliveTheTimeouts follows a stream past the deadlines that the
// server sets for whole requests and answers.
func TestEventsOutliveTheTimeouts(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	site := w.site(&net.TCPAddr{IP: net.IPv4(127, 0, 0, 1)})
	site.heartbeat = 20 * time.Millisecond
	server := httptest.NewUnstartedServer(site.handler())
	server.Config.ReadTimeout, server.Config.WriteTimeout = 50*time.Millisecond, 50*time.Millisecond
	server.Start()
	defer server.Close()
	l := listen(t, server.URL+"/api/v1/events", "")
	defer l.cancel()
	deadline := time.After(patience)
	for range 20 { // 20 heartbeats take eight times the deadline
		select {
		case _, open := <-l.events:
			if !open {
				t.Fatal("the stream was cut off")
			}
		case <-deadline:
			t.Fatal("no heartbeat came")
		}
	}
}

// TestSlowListener has a client that does not read be cut off, while others go
// on and the hub never waits.
func TestSlowListener(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	slow := listen(t, w.url+"/api/v1/events", "")
	slow.next(t)

	long := strings.Repeat("x", 64<<10)
	published := 0
	for deadline := time.Now().Add(patience); time.Now().Before(deadline) && published < 5000; published++ {
		w.hub.Publish(bench.Event{Type: bench.ReadingEvent, Bench: "north", Data: bench.ReadingData{Bench: "north", Raw: long}})
	}
	if published < 5000 {
		t.Fatalf("the hub waited for the slow client: only %d events", published)
	}
	slow.ended(t)
	fresh := listen(t, w.url+"/api/v1/events", "")
	if e := fresh.next(t); e.kind != "state" {
		t.Errorf("got %+v, want the present state", e)
	}
}

// TestEventsHead has the head of the stream be asked for without the stream.
func TestEventsHead(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	answer := w.ask(t, "HEAD", "/api/v1/events", nil)
	if answer.status != http.StatusOK || answer.header.Get("Content-Type") != "text/event-stream" {
		t.Errorf("got status %d, content type %q", answer.status, answer.header.Get("Content-Type"))
	}
}

func TestTooManyListeners(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	site := w.site(&net.TCPAddr{IP: net.IPv4(127, 0, 0, 1)})
	site.streams.Store(maxStreams)
	answer := httptest.NewRecorder()
	request := httptest.NewRequest("GET", "http://localhost/api/v1/events", nil)
	site.handler().ServeHTTP(answer, request)
	if answer.Code != http.StatusServiceUnavailable {
		t.Errorf("got status %d, want 503", answer.Code)
	}
	if got := site.streams.Load(); got != maxStreams {
		t.Errorf("got %d streams counted, want %d", got, maxStreams)
	}
}

// TestStopEndsStreams has the server stop at once though clients listen.
func TestStopEndsStreams(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	stop := w.start(t)
	var listeners []*listener
	for range 5 {
		l := listen(t, w.url+"/api/v1/events", "")
		l.next(t)
		listeners = append(listeners, l)
	}
	began := time.Now()
	stop()
	if took := time.Since(began); took > 2*time.Second {
		t.Errorf("stopping took %v, want less than 2 s", took)
	}
	for _, l := range listeners {
		l.ended(t)
	}
}

// TestStopCutsOffARequestThatHangs keeps the promise to stop within 2 s.
func TestStopCutsOffARequestThatHangs(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	arrived := make(chan struct{})
	w.Metrics = http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		close(arrived)
		<-r.Context().Done()
	})
	stop := w.start(t)
	failed := make(chan error, 1)
	go func() {
		response, err := http.Get(w.url + "/metrics")
		if err == nil {
			response.Body.Close()
			err = fmt.Errorf("got status %d", response.StatusCode)
		}
		failed <- err
	}()
	select {
	case <-arrived:
	case <-time.After(patience):
		t.Fatal("the request did not arrive")
	}
	began := time.Now()
	stop()
	if took := time.Since(began); took > 2*time.Second {
		t.Errorf("stopping took %v, want less than 2 s", took)
	}
	<-failed
}
