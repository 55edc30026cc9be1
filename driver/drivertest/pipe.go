package drivertest

import (
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/internal/inbox"
)

// Pipe returns the two ends of a line in memory: the connection a driver is
// opened on, and the instrument's end of it. It keeps the contract of
// [driver.Conn] and works in a testing/synctest bubble, where its deadlines
// follow the bubble's clock.
func Pipe() (driver.Conn, *Far) {
	conn, far := pipe()
	return conn, far
}

func pipe() (*near, *Far) {
	n := &near{toDriver: inbox.New(), toFar: inbox.New(), closed: make(chan struct{})}
	return n, &Far{near: n}
}

// near is the driver's end of a pipe.
type near struct {
	toDriver, toFar *inbox.Inbox
	closeOnce       sync.Once
	closed          chan struct{}

	mu   sync.Mutex
	lost error // why Write fails; nil while the line is good
}

func (n *near) Read(p []byte) (int, error) {
	got, err := n.toDriver.Read(p)
	if err == nil || err == os.ErrDeadlineExceeded {
		return got, err
	}
	// An overflow is a lost line too: see inbox.ErrOverflow.
	return 0, fmt.Errorf("read: %w: %w", driver.ErrLineLost, err)
}

func (n *near) Write(p []byte) (int, error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.lost != nil {
		return 0, fmt.Errorf("write: %w: %w", driver.ErrLineLost, n.lost)
	}
	n.toFar.Put(p)
	return len(p), nil
}

func (n *near) SetReadDeadline(t time.Time) error {
	n.toDriver.SetDeadline(t)
	return nil
}

func (n *near) Discard() int { return n.toDriver.Discard() }

func (n *near) Close() error {
	n.closeOnce.Do(func() {
		n.lose(os.ErrClosed)
		n.toDriver.Close(os.ErrClosed)
		n.toFar.Fail(io.EOF)
		close(n.closed)
	})
	return nil
}

func (n *near) isClosed() bool {
	select {
	case <-n.closed:
		return true
	default:
		return false
	}
}

// lose makes later Writes fail.
func (n *near) lose(err error) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.lost == nil {
		n.lost = err
	}
}

// Far is the instrument's end of a [Pipe].
type Far struct {
	near *near
}

// Read gives what the driver wrote. It waits for at least one byte and returns
// io.EOF when the driver has closed its end.
func (f *Far) Read(p []byte) (int, error) { return f.near.toFar.Read(p) }

// Write makes p arrive at the driver at once. More than 64 KiB that the driver
// does not read cost it the line, as on a real port. It always returns len(p).
func (f *Far) Write(p []byte) (int, error) {
	f.near.toDriver.Put(p)
	return len(p), nil
}

// Close hangs up: the driver reads what already arrived and then gets
// driver.ErrLineLost, at once when it is waiting.
func (f *Far) Close() error {
	f.near.lose(io.ErrUnexpectedEOF)
	f.near.toDriver.Fail(io.ErrUnexpectedEOF)
	return nil
}

// Closed returns a channel that is closed when the driver closes its end.
func (f *Far) Closed() <-chan struct{} { return f.near.closed }
