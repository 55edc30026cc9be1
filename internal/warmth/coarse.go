package warmth

import (
	"math"
	"slices"
)

// manyDigits different values of a coarse display, passed one after another,
// are points of their own: a moving value is rounded like a random one.
const manyDigits = 8

// takeCoarse uses readings of a display so coarse that its steps hide their
// noise. Each says no more than that the value lay within half a step of it: an
// interval, not a point. Lines that pass through all intervals fill a polygon in the
// plane of level and slope, and any of them is as likely; its mean and variance are
// what the readings say of the slope. It is false when no line passes.
func (s *summary) takeCoarse(w Watched) bool {
	shape := shapeOf(w.Points)
	if !shape.monotone && shape.atEnds < stillReadings {
		return false // noise, as of most displays: looked at in every reading of a meter
	}
	runs := runsOf(w.Points, shape.runs)
	if !shape.monotone {
		return s.takeWavering(runs, w.ResolutionOhms)
	}
	if len(runs) < manyDigits {
		return s.takeSlopes(runs, w.ResolutionOhms)
	}
	middles := make([]Point, 0, len(runs)-2)
	for _, r := range runs[1 : len(runs)-1] { // the first and the last are cut
		middles = append(middles, Point{(r.from + r.to) / 2, r.ohms})
	}
	through, ok := fitRobust(middles, *s, w.ResolutionOhms)
	if ok {
		s.take(through, 0)
	}
	return ok
}

// A display that goes to and fro and stands still before or after does so at the
// edge between two steps, for a noise far smaller than they are. That tells more
// than a display that stands still: for so long the value lay at the edge.
const (
	// stillReadings at both ends together show that the noise is small: one of
	// two fifths of a step moves every fifth reading of a value in the middle of it.
	stillReadings = 12
	// quietReach is how far over the edge small noise may reach at the least, in
	// steps.
	quietReach = 0.075
)

// reaches are how far over the edge noise is taken to reach, in steps.
var reaches = [...]float64{0.05, 0.1, 0.2}

// takeWavering uses readings that go to and fro: their intervals reach over the edge
// by twice the least that lets a line pass, and a little more. The first and the last
// run hold stillReadings at least.
func (s *summary) takeWavering(runs []run, step float64) bool {
	for _, reach := range reaches {
		if _, _, ok := s.slopes(runs, (1+2*reach)*step); ok {
			return s.takeSlopes(runs, (1+2*(2*reach+quietReach))*step)
		}
	}
	return false
}

// takeSlopes uses the lines that pass through all intervals of a width.
func (s *summary) takeSlopes(runs []run, width float64) bool {
	mean, variance, ok := s.slopes(runs, width)
	if ok {
		s.degree, s.censored = 1, true
		s.value, s.covariance = [order]float64{mean}, [order][order]float64{{variance}}
	}
	return ok
}

// run is an unbroken run of equal readings.
type run struct {
	from, to, ohms float64
	readings       int
}

// shape is what a display did, in short.
type shape struct {
	runs     int
	monotone bool // it only ever went one way
	atEnds   int  // readings in the first and in the last run; twice if that is the same
}

func shapeOf(points []Point) shape {
	found := shape{runs: 1}
	up, down, first, length := false, false, 0, 1
	for i := 1; i < len(points); i++ {
		before, now := points[i-1].Ohms, points[i].Ohms
		if before == now {
			length++
			continue
		}
		up, down = up || now > before, down || now < before
		if found.runs == 1 {
			first = length
		}
		found.runs, length = found.runs+1, 1
	}
	if found.runs == 1 {
		first = length
	}
	found.monotone, found.atEnds = !up || !down, first+length
	return found
}

// runsOf are the runs of a display, so many.
func runsOf(points []Point, many int) []run {
	runs := make([]run, 0, many)
	for _, p := range points {
		if n := len(runs); n > 0 && runs[n-1].ohms == p.Ohms {
			runs[n-1].to = p.Seconds
			runs[n-1].readings++
			continue
		}
		runs = append(runs, run{p.Seconds, p.Seconds, p.Ohms, 1})
	}
	return runs
}

// vertex is a level and a slope, per half span.
type vertex struct{ level, slope float64 }

// slopes gives mean and variance of the slopes of all lines within half of a width
// of each reading; ok is false when there is none.
func (s summary) slopes(runs []run, width float64) (mean, variance float64, ok bool) {
	low, high := runs[0].ohms, runs[0].ohms
	for _, r := range runs {
		low, high = min(low, r.ohms), max(high, r.ohms)
	}
	base, half := runs[0].ohms, width/2
	wide := high - low + 4*half
	polygon := []vertex{{low - base - wide, -wide}, {high - base + wide, -wide}, {high - base + wide, wide}, {low - base - wide, wide}}
	cut := clipper{polygon: polygon}
	for _, r := range runs {
		for _, seconds := range [...]float64{r.from, r.to} {
			u := s.unit(seconds)
			cut.clip(1, u, r.ohms-base+half)
			cut.clip(-1, -u, -(r.ohms - base - half))
		}
	}
	return momentsOfSlope(cut.polygon)
}

// clipper cuts a convex polygon down; spare is what it writes the next one to.
type clipper struct{ polygon, spare []vertex }

// clip keeps what satisfies a·level + b·slope ≤ c.
func (k *clipper) clip(a, b, c float64) {
	excess := func(v vertex) float64 { return a*v.level + b*v.slope - c }
	if !slices.ContainsFunc(k.polygon, func(v vertex) bool { return excess(v) > 0 }) {
		return
	}
	kept := k.spare[:0]
	for i, v := range k.polygon {
		next := k.polygon[(i+1)%len(k.polygon)]
		here, there := excess(v), excess(next)
		if here <= 0 {
			kept = append(kept, v)
		}
		if here < 0 && there > 0 || here > 0 && there < 0 {
			part := here / (here - there)
			kept = append(kept, vertex{v.level + part*(next.level-v.level), v.slope + part*(next.slope-v.slope)})
		}
	}
	k.polygon, k.spare = kept, k.polygon
}

// momentsOfSlope gives mean and variance of the slope over a convex polygon, by
// cutting it into triangles: over one with the corners x, y, z the mean of s² is
// (x² + y² + z² + xy + yz + zx)/6.
func momentsOfSlope(polygon []vertex) (mean, variance float64, ok bool) {
	if len(polygon) < 3 {
		return 0, 0, false
	}
	o := polygon[0]
	area, first, second := 0.0, 0.0, 0.0
	for i := 1; i+1 < len(polygon); i++ {
		p, q := polygon[i], polygon[i+1]
		part := math.Abs((p.level-o.level)*(q.slope-o.slope) - (q.level-o.level)*(p.slope-o.slope))
		x, y, z := 0.0, p.slope-o.slope, q.slope-o.slope
		area += part
		first += part * (x + y + z) / 3
		second += part * (x*x + y*y + z*z + x*y + y*z + z*x) / 6
	}
	if area == 0 {
		return 0, 0, false
	}
	mean = first / area
	return o.slope + mean, max(second/area-mean*mean, 0), true
}
