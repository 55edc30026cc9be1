// Package warmth estimates how far a coil's copper is from the temperature of
// the probe beside it, from the way its resistance moves while it is on the
// clips.
//
// The copper's excess over the probe is
//
//	E(t) = d + A·[(1 − q)·e^(−t/τ) + q·e^(−t/τq)]
//
// with t from contact: a coil relaxes to its surroundings as Newton's law of
// cooling says, the wire itself quicker than the bobbin under it. A is the
// excess it arrived with, τ the time constant of the finished coil, q the share
// of the excess that is in the wire alone and τq how fast the wire gives it to
// the bobbin, d the lasting difference between the coil's place and the probe's.
// The readings tell nothing of d, which stays as wide as it was told; for the
// others the package holds priors (see [Prior]) and updates them with the
// readings. What comes out is the posterior of E − d now, which corrects a
// resistance and says how well.
//
// The surroundings are taken to stay as they are while the coil is watched; a
// coil that lags behind a drifting room shows it by its slope like any other.
//
// It is pure and deterministic: no clock, no I/O, no random numbers.
package warmth

import (
	"math"
	"slices"
)

// Point is one resistance, seconds after contact.
type Point struct{ Seconds, Ohms float64 }

// BlockMeans averages neighbouring points so that at most n of them remain; n is
// at least 1. Fewer points come back as they are, not as a copy.
func BlockMeans(points []Point, n int) []Point {
	size := (len(points) + n - 1) / n
	if size <= 1 {
		return points
	}
	means := make([]Point, 0, n)
	for block := range slices.Chunk(points, size) {
		var sum Point
		for _, p := range block {
			sum.Seconds += p.Seconds
			sum.Ohms += p.Ohms
		}
		means = append(means, Point{sum.Seconds / float64(len(block)), sum.Ohms / float64(len(block))})
	}
	return means
}

// Watched is what is known of one coil on the clips.
type Watched struct {
	// Points are the readings to learn from, oldest first.
	Points []Point
	// ResolutionOhms is one step of the meter's display, 0 when unknown.
	ResolutionOhms float64
	// NowSeconds is when the excess is wanted, seconds after contact.
	NowSeconds float64
	// OhmsPerKelvin is how much the resistance rises with each kelvin, α·R20.
	OhmsPerKelvin float64
}

// Estimate is the posterior of the copper's excess over its surroundings at one
// moment, in kelvin; positive when the copper is warmer.
type Estimate struct {
	// Kelvin is the mean of the posterior.
	Kelvin float64 `json:"kelvin"`
	// StandardKelvin is its standard deviation, and HalfWidthKelvin the half of
	// the narrowest interval about Kelvin that holds 95 % of it.
	StandardKelvin  float64 `json:"standard_kelvin"`
	HalfWidthKelvin float64 `json:"half_width_kelvin"`
	// SlopeOhmsPerSecond is the mean slope of the readings and
	// SlopeStandardErrorPerSecond its standard error.
	SlopeOhmsPerSecond          float64 `json:"slope_ohms_per_second"`
	SlopeStandardErrorPerSecond float64 `json:"slope_standard_error_per_second"`
	// Readings and Seconds say what it was learned from; no reading for the
	// prior alone.
	Readings int     `json:"readings"`
	Seconds  float64 `json:"seconds"`
}

// bump is one normal component of a mixture, in ohms. Until the mixture is put
// together its weight is still to be multiplied by the exponential of exponent.
type bump struct{ weight, exponent, mean, deviation float64 }

// Of returns the posterior. Without points it is the prior at NowSeconds.
func Of(w Watched, p Prior) Estimate {
	seen, ok := summarise(w)
	e := p.estimate(w, seen, ok)
	if ok {
		slope, standardError := seen.slope()
		perSecond := p.TimeConstantSeconds / w.OhmsPerKelvin // what a slope says of the excess, in kelvin
		e.SlopeOhmsPerSecond, e.SlopeStandardErrorPerSecond = slope, standardError
		e.HalfWidthKelvin *= seen.blindness(standardError*perSecond, math.Abs(slope)/standardError) * ambiguity(math.Abs(slope)*perSecond)
		e.Readings, e.Seconds = len(w.Points), seen.span()
	}
	return e
}

// blindKelvin is a standard error of the excess, as the slope and the centre of
// the time constant tell it, at which a coil can hardly be seen to move.
const blindKelvin = 0.35

// blindness widens what is claimed of a coil that can hardly be seen to move; a
// slope many of its standard errors large is seen. The posterior of such a coil is
// the prior's, and among the coils that look flat by chance, and so are recorded
// first, more are warm than it says: twice its width at the most, and half of that
// where the digits of a coarse display hide the slope, in which there is less
// chance. A choice of ours, held by the coverage at the moment of record.
func (s summary) blindness(errorKelvin, slopeInErrors float64) float64 {
	most := 1.0
	if s.censored {
		most = 0.5
	}
	const seen = 3
	x, z := errorKelvin/blindKelvin, seen/max(slopeInErrors, seen)
	return 1 + most*min(x*x*x*x, 1)*z*z
}

