package bench

import (
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/record"
)

func TestClockThatIsSetIsFollowed(t *testing.T) {
	base := time.Now()
	c := newSteadyClock(base)
	at := func(d time.Duration) time.Time { return base.Add(d) }
	if got := c.at(at(1500 * time.Millisecond)).Sub(c.at(base)); got != 1500*time.Millisecond {
		t.Errorf("1.5 s later is %v later", got)
	}
	// A clock that is disciplined runs a little off and is not set.
	if c.follow(at(time.Minute), base.Round(0).Add(time.Minute+900*time.Millisecond)) {
		t.Error("a clock that went on was called set")
	}
	for _, jump := range []time.Duration{time.Hour, -time.Hour} {
		c := newSteadyClock(base)
		wall := base.Round(0).Add(time.Minute + jump)
		if got, want := c.at(at(time.Minute)), base.Add(time.Minute); got.Sub(want).Abs() > time.Microsecond {
			t.Errorf("set by %v: the bench shows %v before it has noticed, want %v", jump, got, want)
		}
		if !c.follow(at(time.Minute), wall) {
			t.Errorf("set by %v: not noticed", jump)
		}
		if got := c.at(at(2 * time.Minute)).Sub(wall.Add(time.Minute)).Abs(); got > time.Microsecond {
			t.Errorf("set by %v: the bench is %v off afterwards", jump, got)
		}
		if c.follow(at(2*time.Minute), wall.Add(time.Minute)) {
			t.Errorf("set by %v: noticed twice", jump)
		}
	}
}

// What the bench waits for must not be an hour away because the clock was set
// back by one.
func TestNothingWaitsForTheOldClock(t *testing.T) {
	f := &fakeBench{}
	b := New(quickSettings("north", f), openStore(t, filepath.Join(t.TempDir(), "history.db")),
		newCounts(), &Hub{}, slog.New(slog.DiscardHandler)).station
	events, cancel := b.hub.Subscribe()
	defer cancel()
	b.clock.wall = b.clock.wall.Add(time.Hour) // as if it had been an hour fast until now
	b.refresh()
	b.instrumentOpened(&b.meter, notice{role: record.Meter, opened: true})
	b.pending = &pending{why: "the disk is full", retryAt: b.now()}
	b.refresh()
	before := b.now()
	b.ticked()
	if went := before.Sub(b.now()); went < 59*time.Minute {
		t.Fatalf("the clock went back by %v, want an hour", went)
	}
	if wait := b.pending.retryAt.Sub(b.now()); wait > 0 {
		t.Errorf("the held measurement waits another %v", wait)
	}
	for range len(events) {
		<-events
	}
	b.refresh()
	if len(events) == 0 {
		t.Error("no event after the clock was set")
	}
	garbage := driver.Reading{Time: time.Now().Add(time.Second), Status: driver.Unreadable, Reason: "noise"}
	b.reading(t.Context(), &b.meter, garbage)
	if b.meter.Fault == "opening" || b.meter.Up {
		t.Errorf("garbage for a second after the clock was set: up %v, fault %q", b.meter.Up, b.meter.Fault)
	}
}
