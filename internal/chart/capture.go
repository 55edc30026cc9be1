package chart

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// Capture is one measurement with the readings behind it.
type Capture struct {
	View
	Title       string
	Measurement record.Measurement
	// Readings are those stored with the measurement, in any order.
	Readings []record.Reading
}

// approachRatio is how far from the result a reading of the approach may lie and
// still be on the scale; what lies further out stands at the edge.
const approachRatio = 0.01

// Picture draws the readings of the meter, as it showed them, against the seconds
// since the coil was clipped on: the approach, the steady window with its mean,
// what was left out, and below them the temperatures. Answers without a value are
// marked at the foot with their reason.
//
// It refuses a measurement without a reading in its window, and a reading that
// says it is good but has no finite value.
func (c Capture) Picture() (*Picture, error) {
	size := c.Size.or(760, 420)
	if err := cmp.Or(size.check(280, 300), c.check()); err != nil {
		return nil, fmt.Errorf("draw the capture of measurement %s: %w", c.Measurement.ID, err)
	}
	rs := slices.Clone(c.Readings)
	slices.SortStableFunc(rs, func(a, b record.Reading) int { return a.Time.Compare(b.Time) })
	meter, probe := split(rs)

	p := newPicture(size, c.Title)
	p.Description = c.describe(meter, probe)
	var upper, lower panel
	upper.y.low, upper.y.high = c.ohmsReach(meter)
	lower.y.low, lower.y.high = c.celsiusReach(probe)
	upper.x.low, upper.x.high = c.seconds(rs)
	lower.x = upper.x
	top := c.legend(upper, meter, probe).draw(p, p.belowTitle()) + nameRoom
	split := top + 0.66*(size.Height-bottomRoom-top)
	upper.place(leftRoom, top, size.Width-rightRoom, split-12)
	lower.place(leftRoom, split+nameRoom, size.Width-rightRoom, size.Height-bottomRoom)

	c.window(p, meter, upper, lower)
	unit, unitSize := scaleFor(upper.y.high)
	upper.yLabels(p, "meter ("+unit+")", unitSize)
	lower.yLabels(p, "temperature (°C)", 1)
	lower.xLabels(p, "seconds since the coil was clipped on", false)
	upper.level(p, inkTarget, c.Measurement.ResistanceOhms)
	for _, r := range meter {
		c.mark(p, upper, r, c.meterFace(r), "Ω")
	}
	for _, r := range probe {
		c.mark(p, lower, r, probeFace, "°C")
	}
	lower.level(p, inkTemperature, c.Measurement.TemperatureCelsius)
	return p, nil
}

func (c Capture) check() error {
	window := 0
	for _, r := range c.Readings {
		if good(r) && (math.IsNaN(r.Value) || math.IsInf(r.Value, 0)) {
			return fmt.Errorf("the reading of the %s at %s has no finite value", r.Role, r.Time.UTC().Format(time.RFC3339Nano))
		}
		if good(r) && r.Role == record.Meter && r.InWindow {
			window++
		}
	}
	if window == 0 {
		return errors.New("no reading of its steady window was kept")
	}
	if m := c.Measurement; !(m.ResistanceOhms > 0) || math.IsInf(m.ResistanceOhms, 0) {
		return fmt.Errorf("a resistance of %g Ω cannot be", m.ResistanceOhms)
	}
	return nil
}

func good(r record.Reading) bool { return r.Status == string(driver.OK) }

func split(rs []record.Reading) (meter, probe []record.Reading) {
	for _, r := range rs {
		if r.Role == record.Probe {
			probe = append(probe, r)
		} else {
			meter = append(meter, r)
		}
	}
	return meter, probe
}

// since is the time of a reading from contact.
func (c Capture) since(t time.Time) float64 {
	contact := c.Measurement.Time.Add(-time.Duration(c.Measurement.CaptureSeconds * float64(time.Second)))
	return t.Sub(contact).Seconds()
}

func (c Capture) seconds(rs []record.Reading) (low, high float64) {
	low = min(0, c.since(rs[0].Time))
	high = max(c.since(rs[len(rs)-1].Time), low+1)
	room := 0.02 * (high - low)
	return low - room, high + room
}

