package bench

import "time"

// steadyClock gives times that are fit to be kept and to be subtracted. They
// run as the machine's monotonic clock does, so a wall clock that is set while
// a coil is on changes no slope and no age; and they are whole microseconds,
// as the history keeps them, so that a replay of what is kept gives the same
// result to the last digit.
type steadyClock struct {
	base time.Time
}

// longestDrift is how far the wall clock may run away before it is followed.
const longestDrift = time.Second

// at turns an instant of time.Now into one of this clock.
func (c *steadyClock) at(t time.Time) time.Time {
	return time.UnixMicro(c.base.UnixMicro() + t.Sub(c.base).Microseconds())
}

// follow takes the wall clock's time again when it was set, and reports
// whether it did.
func (c *steadyClock) follow(now time.Time) bool {
	drift := now.Round(0).Sub(c.at(now))
	if drift.Abs() <= longestDrift {
		return false
	}
	c.base = now
	return true
}
