package bench

import "time"

// steadyClock gives times that are fit to be kept and to be subtracted. They
// run as the machine's monotonic clock does, so a wall clock that is set while
// a coil is on changes no slope and no age; and they are whole microseconds,
// as the history keeps them, so that a replay of what is kept gives the same
// result to the last digit.
type steadyClock struct {
	base time.Time // read off the monotonic clock
	wall time.Time // what the wall clock showed then
}

// newSteadyClock returns a clock that shows now as the wall clock does.
func newSteadyClock(now time.Time) steadyClock { return steadyClock{now, now.Round(0)} }

// longestDrift is how far the wall clock may run away before it is followed.
const longestDrift = time.Second

// at turns an instant of time.Now into one of this clock.
func (c *steadyClock) at(t time.Time) time.Time {
	return time.UnixMicro(c.wall.UnixMicro() + t.Sub(c.base).Microseconds())
}

// follow takes the wall clock's time again when it was set, and reports
// whether it did. Wall is what that clock shows at the instant now.
func (c *steadyClock) follow(now, wall time.Time) bool {
	if wall.Sub(c.at(now)).Abs() <= longestDrift {
		return false
	}
	c.base, c.wall = now, wall
	return true
}