func (c Capture) ohmsReach(meter []record.Reading) (low, high float64) {
	mean := c.Measurement.ResistanceOhms
	low, high = mean, mean
	for _, r := range meter {
		near := math.Abs(r.Value/mean-1) <= approachRatio
		if good(r) && (near || r.InWindow && !r.Outlier) {
			low, high = min(low, r.Value), max(high, r.Value)
		}
	}
	room := max(0.08*(high-low), 2e-4*mean)
	return low - room, high + room
}

func (c Capture) celsiusReach(probe []record.Reading) (low, high float64) {
	low, high = c.Measurement.TemperatureCelsius, c.Measurement.TemperatureCelsius
	for _, r := range probe {
		if good(r) {
			low, high = min(low, r.Value), max(high, r.Value)
		}
	}
	// No narrower than half a kelvin: the last digit of a probe is no drama.
	room := max(0.1*(high-low), (0.5-(high-low))/2, 0)
	return low - room, high + room
}

// window shades the time of the steady window on both panels.
func (c Capture) window(p *Picture, meter []record.Reading, panels ...panel) {
	from, to := c.windowSeconds(meter)
	for _, g := range panels {
		p.rect(fill(inkWindow), g.x.at(from), g.y.to, g.x.at(to), g.y.from)
	}
}

func (c Capture) windowSeconds(meter []record.Reading) (from, to float64) {
	from, to = math.Inf(1), math.Inf(-1)
	for _, r := range meter {
		if r.InWindow {
			from, to = min(from, c.since(r.Time)), max(to, c.since(r.Time))
		}
	}
	return from, to
}

var (
	approachFace = face{ring, inkBar, "approach"}
	windowFace   = face{disc, inkIn, "steady window"}
	outlierFace  = face{struckDisc, inkOut, "left out of the mean"}
	silentFace   = face{cross, inkVoid, "no value"}
	probeFace    = face{diamond, inkTemperature, "temperature"}
)

func (c Capture) meterFace(r record.Reading) face {
	switch {
	case r.Outlier:
		return outlierFace
	case r.InWindow:
		return windowFace
	}
	return approachFace
}

// readDigits are more than an instrument shows, and fewer than a sum of binary
// fractions leaves behind.
const readDigits = 10

// mark draws one reading, at the foot of the panel when it has no value.
func (c Capture) mark(p *Picture, g panel, r record.Reading, f face, unit string) {
	seconds := c.since(r.Time)
	said := words.Fixed(seconds, 2) + " s · "
	y := g.y.low
	if good(r) {
		y, _ = g.y.inside(r.Value)
		said += words.AtMost(r.Value, readDigits) + " " + unit + " · " + f.words
		f = g.offScaleFace(r.Value, f)
	} else {
		f = silentFace
		said += cmp.Or(r.Reason, r.Status)
	}
	p.mark(f.shape, f.ink, 3.2, note{words: said, at: g.at(seconds, y), reach: 7})
}

// offScaleFace returns f, or for a value beyond the panel a triangle that points
// to where it is, so that the edge is not taken for its value.
func (g panel) offScaleFace(value float64, f face) face {
	switch {
	case value < g.y.low:
		f.shape = triangleDown
	case value > g.y.high:
		f.shape = triangleUp
	}
	return f
}

func (c Capture) legend(g panel, meter, probe []record.Reading) legend {
	var l legend
	for _, r := range meter {
		switch {
		case !good(r):
			l.addMark(silentFace)
		case g.offScaleFace(r.Value, approachFace) != approachFace:
			l.addMark(face{triangleDown, inkBar, "off the scale"})
		default:
			l.addMark(c.meterFace(r))
		}
	}
	l.addLine(inkTarget, "mean")
	if slices.ContainsFunc(probe, good) {
		l.addMark(probeFace)
	}
	return l
}

func (c Capture) describe(meter, probe []record.Reading) string {
	window, left := 0, 0
	for _, r := range meter {
		if r.InWindow {
			window++
		}
		if r.Outlier {
			left++
		}
	}
	from, to := c.windowSeconds(meter)
	return fmt.Sprintf("%d readings of the meter and %d of the probe. The steady window holds %d readings from %.1f to %.1f seconds "+
		"after contact, %d of them left out; their mean is %s at %s.",
		len(meter), len(probe), window, from, to, left,
		words.Ohms(c.Measurement.ResistanceOhms), words.CelsiusLive(c.Measurement.TemperatureCelsius))
}
