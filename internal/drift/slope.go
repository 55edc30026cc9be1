package drift

import (
	"math"

	"coilkeep/internal/statistics"
)

// minSloped is the least number of coils a slope is seen in.
const minSloped = 8

// bestSlopedPiece finds the line, or the level that turns into a line at the best
// place, that fits values i to j. A line costs two parameters, a kink one more for
// the place.
func (s *segmenter) bestSlopedPiece(i, j int) (piece, float64, bool) {
	if j-i < minSloped {
		return piece{}, 0, false
	}
	best, cost, bestDF := piece{}, math.Inf(1), 0.0
	var bestRSS, bestError float64
	sums := kinkSums{s: s, last: j}
	for kink := j - minSloped; kink >= i; kink-- {
		level, slope, rss, spread := sums.fitKink(i, kink)
		parameters := 3.0
		if kink == i {
			parameters = 2
		}
		df := float64(j-i) - parameters
		if c := rss/s.variance + parameters*s.price; c < cost {
			best, cost = piece{first: i, last: j, level: level, slope: slope, kink: kink}, c
			bestRSS, bestDF, bestError = rss, df, spread
		}
	}
	se := s.widening * math.Sqrt(bestRSS/bestDF/bestError)
	return best, cost, statistics.TestP(best.slope, se, bestDF) < alphaEach
}

// kinkSums fits y = level + slope·max(0, k − kink) for kinks from the right to
// the left, each in constant time.
type kinkSums struct {
	s    *segmenter
	last int
	// Weighted sums over the coils right of the kink of the distance d from it.
	w, d, dd, dy float64
	kink         int
	begun        bool
}

func (h *kinkSums) fitKink(first, kink int) (level, slope, rss, spread float64) {
	s := h.s
	if !h.begun {
		h.begun, h.kink = true, h.last
	}
	for ; h.kink > kink; h.kink-- {
		// Moving the kink one to the left makes every distance one longer.
		k := h.kink - 1
		wy := s.wy[h.last] - s.wy[k+1]
		h.dy += wy
		h.dd += 2*h.d + h.w
		h.d += h.w
		h.w += s.w[k]
	}
	w, y := s.w0[h.last]-s.w0[first], s.wy[h.last]-s.wy[first]
	spread = h.dd - h.d*h.d/w
	slope = (h.dy - h.d*y/w) / spread
	level = (y - slope*h.d) / w
	return level, slope, max(0, s.rssAboutMean(first, h.last)-slope*slope*spread), spread
}

// fitRamp fits values i to j by a level up to the kink and a slope from there on, a
// straight line when the kink is i.
func (s *segmenter) fitRamp(i, j, kink int) ramp {
	sums := kinkSums{s: s, last: j}
	r := ramp{weight: s.w0[j] - s.w0[i], df: float64(j - i - 2)}
	r.level, r.slope, r.rss, r.spread = sums.fitKink(i, kink)
	r.first, r.last, r.kink, r.centre = i, j, kink, sums.d/r.weight
	if kink > i {
		r.df--
	}
	return r
}

// ramp is a fitted slope with what its errors are reckoned from.
type ramp struct {
	piece
	// rss is what the fit leaves, with df degrees of freedom; spread is the sum of
	// squares of the distances from the kink about their mean, centre.
	rss, df, spread, centre, weight float64
}

// rampErrors are the standard errors of the slope and of the height at the last
// value. The kink was searched for: half the range that both have over all kinks
// within two of the best chi squared is part of them (after profile likelihood; two
// instead of one makes the intervals hold, see TestSlopeIntervalsHold).
func (s *segmenter) rampErrors(r ramp) (slopeError, endError float64) {
	sd := s.widening * math.Sqrt(r.rss/max(1, r.df))
	end := r.last - 1
	away := float64(end-r.kink) - r.centre
	slopeError, endError = sd/math.Sqrt(r.spread), sd*math.Sqrt(1/r.weight+away*away/r.spread)
	if r.kink == r.first {
		return slopeError, endError
	}
	leastSlope, mostSlope, leastEnd, mostEnd := r.slope, r.slope, r.heightAt(end), r.heightAt(end)
	sums := kinkSums{s: s, last: r.last}
	for kink := r.last - minSloped; kink >= r.first; kink-- {
		p := piece{first: r.first, last: r.last, kink: kink}
		var rss float64
		p.level, p.slope, rss, _ = sums.fitKink(r.first, kink)
		if rss-r.rss > 2*s.variance {
			continue
		}
		leastSlope, mostSlope = min(leastSlope, p.slope), max(mostSlope, p.slope)
		leastEnd, mostEnd = min(leastEnd, p.heightAt(end)), max(mostEnd, p.heightAt(end))
	}
	return math.Hypot(slopeError, (mostSlope-leastSlope)/2), math.Hypot(endError, (mostEnd-leastEnd)/2)
}

// straightLine is the straight line through values i to j.
func (s *segmenter) straightLine(i, j int) piece { return s.fitRamp(i, j, i).piece }
