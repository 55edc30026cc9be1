package transcript

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"sync"
	"time"

	"coilkeep/driver"
)

// Recorder writes a transcript as things happen, each line at once, so that what
// was written is whole wherever the program ends. A nil Recorder records nothing.
type Recorder struct {
	start time.Time

	mu          sync.Mutex
	lines       *json.Encoder
	connections int
	count       int
	err         error
}

// NewRecorder begins a transcript with its header, whose Version it sets. The
// times of its events are measured from now on.
func NewRecorder(w io.Writer, h Header) *Recorder {
	h.Version = Version
	r := &Recorder{start: time.Now(), lines: json.NewEncoder(w)}
	r.lines.SetEscapeHTML(false)
	r.write(h)
	return r
}

// Lines is how many lines were written.
func (r *Recorder) Lines() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.count
}

// Err is the first error of writing; after one, nothing more is written.
func (r *Recorder) Err() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.err
}

func (r *Recorder) write(line any) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.err == nil {
		if r.err = r.lines.Encode(line); r.err == nil {
			r.count++
		}
	}
}

// Watch begins a connection and returns conn with everything that passes over it
// recorded, and a Connection for the results. The time of a byte is when it was
// read, not when it arrived.
func (r *Recorder) Watch(conn driver.Conn, o Opened) (driver.Conn, *Connection) {
	if r == nil {
		return conn, nil
	}
	r.mu.Lock()
	r.connections++
	c := &Connection{recorder: r, number: r.connections}
	r.mu.Unlock()
	c.record(Event{Opened: &o})
	w := &watched{Conn: conn, connection: c}
	if lock, shared := conn.(driver.Locker); shared {
		return sharedWatched{w, lock}, c
	}
	return w, c
}

// Connection is one opened port of a transcript. A nil Connection records
// nothing.
type Connection struct {
	recorder *Recorder
	number   int
}

func (c *Connection) record(e Event) {
	micros := time.Since(c.recorder.start).Microseconds()
	e.AtSeconds, e.Connection = float64(micros)/1e6, c.number
	c.recorder.write(e)
}

// Opened records what opening the instrument came to.
func (c *Connection) Opened(err error) { c.result(Result{Call: CallOpen}, err) }

// Identified records what the instrument said it is.
func (c *Connection) Identified(identity driver.Identity, err error) {
	c.result(Result{Call: CallIdentify, Identity: identity.Raw}, err)
}

// Read records a reading.
func (c *Connection) Read(r driver.Reading, err error) {
	c.result(ReadResult(r), err)
}

// ReadResult is what a transcript keeps of a reading.
func ReadResult(r driver.Reading) Result {
	return Result{Call: CallRead, Status: r.Status, Value: r.Value, Resolution: r.Resolution, Reason: r.Reason, Raw: r.Raw}
}

// result leaves out a call that was broken off by this side: it says nothing of
// the instrument.
func (c *Connection) result(r Result, err error) {
	if c == nil || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return
	}
	if r.Error = ErrorText(err); err != nil {
		r = Result{Call: r.Call, Error: r.Error}
	}
	c.record(Event{Result: &r})
}

// watched is a connection whose bytes are recorded.
type watched struct {
	driver.Conn
	connection *Connection
}

// sharedWatched is one on a shared line.
type sharedWatched struct {
	*watched
	driver.Locker
}

func (w *watched) Read(p []byte) (int, error) {
	n, err := w.Conn.Read(p)
	if n > 0 {
		w.connection.record(Event{Received: p[:n]})
	}
	w.lost("read", err)
	return n, err
}

func (w *watched) Write(p []byte) (int, error) {
	if len(p) > 0 { // before it is written, or an answer could be recorded first
		w.connection.record(Event{Sent: p})
	}
	n, err := w.Conn.Write(p)
	w.lost("write", err)
	return n, err
}

func (w *watched) lost(doing string, err error) {
	if errors.Is(err, driver.ErrLineLost) {
		w.connection.record(Event{Lost: doing})
	}
}

func (w *watched) Discard() int {
	waiting, more := Drain(w.Conn)
	if len(waiting) > 0 {
		w.connection.record(Event{Dropped: waiting})
	}
	return len(waiting) + more
}

// mostDrained bounds what is looked at of an instrument that never stops.
const mostDrained = 8 << 10

// Drain is Discard of a connection that also returns what it dropped, the first
// 8 KiB of it, and how many bytes more there were. It changes the read deadline,
// as it has to read, and takes a millisecond.
func Drain(conn driver.Conn) (waiting []byte, more int) {
	var chunk [512]byte
	for len(waiting) < mostDrained {
		if conn.SetReadDeadline(time.Now().Add(time.Millisecond)) != nil {
			break
		}
		n, err := conn.Read(chunk[:])
		waiting = append(waiting, chunk[:n]...)
		// An error ends the look at what is dropped anyway; the next Read meets it.
		if err != nil || n < len(chunk) {
			break
		}
	}
	return waiting, conn.Discard()
}
