package port

import (
	"os"
	"sync"
	"time"

	"coilkeep/driver"
)

// handle is one user's connection on a line of a pool. Each user has deadlines
// of its own, and can leave without disturbing the others.
type handle struct {
	line    *line
	use     Use
	timeout time.Duration // bounds each Write

	mu       sync.Mutex
	deadline time.Time
	reading  bool
	closed   bool
}

// sharedHandle is a handle whose exchanges do not mix with those of the other
// users of its line.
type sharedHandle struct{ *handle }

var _ driver.Locker = sharedHandle{}

func newHandle(l *line, use Use, timeout time.Duration) driver.Conn {
	h := &handle{line: l, use: use, timeout: timeout}
	if use.Shared {
		return sharedHandle{h}
	}
	return h
}

// Lock waits until no other user of the line is in the middle of an exchange,
// and for those who asked earlier.
func (h sharedHandle) Lock() { h.line.exchange <- struct{}{} }

// Unlock lets the next user of the line begin an exchange.
func (h sharedHandle) Unlock() { <-h.line.exchange }

func (h *handle) Read(p []byte) (int, error) {
	if err := h.begin(); err != nil {
		return 0, err
	}
	n, err := h.line.conn.Read(p)
	if h.end() {
		return 0, h.line.conn.lost("read", os.ErrClosed)
	}
	return h.line.check(n, err)
}

// begin gives the line this user's deadline for the Read that follows.
func (h *handle) begin() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.closed {
		return h.line.conn.lost("read", os.ErrClosed)
	}
	h.reading = true
	return h.line.conn.SetReadDeadline(h.deadline)
}

// end follows a Read and tells whether the handle was closed meanwhile.
func (h *handle) end() (closed bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.reading = false
	return h.closed
}

func (h *handle) Write(p []byte) (int, error) {
	if h.isClosed() {
		return 0, h.line.conn.lost("write", os.ErrClosed)
	}
	return h.line.check(h.line.conn.writeWithin(p, h.timeout))
}

func (h *handle) SetReadDeadline(t time.Time) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.deadline = t
	if h.reading && !h.closed {
		return h.line.conn.SetReadDeadline(t)
	}
	return nil
}

func (h *handle) Discard() int {
	if h.isClosed() {
		return 0
	}
	return h.line.conn.Discard()
}

func (h *handle) isClosed() bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.closed
}

// Close ends this use. A Read of this user ends at once; a Write on a port
// that others go on using ends within the time-out.
func (h *handle) Close() error {
	if !h.leave() {
		return nil
	}
	return h.line.leave(h.use)
}

// leave marks the handle closed and wakes its Read; false when it was closed
// already.
func (h *handle) leave() bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.closed {
		return false
	}
	h.closed = true
	if h.reading {
		// A deadline long past ends the Read; every Read begins by setting the
		// deadline of its own user.
		h.line.conn.SetReadDeadline(time.Unix(1, 0))
	}
	return true
}
