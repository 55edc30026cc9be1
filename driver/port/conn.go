package port

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/internal/inbox"
)

// lookEvery is how often a silent line is looked after: a device can vanish
// without its reads ever failing.
const lookEvery = time.Second

// stream is an opened device or socket. Closing it ends a Read or Write that
// waits, and no Read or Write after that reaches the system: its descriptor may
// by then be another file's.
type stream interface {
	io.ReadWriteCloser
	SetReadDeadline(time.Time) error
	SetWriteDeadline(time.Time) error
}

// conn is a driver.Conn over a stream. One goroutine, the pump, reads the
// stream as fast as bytes come, so that nothing is lost or grows old in the
// buffers of the system, where neither could be noticed.
type conn struct {
	address string
	stream  stream
	timeout time.Duration
	inbox   *inbox.Inbox

	// still returns why the place is no longer what was opened; nil when it
	// needs no looking after.
	still func() error

	pumped    chan struct{} // closed when the pump has ended
	closeOnce sync.Once
	closeErr  error
}

func newConn(address string, s stream, timeout time.Duration, still func() error) *conn {
	c := &conn{
		address: address, stream: s, timeout: timeout, inbox: inbox.New(),
		still: still, pumped: make(chan struct{}),
	}
	go c.pump()
	return c
}

// pump moves bytes from the stream to the inbox until one of them ends.
func (c *conn) pump() {
	defer close(c.pumped)
	p := make([]byte, 4096)
	for {
		n, err := c.receive(p)
		c.inbox.Put(p[:n])
		if err != nil {
			c.inbox.Fail(c.lost("read", err))
			return
		}
	}
}

// receive is one Read of the stream that also ends now and then when nothing
// comes, to look whether the device is still there.
func (c *conn) receive(p []byte) (int, error) {
	if err := c.stream.SetReadDeadline(time.Now().Add(lookEvery)); err != nil {
		return 0, err
	}
	n, err := c.stream.Read(p)
	switch {
	case errors.Is(err, os.ErrDeadlineExceeded) && c.still != nil:
		return n, c.still()
	case errors.Is(err, os.ErrDeadlineExceeded):
		return n, nil
	case errors.Is(err, io.EOF):
		return n, errors.New("the far end is gone")
	}
	return n, err
}

// settle waits for a board that restarts when its port opens and drops what it
// says meanwhile.
func (c *conn) settle(ctx context.Context, pause time.Duration) error {
	if pause == 0 {
		return nil
	}
	timer := time.NewTimer(pause)
	defer timer.Stop()
	select {
	case <-timer.C:
		c.inbox.Discard()
		return nil
	case <-ctx.Done():
		return ctx.Err()
	case <-c.pumped:
		c.inbox.Discard()
		_, err := c.inbox.Read(make([]byte, 1))
		return err
	}
}

func (c *conn) Read(p []byte) (int, error) {
	n, err := c.inbox.Read(p)
	if errors.Is(err, inbox.ErrOverflow) {
		err = c.lost("read", err)
	}
	return n, err
}

func (c *conn) Write(p []byte) (int, error) { return c.writeWithin(p, c.timeout) }

// writeWithin is Write with a time-out of its own. What was written only in
// part cannot be mended, so any error loses the line for the reader as well.
func (c *conn) writeWithin(p []byte, timeout time.Duration) (int, error) {
	err := c.stream.SetWriteDeadline(time.Now().Add(timeout))
	n := 0
	if err == nil {
		n, err = c.stream.Write(p)
	}
	if errors.Is(err, os.ErrDeadlineExceeded) {
		err = fmt.Errorf("the far end took %d of %d bytes in %v", n, len(p), timeout)
	}
	if err != nil {
		err = c.lost("write", err)
		c.inbox.Fail(err)
	}
	return n, err
}

func (c *conn) SetReadDeadline(t time.Time) error {
	c.inbox.SetDeadline(t)
	return nil
}

func (c *conn) Discard() int { return c.inbox.Discard() }

// Close returns when the port is free to be opened again.
func (c *conn) Close() error {
	c.closeOnce.Do(func() {
		c.inbox.Close(c.lost("read", os.ErrClosed))
		if err := c.stream.Close(); err != nil {
			c.closeErr = fmt.Errorf("close port %s: %w", c.address, err)
		}
		<-c.pumped
	})
	return c.closeErr
}

func (c *conn) lost(doing string, err error) error {
	return fmt.Errorf("%s port %s: %w: %w", doing, c.address, driver.ErrLineLost, err)
}
