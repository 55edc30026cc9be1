package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
)

// heartbeatEvent tells a client that the daemon is still there when nothing
// else happens.
const heartbeatEvent bench.EventType = "heartbeat"

const (
	// missedMeasurements bounds how many a client that comes back is told.
	missedMeasurements = 1000
	// maxStreams bounds how many event streams are open at once.
	maxStreams = 100
	// writePatience is how long a client may take to accept one event.
	writePatience = 10 * time.Second
)

// events streams what happens at the benches as server-sent events, beginning
// with how every bench stands, until the client leaves, is too slow, or the
// daemon stops. With ?bench= it tells of that bench only. Measurement events
// carry the measurement's id: a client that comes back with the last one it saw
// (the Last-Event-ID header, which browsers send by themselves) is told what was
// measured meanwhile.
func (s *site) events(w http.ResponseWriter, r *http.Request) error {
	only := r.URL.Query().Get("bench")
	if only != "" {
		if _, err := s.benches.Named(only); err != nil {
			return err
		}
	}
	if s.streams.Add(1) > maxStreams {
		s.streams.Add(-1)
		return problem.Unavailable.Because("%d programs follow the events already; close some pages", maxStreams)
	}
	defer s.streams.Add(-1)

	// Subscribed before the snapshots are taken, nothing falls in between.
	news, cancel := s.server.Events.Subscribe()
	defer cancel()
	missed, err := s.measuredSince(r.Context(), r.Header.Get("Last-Event-ID"), only)
	if err != nil {
		return err
	}
	stream, err := newStream(w)
	if err != nil {
		return fmt.Errorf("start the event stream: %w", err)
	}
	if r.Method == http.MethodHead {
		return nil
	}
	if err := s.follow(r, stream, news, only, missed); err != nil {
		s.log.Debug("event stream ended", "err", err)
	}
	return nil
}

// measuredSince returns the measurements after the one with id, light as in a
// list; none when id is empty.
func (s *site) measuredSince(ctx context.Context, id, only string) ([]record.Measurement, error) {
	if id == "" {
		return nil, nil
	}
	missed, next, err := s.server.History.Measurements(ctx, record.Filter{Bench: only, After: id, Limit: missedMeasurements})
	if errors.Is(err, record.ErrInvalid) {
		return nil, problem.Invalid.InField("Last-Event-ID", "%q is not the id of a measurement", id)
	}
	if err == nil && next != "" {
		err = problem.Conflict.Because("more than %d measurements were missed; list them with /api/v1/measurements?after=%s",
			missedMeasurements, id)
	}
	return missed, err
}

// follow writes to stream until there is a reason to stop: first what was
// missed and how the benches stand, then what happens. The error says the
// reason; nil means the daemon stops.
func (s *site) follow(r *http.Request, stream *stream, news <-chan bench.Event, only string, missed []record.Measurement) error {
	told := map[string]bool{}
	for _, m := range missed {
		told[m.ID] = true
		if err := stream.send(bench.MeasurementEvent, m); err != nil {
			return err
		}
	}
	for _, snapshot := range s.benches.Snapshots() {
		if only != "" && snapshot.Bench != only {
			continue
		}
		if err := stream.send(bench.StateEvent, snapshot); err != nil {
			return err
		}
	}
	heartbeat := time.NewTicker(s.heartbeat)
	defer heartbeat.Stop()
	for {
		select {
		case event, open := <-news:
			if !open {
				return fmt.Errorf("client at %s was too slow", r.RemoteAddr)
			}
			if only != "" && event.Bench != only {
				continue
			}
			if m, ok := event.Data.(record.Measurement); ok && told[m.ID] {
				continue
			}
			if err := stream.send(event.Type, event.Data); err != nil {
				return err
			}
		case <-heartbeat.C:
			if err := stream.send(heartbeatEvent, map[string]time.Time{"time": s.now().UTC()}); err != nil {
				return err
			}
		case <-r.Context().Done():
			return r.Context().Err()
		case <-s.stopping:
			return nil
		}
	}
}

// stream writes server-sent events (HTML Living Standard, section 9.2).
type stream struct {
	w  http.ResponseWriter
	rc *http.ResponseController
}

// newStream sends the head of the answer. The server's deadlines are meant for
// whole answers; a stream has one for each event instead.
func newStream(w http.ResponseWriter) (*stream, error) {
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("Cache-Control", "no-store")
	s := &stream{w: w, rc: http.NewResponseController(w)}
	if err := s.rc.SetReadDeadline(time.Time{}); err != nil {
		return nil, err
	}
	return s, s.write([]byte("retry: 1000\n\n"))
}

// send writes one event; data becomes one line of JSON.
func (s *stream) send(event bench.EventType, data any) error {
	encoded, err := json.Marshal(data)
	if err != nil {
		return fmt.Errorf("write %s event as JSON: %w", event, err)
	}
	var b bytes.Buffer
	if m, ok := data.(record.Measurement); ok {
		fmt.Fprintf(&b, "id: %s\n", m.ID)
	}
	fmt.Fprintf(&b, "event: %s\ndata: %s\n\n", event, encoded)
	return s.write(b.Bytes())
}

func (s *stream) write(b []byte) error {
	if err := s.rc.SetWriteDeadline(time.Now().Add(writePatience)); err != nil {
		return err
	}
	if _, err := s.w.Write(b); err != nil {
		return err
	}
	return s.rc.Flush()
}
