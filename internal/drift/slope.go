package drift

import (
	"math"

	"coilkeep/internal/statistics"
)

// minSloped is the least number of coils a slope is seen in.
const minSloped = 8

// sloped finds the line, or the level that turns into a line at the best place,
// that fits values i to j. A line costs two parameters, a kink one more for the
// place.
func (s *segmenter) sloped(i, j int) (piece, float64, bool) {
	if j-i < minSloped {
		return piece{}, 0, false
	}
	best, cost, bestDF := piece{}, math.Inf(1), 0.0
	var bestRSS, bestError float64
	sums := hinges{s: s, last: j}
	for kink := j - minSloped; kink >= i; kink-- {
		level, slope, rss, spread := sums.fit(i, kink)
		parameters := 3.0
		if kink == i {
			parameters = 2
		}
		if c := rss/s.variance + parameters*s.price; c < cost {
			best, cost = piece{first: i, last: j, level: level, slope: slope, kink: kink}, c
			bestRSS, bestDF, bestError = rss, float64(j-i)-2, spread
		}
	}
	se := s.shrink * math.Sqrt(bestRSS/bestDF/bestError)
	return best, cost, statistics.TestP(best.slope, se, bestDF) < each
}

// hinges fits y = level + slope·max(0, k − kink) for kinks from the right to
// the left, each in constant time.
type hinges struct {
	s    *segmenter
	last int
	// Weighted sums over the coils right of the kink of the distance d from it.
	w, d, dd, dy float64
	kink         int
	begun        bool
}

func (h *hinges) fit(first, kink int) (level, slope, rss, spread float64) {
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
	return level, slope, max(0, s.rss(first, h.last)-slope*slope*spread), spread
}

// line is the straight line through values i to j.
func (s *segmenter) line(i, j int) piece {
	sums := hinges{s: s, last: j}
	level, slope, _, _ := sums.fit(i, i)
	return piece{first: i, last: j, level: level, slope: slope, kink: i}
}
