package capture

import (
	"math"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/warmth"
)

const (
	// longestApproach bounds what one contact keeps; past it the capture starts
	// over on the same coil.
	longestApproach = 20000
	// longestTrace bounds what is kept of a coil that stays on after it was
	// recorded.
	longestTrace = 6000
	// straddling is how many readings may be partly from before the contact: the
	// one under way when it was made, and the next.
	straddling = 2
)

// contact is what was read of one coil since it was clipped on, and what of it
// counts. When to record is not its business.
type contact struct {
	// began is when the clips took hold and settlingSince when the coil last began
	// to settle anew; both are zero until the first reading.
	began, settlingSince time.Time
	// trace is every input since contact, in order of arrival.
	trace []Entry
	// usable are the readings after hands off, since the last interruption, and
	// early those before it.
	usable, early []driver.Reading
	// course is the usable readings as seconds after contact.
	course []warmth.Point
	// joined has room for early readings and course together, used anew each time.
	joined []warmth.Point
	// seen counts the readings since it last began to settle.
	seen int
	// probeLow and probeHigh are the extremes of the probe during the contact.
	probeLow, probeHigh float64
}

// newContact begins at an instant, or with the zero time at the next reading. The
// temperatures known by then belong to its trace.
func newContact(at time.Time, temps []driver.Reading) contact {
	c := contact{began: at, settlingSince: at, probeLow: math.Inf(1), probeHigh: math.Inf(-1)}
	for _, t := range temps {
		c.trace = append(c.trace, Entry{Reading: t, FromProbe: true})
		c.feel(t)
	}
	return c
}

// feel takes note of how far the probe goes.
func (c *contact) feel(t driver.Reading) {
	if t.Status == driver.OK {
		c.probeLow, c.probeHigh = min(c.probeLow, t.Value), max(c.probeHigh, t.Value)
	}
}

// forget drops what was read, but not when the contact began.
func (c *contact) forget() {
	c.trace, c.usable, c.course, c.early, c.seen = nil, nil, nil, nil, 0
}

// interrupt drops the window: the clips slipped.
func (c *contact) interrupt() { c.usable, c.course = c.usable[:0], c.course[:0] }

// settleAnew lets the coil settle once more from an instant on.
func (c *contact) settleAnew(at time.Time) {
	c.interrupt()
	c.early, c.seen, c.settlingSince = nil, 0, at
}

// take takes a reading within the contact range, and reports whether it counts:
// not what straddles the contact, and not before the hands are off.
func (c *contact) take(r driver.Reading, handsOff time.Duration) bool {
	c.seen++
	switch {
	case c.seen <= straddling:
		return false
	case r.Time.Sub(c.settlingSince) < handsOff:
		c.early = append(c.early, r)
		return false
	}
	c.use(r)
	return true
}

// use takes a reading from after hands off.
func (c *contact) use(r driver.Reading) {
	c.usable = append(c.usable, r)
	c.course = append(c.course, c.point(r))
}

// dropStep begins the window anew when the latest readings agree on another
// value than a line through those before leads to: a hand was taken off, a clip
// slid. A coil that warms or cools goes on along the line. It reports whether it did.
func (c *contact) dropStep() bool {
	const lookBack = 24
	n := len(c.usable) - stepReadings
	if n < stepReadings {
		return false
	}
	latest := c.usable[len(c.usable)-1].Time
	before := c.usable[max(0, n-lookBack):n]
	scale := neighbourScale(before)
	l, ok := resistantLine(pointsBefore(latest, before), scale)
	if !ok {
		return false
	}
	above, below := 0, 0
	for _, p := range pointsBefore(latest, c.usable[n:]) {
		limit := outlierScales * math.Hypot(scale, l.errorAt(p.Seconds, len(before)))
		switch off := p.Ohms - l.at(p.Seconds); {
		case off > limit:
			above++
		case off < -limit:
			below++
		}
	}
	if above != stepReadings && below != stepReadings {
		return false
	}
	c.beginAt(n)
	return true
}

// beginAt forgets the readings before one, which are of something else.
func (c *contact) beginAt(n int) {
	c.usable = append([]driver.Reading(nil), c.usable[n:]...)
	c.course = append([]warmth.Point(nil), c.course[n:]...)
	c.early = nil
}

// quickKelvinPerSecond is how fast the wire alone may change besides: some 15 K
// of its own, given off within a minute.
const quickKelvinPerSecond = 0.25

// dropApproach forgets what came before a steady window and differs from it by
// more than a coil that takes on the room's temperature can change: a meter
// that hunted, a hand that let go slowly. It is no drift of the coil, and the
// slope is not to be fitted to it. It reports whether there was any.
func (c *contact) dropApproach(s Settings, w window) bool {
	allowed := max(s.spreadOhms(w.meanOhms, w.resolutionOhms), outlierScales*neighbourScale(w.readings))
	perSecond := s.AlphaPerKelvin * w.meanOhms * (farthestKelvin/s.TimeConstant.Seconds() + quickKelvinPerSecond)
	off := 0
	for i := len(c.usable) - len(w.readings) - 1; i >= 0; i-- {
		r := c.usable[i]
		age := w.readings[0].Time.Sub(r.Time).Seconds()
		if math.Abs(r.Value-w.meanOhms) <= allowed+perSecond*age {
			off = 0
			continue
		}
		if off++; off == stepReadings {
			c.beginAt(i + stepReadings)
			return true
		}
	}
	return false
}

// follow keeps an input of a coil that was recorded and stays on.
func (c *contact) follow(e Entry) {
	if !c.full() {
		c.trace = append(c.trace, e)
	}
}

// full is true when nothing more is kept of a coil that stays on.
func (c *contact) full() bool { return len(c.trace) >= longestTrace }

// useLasting takes a reading of a coil that was recorded and stays on; of one
// that stays on for very long the older half is dropped now and then.
func (c *contact) useLasting(r driver.Reading) {
	c.use(r)
	if len(c.usable) > longestApproach {
		c.usable = append(c.usable[:0], c.usable[longestApproach/2:]...)
		c.course = append(c.course[:0], c.course[longestApproach/2:]...)
	}
}

// patienceOver is true when the coil has had the time it is given.
func (c *contact) patienceOver(s Settings, now time.Time) bool {
	return len(c.usable) > 0 && now.Sub(c.usable[0].Time) >= s.Patience
}

// learn looks for the coil's own time constant in what was left on.
func (c *contact) learn(s Settings) *TimeConstantEstimate {
	if len(c.usable) == 0 {
		return nil
	}
	e := fitCooling(c.course, s.AlphaPerKelvin*c.usable[len(c.usable)-1].Value)
	if e != nil && c.probeMoved(s) > steadyRoomShare*math.Abs(e.StartKelvin) {
		return nil // it is the room's course as well
	}
	return e
}
