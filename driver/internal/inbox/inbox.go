// Package inbox holds the bytes of a connection between their arrival and the
// driver that reads them. It gives every kind of connection the same deadlines,
// the same bound on memory and the same end. It leaves the moving of bytes to
// its callers.
package inbox

import (
	"errors"
	"fmt"
	"os"
	"sync"
	"time"
)

// Limit is how many bytes may wait unread: five seconds of a talker at 115200
// baud that nobody listens to.
const Limit = 64 << 10

// ErrOverflow means that more than [Limit] bytes arrived unread, so that what
// would be read next has a gap before it.
var ErrOverflow = errors.New("bytes arrived faster than they were read")

// Inbox is a bounded queue of bytes. Put and Fail belong to the side that
// receives, the other methods to the reader; all may be called at any time
// from any goroutine. Make one with [New].
type Inbox struct {
	mu       sync.Mutex
	waiting  []byte
	dropped  int // bytes lost to an overflow and not yet discarded
	end      error
	deadline time.Time
	// changed is closed and replaced whenever a blocked Read should look again.
	changed chan struct{}
}

// New returns an empty inbox without a deadline.
func New() *Inbox {
	return &Inbox{changed: make(chan struct{})}
}

// Put adds bytes that arrived; it never waits. When more than [Limit] would
// then be unread, everything unread is dropped, and so is what follows until
// the reader calls Discard: bytes with a gap among them are worth nothing, and
// a reader that asks for them is told [ErrOverflow]. After Fail, bytes are
// ignored.
func (b *Inbox) Put(p []byte) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch {
	case b.end != nil:
		return
	case b.dropped > 0 || len(b.waiting)+len(p) > Limit:
		b.dropped += len(b.waiting) + len(p)
		b.waiting = nil
	default:
		b.waiting = append(b.waiting, p...)
	}
	b.wake()
}

// Fail ends the inbox: what arrived before can still be read, then Read
// returns err for ever. The first error stays.
func (b *Inbox) Fail(err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.end == nil {
		b.end = err
		b.wake()
	}
}

// Close ends the inbox like Fail and drops what was not read.
func (b *Inbox) Close(err error) {
	b.Discard()
	b.Fail(err)
}

// Read moves waiting bytes to p and returns how many, at least one. Without
// any it waits for bytes, for the deadline (os.ErrDeadlineExceeded) or for the
// end (the error of Fail). A deadline that has passed comes first, even with
// bytes waiting, so that a reader of endless noise stops. After an overflow
// Read returns an error wrapping [ErrOverflow] until Discard is called.
func (b *Inbox) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	for {
		n, changed, deadline, err := b.take(p)
		if n > 0 || err != nil {
			return n, err
		}
		wait(changed, deadline)
	}
}

// take is one attempt of Read: bytes, an error, or what to wait for.
func (b *Inbox) take(p []byte) (n int, changed <-chan struct{}, deadline time.Time, err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch {
	case !b.deadline.IsZero() && !time.Now().Before(b.deadline):
		return 0, nil, time.Time{}, os.ErrDeadlineExceeded
	case b.dropped > 0:
		return 0, nil, time.Time{}, fmt.Errorf("%w: %d bytes dropped", ErrOverflow, b.dropped)
	case len(b.waiting) > 0:
		n = copy(p, b.waiting)
		b.waiting = b.waiting[n:]
		return n, nil, time.Time{}, nil
	case b.end != nil:
		return 0, nil, time.Time{}, b.end
	}
	return 0, b.changed, b.deadline, nil
}

// wait returns when changed is closed or the deadline, if there is one, comes.
func wait(changed <-chan struct{}, deadline time.Time) {
	if deadline.IsZero() {
		<-changed
		return
	}
	timer := time.NewTimer(time.Until(deadline))
	defer timer.Stop()
	select {
	case <-changed:
	case <-timer.C:
	}
}

// SetDeadline bounds the Reads that follow and the one that waits; the zero
// time removes the bound.
func (b *Inbox) SetDeadline(t time.Time) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.deadline = t
	b.wake()
}

// Discard drops what arrived and was not read, without waiting, and returns
// how many bytes that was, those lost to an overflow among them.
func (b *Inbox) Discard() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	n := len(b.waiting) + b.dropped
	b.waiting, b.dropped = nil, 0
	return n
}

// wake makes a blocked Read look again; b.mu is held.
func (b *Inbox) wake() {
	close(b.changed)
	b.changed = make(chan struct{})
}
