package bench

import (
	"testing"
	"time"
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
