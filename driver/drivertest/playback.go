package drivertest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/transcript"
)

// Play opens each driver of the transcript on its recorded connection, makes the
// calls that were made, and holds the results to those that were recorded: to
// the digit, and to the contract. The drivers must be registered, so the test
// imports them. The clock is that of a testing/synctest bubble: each answer
// comes as late as it did, and the test takes no time.
func (tr Transcript) Play(t *testing.T) {
	t.Helper()
	played := 0
	for i, c := range tr.Connections {
		if c.Driver == "" {
			continue
		}
		played++
		t.Run(fmt.Sprintf("connection %d, %s", i+1, c.Driver), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				if err := c.play(t.Context()); err != nil {
					t.Error(err)
				}
			})
		})
	}
	if played == 0 {
		t.Error("no connection of the transcript has a driver")
	}
}

// play is Play of one connection, in a bubble.
func (c Recorded) play(ctx context.Context) error {
	d, ok := driver.Lookup(c.Driver)
	if !ok {
		return fmt.Errorf("no driver %q among %q", c.Driver, driver.Names())
	}
	s, err := c.settings(d)
	if err != nil {
		return err
	}
	s.Now = time.Now
	p := Playback(c)
	defer p.Close()
	var instrument driver.Instrument
	results := 0
	for _, e := range c.events {
		if e.Result == nil {
			continue
		}
		if first := e.Result.Call == transcript.CallOpen; first != (results == 0) || !first && instrument == nil {
			return fmt.Errorf("%v: a call %q is out of order: the driver is opened first, once", e, e.Result.Call)
		}
		results++
		start := time.Now()
		var got transcript.Result
		if results == 1 {
			if instrument, err = d.Open(ctx, p, s); err == nil {
				defer instrument.Close()
			}
			got = transcript.Result{Call: transcript.CallOpen, Error: transcript.ErrorText(err)}
		} else if got, err = call(ctx, instrument, e.Result.Call, start, s.Timeout); err != nil {
			return fmt.Errorf("%v: %w", e, err)
		}
		if err := p.upTo(e, got); err != nil {
			return err
		}
		p.sleepUntil(e.AtSeconds)
	}
	if results == 0 {
		return errors.New("the driver was interrupted before its first result: take the lines of this connection out")
	}
	return nil
}

// call makes one call of an opened instrument.
func call(ctx context.Context, i driver.Instrument, name string, start time.Time, timeout time.Duration) (transcript.Result, error) {
	if name == transcript.CallIdentify {
		who, ok := i.(driver.Identifier)
		if !ok {
			return transcript.Result{}, errors.New("the driver no longer identifies its instruments")
		}
		identity, err := who.Identify(ctx)
		if err != nil {
			return transcript.Result{Call: name, Error: transcript.ErrorText(err)}, nil
		}
		return transcript.Result{Call: name, Identity: identity.Raw}, nil
	}
	if name != transcript.CallRead {
		return transcript.Result{}, fmt.Errorf("unknown call %q", name)
	}
	reading, err := i.Read(ctx)
	if took := time.Since(start); took > timeout+slack {
		return transcript.Result{}, fmt.Errorf("read took %v with a time-out of %v", took, timeout)
	}
	if err != nil {
		return transcript.Result{Call: name, Error: transcript.ErrorText(err)}, nil
	}
	return transcript.ReadResult(reading), wellFormed(reading)
}

// Player is a connection whose far end is a transcript; see [Playback].
type Player struct {
	*near
	sync.Mutex // as on a shared line: see driver.Locker
	far        *Far
	start      time.Time
	from       float64 // the time of the transcript at start

	state    sync.Mutex
	left     []recordedEvent // what neither happened yet nor is due at a known time
	sent     []byte          // the beginning of left[0].Sent that was sent already
	mismatch error           // the first difference
}

// Playback returns a connection on which what was recorded happens again, in a
// testing/synctest bubble: what was received comes at the time it came, counted
// from the exchange before it; what was dropped comes when the driver drops it;
// and what the driver sends must be what was sent, to the byte, in one Write or
// several. At the first difference the line is lost and [Player.Mismatch] tells
// it.
func Playback(c Recorded) *Player {
	n, far := pipe()
	p := &Player{near: n, far: far, start: time.Now(), from: c.openedAt, left: c.events}
	p.state.Lock()
	defer p.state.Unlock()
	p.advance()
	return p
}

