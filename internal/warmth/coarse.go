package warmth

import (
	"math"
	"slices"
)

// manyDigits different values of a coarse display, passed one after another,
// are points of their own: a moving value is rounded like a random one.
const manyDigits = 8

// takeCoarse uses readings of a display so coarse that its steps hide their
// noise, and that only ever went one way. Each says no more than that the value
// lay within half a step of it: an interval, not a point. Lines that pass through
// all intervals fill a polygon in the plane of level and slope, and any of them is
// as likely; its mean and variance are what the readings say of the slope. It is
// false when no line passes.
func (s *summary) takeCoarse(runs []run, step float64) bool {
	if len(runs) >= manyDigits {
		middles := make([]Point, 0, len(runs)-2)
		for _, r := range runs[1 : len(runs)-1] { // the first and the last are cut
			middles = append(middles, Point{(r.from + r.to) / 2, r.ohms})
		}
		through, ok := fitRobust(middles, *s, step)
		if ok {
			s.take(through, 0)
		}
		return ok
	}
	mean, variance, ok := s.slopes(runs, step)
	if ok {
		s.degree = 1
		s.value, s.covariance = [order]float64{mean}, [order][order]float64{{variance}}
	}
	return ok
}

// takeCoarseIfMonotone is false when the display went to and fro: its noise shows.
func (s *summary) takeCoarseIfMonotone(w Watched) bool {
	runs := runsOf(w.Points)
	return monotone(runs) && s.takeCoarse(runs, w.ResolutionOhms)
}

// run is an unbroken run of equal readings.
type run struct{ from, to, ohms float64 }

func runsOf(points []Point) []run {
	var runs []run
	for _, p := range points {
		if n := len(runs); n > 0 && runs[n-1].ohms == p.Ohms {
			runs[n-1].to = p.Seconds
			continue
		}
		runs = append(runs, run{p.Seconds, p.Seconds, p.Ohms})
	}
	return runs
}

// monotone is true when the display only ever went one way.
func monotone(runs []run) bool {
	up, down := false, false
	for i := 1; i < len(runs); i++ {
		up = up || runs[i].ohms > runs[i-1].ohms
		down = down || runs[i].ohms < runs[i-1].ohms
	}
	return !up || !down
}

// vertex is a level and a slope, per half span.
type vertex struct{ level, slope float64 }

// slopes gives mean and variance of the slopes of all lines within half a step of
// each reading; ok is false when there is none.
func (s summary) slopes(runs []run, step float64) (mean, variance float64, ok bool) {
	low, high := runs[0].ohms, runs[0].ohms
	for _, r := range runs {
		low, high = min(low, r.ohms), max(high, r.ohms)
	}
	base, half := runs[0].ohms, step/2
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
