package drivertest

import (
	"strings"
	"sync"
	"testing"

	"coilkeep/driver"
)

// Exchange is one step of a recorded conversation.
type Exchange struct {
	// Ask is what the driver must send, to the byte, in one Write or several.
	// When it is empty the Answer comes unasked, right after the step before.
	Ask string
	// Answer is what then arrives; empty for an instrument that keeps silent.
	Answer string
}

// Replay returns a connection whose far end follows a recorded conversation.
// A driver that sends anything else fails the test and finds the line lost; a
// conversation that is not used up when the test ends fails it too.
func Replay(t testing.TB, script ...Exchange) driver.Conn {
	t.Helper()
	if len(script) == 0 {
		t.Fatal("drivertest: Replay needs a conversation")
	}
	n, far := pipe()
	r := &replay{near: n, far: far, t: t, left: script}
	r.advance()
	t.Cleanup(r.finish)
	return r
}

type replay struct {
	*near
	far *Far
	t   testing.TB

	mu    sync.Mutex
	left  []Exchange
	asked string // the beginning of left[0].Ask that was sent already
}

func (r *replay) Write(p []byte) (int, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.asked += string(p)
	if len(r.left) == 0 {
		r.t.Errorf("drivertest: sent %q after the end of the conversation", p)
		r.far.Close()
	} else if want := r.left[0].Ask; !strings.HasPrefix(want, r.asked) {
		r.t.Errorf("drivertest: sent %q, the conversation has %q here", r.asked, want)
		r.far.Close()
	}
	n, err := r.near.Write(p)
	if err != nil {
		return n, err
	}
	r.advance()
	return n, nil
}

// advance gives the answers that are due.
func (r *replay) advance() {
	for len(r.left) > 0 && r.left[0].Ask == r.asked {
		answer := r.left[0].Answer
		r.left, r.asked = r.left[1:], ""
		if answer != "" {
			r.near.toDriver.Put([]byte(answer))
		}
	}
}

func (r *replay) finish() {
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.left) > 0 {
		r.t.Errorf("drivertest: %d steps of the conversation were not used, next is %q", len(r.left), r.left[0].Ask)
	}
}