// Mismatch is the first difference between what the driver sent and what was
// sent; nil when there is none so far.
func (p *Player) Mismatch() error {
	p.state.Lock()
	defer p.state.Unlock()
	return p.mismatch
}

// advance arranges for what happens before the driver sends or drops something
// next; p.state is held.
func (p *Player) advance() {
	for ; len(p.left) > 0; p.left = p.left[1:] {
		e := p.left[0]
		switch {
		case len(e.Sent) > 0 || len(e.Dropped) > 0:
			return
		case len(e.Received) > 0:
			time.AfterFunc(p.until(e.AtSeconds), func() { p.far.Write(e.Received) })
		case e.Lost != "":
			time.AfterFunc(p.until(e.AtSeconds), func() { p.far.Close() })
		}
	}
}

// Write implements driver.Conn.
func (p *Player) Write(b []byte) (int, error) {
	p.state.Lock()
	defer p.state.Unlock()
	for rest := b; len(rest) > 0; {
		// What was dropped then and is not now lies unread before the question.
		for len(p.left) > 0 && len(p.left[0].Dropped) > 0 {
			p.far.Write(p.left[0].Dropped)
			p.left = p.left[1:]
			p.advance()
		}
		if len(p.left) == 0 {
			return p.differs(fmt.Errorf("sent %q after the last line of the transcript that has something sent", rest))
		}
		e := p.left[0]
		want := e.Sent[len(p.sent):]
		n := min(len(rest), len(want))
		if !bytes.Equal(rest[:n], want[:n]) {
			return p.differs(fmt.Errorf("%v: sent %q, the transcript has %q", e, append(p.sent, rest...), []byte(e.Sent)))
		}
		p.sent, rest = append(p.sent, rest[:n]...), rest[n:]
		if len(p.sent) == len(e.Sent) {
			p.sent, p.left = nil, p.left[1:]
			p.sleepUntil(e.AtSeconds)
			p.advance()
		}
	}
	return p.near.Write(b)
}

// differs notes the first difference and ends the line; p.state is held.
func (p *Player) differs(err error) (int, error) {
	if p.mismatch == nil {
		p.mismatch = err
	}
	p.far.Close()
	return 0, fmt.Errorf("write: %w: %w", driver.ErrLineLost, io.ErrUnexpectedEOF)
}

// Discard implements driver.Conn.
func (p *Player) Discard() int {
	p.state.Lock()
	defer p.state.Unlock()
	n := p.near.Discard()
	for len(p.left) > 0 && len(p.left[0].Dropped) > 0 {
		n += len(p.left[0].Dropped)
		p.left = p.left[1:]
		p.advance()
	}
	return n
}

// upTo compares a result with the recorded one, and sees that everything that
// was sent before it has been sent again.
func (p *Player) upTo(e recordedEvent, got transcript.Result) error {
	p.state.Lock()
	defer p.state.Unlock()
	if p.mismatch != nil {
		return p.mismatch
	}
	for _, earlier := range p.left {
		if earlier.line < e.line && len(earlier.Sent) > 0 {
			return fmt.Errorf("%v: the transcript has %q sent, the driver did not send it", earlier, []byte(earlier.Sent[len(p.sent):]))
		}
	}
	want := *e.Result
	// The words of a reason may become better.
	got.Reason, want.Reason = "", ""
	if got != want {
		return fmt.Errorf("%v: %s gave %s, the transcript has %s", e, want.Call, resultText(got), resultText(want))
	}
	return nil
}

func resultText(r transcript.Result) string {
	switch {
	case r.Error != "":
		return "the error " + fmt.Sprintf("%q", r.Error)
	case r.Call == transcript.CallRead:
		return fmt.Sprintf("%s %v in steps of %v out of %q", r.Status, r.Value, r.Resolution, r.Raw)
	}
	return strings.TrimSpace(fmt.Sprintf("no error %s", r.Identity))
}

// until is how long it is until a time of the transcript.
func (p *Player) until(atSeconds float64) time.Duration {
	return time.Until(p.start.Add(seconds(atSeconds - p.from)))
}

func (p *Player) sleepUntil(atSeconds float64) { time.Sleep(p.until(atSeconds)) }

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