// ambiguity widens what is claimed of a coil that is seen to move, by what its slope
// says of its excess at the centre of the time constant. The same slope is that of
// a coil of twice the time constant and twice as warm, and in the first minute that
// of a hand-warm wire, six times less warm, on a cool bobbin: their middle is off by
// half of what lies between them. From some five kelvins on, where hands and irons
// leave most of the heat in the wire, both are common. A choice of ours, held by the
// mean errors of such coils being within half of U.
func ambiguity(slopeKelvin float64) float64 {
	const seen, common, all = 2.0, 5.1, 6.6 // kelvins
	return 1 + 0.025*min(slopeKelvin/seen, 1) + 0.3*min(max((slopeKelvin-common)/(all-common), 0), 1)
}

// Expect returns the estimate there will be so many seconds later, if readings
// come as they did and the coil is what it seems to be now.
func Expect(w Watched, p Prior, seconds float64) Estimate {
	seen, ok := summarise(w)
	now := p.estimate(w, seen, ok)
	if ok {
		start := now.Kelvin * w.OhmsPerKelvin * math.Exp(w.NowSeconds/p.TimeConstantSeconds)
		ok = seen.extend(seconds, start, p.TimeConstantSeconds)
	}
	w.NowSeconds += seconds
	return p.estimate(w, seen, ok)
}

// estimate is the posterior in short.
func (p Prior) estimate(w Watched, seen summary, any bool) Estimate {
	var m mixture
	m.posterior(p, w, seen, any)
	e := describe(m.bumps[:m.n])
	e.Kelvin /= w.OhmsPerKelvin
	e.StandardKelvin /= w.OhmsPerKelvin
	e.HalfWidthKelvin /= w.OhmsPerKelvin
	return e
}

// describe gives mean, deviation and half-width of a mixture.
func describe(bumps []bump) Estimate {
	var e Estimate
	for _, b := range bumps {
		e.Kelvin += b.weight * b.mean
	}
	for _, b := range bumps {
		off := b.mean - e.Kelvin
		e.StandardKelvin += b.weight * (off*off + b.deviation*b.deviation)
	}
	e.StandardKelvin = math.Sqrt(e.StandardKelvin)
	var few [meanCells * deviationCells]bump
	e.HalfWidthKelvin = halfWidth(few[:mergeBumps(bumps, &few)], e.Kelvin, e.StandardKelvin)
	return e
}

// halfWidth is half of the interval about a centre that holds the coverage.
func halfWidth(bumps []bump, centre, deviation float64) float64 {
	low, high := 0.0, 2*deviation
	for range 8 { // nothing is further off than this many times its deviation
		if shareWithin(bumps, centre, high) >= coverage {
			break
		}
		low, high = high, 2*high
	}
	for high-low > 2e-3*high {
		middle := (low + high) / 2
		if shareWithin(bumps, centre, middle) < coverage {
			low = middle
		} else {
			high = middle
		}
	}
	return high
}

// shareWithin is the part of a mixture within a half-width of a centre.
func shareWithin(bumps []bump, centre, half float64) float64 {
	part := 0.0
	for _, b := range bumps {
		off, scale := b.mean-centre, 1/(math.Sqrt2*b.deviation)
		part += b.weight * (math.Erf((half-off)*scale) - math.Erf((-half-off)*scale)) / 2
	}
	return part
}

const coverage = 0.95

// Bumps of like mean and deviation are gathered before quantiles are sought.
const (
	meanCells      = 24
	deviationCells = 9 // a factor of two each, the last and all beyond
)

// mergeBumps merges bumps of like mean and deviation into one of their mean and
// variance, and tells how many there are then.
func mergeBumps(bumps []bump, few *[meanCells * deviationCells]bump) (n int) {
	low, high, narrow := math.Inf(1), math.Inf(-1), math.Inf(1)
	for _, b := range bumps {
		low, high, narrow = min(low, b.mean), max(high, b.mean), min(narrow, b.deviation)
	}
	perCell := (high - low) / meanCells
	var cells [meanCells * deviationCells]struct{ weight, first, second float64 }
	for _, b := range bumps {
		column := 0
		if perCell > 0 {
			column = min(int((b.mean-low)/perCell), meanCells-1)
		}
		row := 0
		for edge := 2 * narrow; b.deviation >= edge && row < deviationCells-1; edge *= 2 {
			row++
		}
		c := &cells[row*meanCells+column]
		c.weight += b.weight
		c.first += b.weight * (b.mean - low)
		c.second += b.weight * ((b.mean-low)*(b.mean-low) + b.deviation*b.deviation)
	}
	for _, c := range cells {
		if c.weight < 1e-6 {
			continue
		}
		mean := c.first / c.weight
		few[n] = bump{weight: c.weight, mean: low + mean, deviation: math.Sqrt(max(c.second/c.weight-mean*mean, narrow*narrow))}
		n++
	}
	return n
}
