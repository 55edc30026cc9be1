package drift

import (
	"math"

	"coilkeep/internal/control"
	"coilkeep/internal/statistics"
)

// piece is coils in a row that one level or one straight line describes. Its
// ends count kept coils, from 0; last is one past.
type piece struct {
	first, last int
	// level is the mean; the slope in ohms a coil is 0 for a level. kink is where a
	// slope begins: the piece is level before.
	level, slope float64
	kink         int
}

// at is the height of the piece at kept coil k.
func (p piece) at(k int) float64 {
	if p.slope == 0 {
		return p.level
	}
	return p.level + p.slope*float64(max(0, k-p.kink))
}

// minPiece is the least number of coils that make a level of their own: two in a
// row are too easily two bad coils.
const minPiece = 3

// segmenter cuts a series into pieces.
type segmenter struct {
	y, w []float64
	// w0, w1, w2 and so on are running sums of weights, weighted values and
	// squares about the mean, with one entry more than values.
	w0, wy, wyy []float64
	// variance is that of a value of weight 1, from neighbours' differences;
	// price is what one more parameter must gain in chi squared.
	variance, price float64
	// shrink divides every test statistic: more than 1 for values that depend
	// on each other.
	shrink float64
}

func newSegmenter(y, w []float64, shrink float64) *segmenter {
	n := len(y)
	s := &segmenter{y: make([]float64, n), w: w, w0: make([]float64, n+1), wy: make([]float64, n+1), wyy: make([]float64, n+1), shrink: shrink}
	centre := statistics.MomentsOf(y).Mean
	for i, v := range y {
		d := v - centre
		s.y[i] = d
		s.w0[i+1], s.wy[i+1], s.wyy[i+1] = s.w0[i]+w[i], s.wy[i]+w[i]*d, s.wyy[i]+w[i]*d*d
	}
	sigma := control.RobustSigma(y)
	// Values without any scatter still need a yardstick: their rounding.
	s.variance = max(sigma*sigma, 1e-20*centre*centre) * shrink * shrink
	s.price = math.Log(float64(n))
	return s
}

// rss is the weighted sum of squares about the mean of values from i up to j.
func (s *segmenter) rss(i, j int) float64 {
	w, y := s.w0[j]-s.w0[i], s.wy[j]-s.wy[i]
	return max(0, s.wyy[j]-s.wyy[i]-y*y/w)
}

func (s *segmenter) mean(i, j int) float64 { return (s.wy[j] - s.wy[i]) / (s.w0[j] - s.w0[i]) }

// split is the best place to cut values i to j in two levels: the second
// begins at k. p allows for having searched.
type split struct {
	k          int
	shift      float64
	error      float64
	residualSD float64
	p          float64
}

// best finds the split by least squares; ok is false when there are too few
// values.
func (s *segmenter) best(i, j int) (split, bool) {
	n := j - i
	if n < 2*minPiece {
		return split{}, false
	}
	bestK, bestRSS := 0, math.Inf(1)
	for k := i + minPiece; k <= j-minPiece; k++ {
		if r := s.rss(i, k) + s.rss(k, j); r < bestRSS {
			bestK, bestRSS = k, r
		}
	}
	x := s.at(i, bestK, j)
	z := 0.0
	if x.error > 0 {
		z = statistics.NormalEquivalent(x.shift/(x.error), float64(n-2))
	} else if x.shift != 0 {
		z = 37
	}
	x.p = statistics.AnyChangeP(z, min(0.49, float64(minPiece)/float64(n)))
	return x, true
}

// at measures the split at a place given beforehand, by the ordinary test.
func (s *segmenter) at(i, k, j int) split {
	n := j - i
	rss := s.exactRSS(i, k) + s.exactRSS(k, j)
	x := split{k: k, shift: s.mean(k, j) - s.mean(i, k), residualSD: s.shrink * math.Sqrt(rss/float64(n-2))}
	x.error = x.residualSD * math.Sqrt(1/(s.w0[k]-s.w0[i])+1/(s.w0[j]-s.w0[k]))
	// What float64 cannot hold apart is no shift.
	if math.Abs(x.shift) < 1e-12*math.Sqrt(s.wyy[len(s.y)]) {
		x.shift = 0
	}
	x.p = statistics.TestP(x.shift, x.error, float64(n-2))
	return x
}

// exactRSS is rss without its cancellation, in two passes.
func (s *segmenter) exactRSS(i, j int) float64 {
	mean, rss := s.mean(i, j), 0.0
	for k := i; k < j; k++ {
		d := s.y[k] - mean
		rss += s.w[k] * d * d
	}
	return rss
}

// cut divides values i to j into pieces by binary segmentation (Vostrikova
// 1981), and takes a single line, or a level that turns into a line, instead of
// the steps wherever that describes the values better for its parameters
// (Schwarz 1978, Annals of Statistics 6, 461-464).
func (s *segmenter) cut(i, j int) []piece {
	pieces, _ := s.describe(i, j)
	return pieces
}

// describe also returns the cost of its description.
func (s *segmenter) describe(i, j int) ([]piece, float64) {
	best := []piece{{first: i, last: j, level: s.mean(i, j)}}
	cost := s.rss(i, j)/s.variance + s.price
	if x, ok := s.best(i, j); ok && x.p < alpha {
		left, leftCost := s.describe(i, x.k)
		right, rightCost := s.describe(x.k, j)
		if c := leftCost + rightCost + s.price; c < cost {
			best, cost = append(left, right...), c
		}
	}
	if p, c, ok := s.sloped(i, j); ok && c < cost {
		best, cost = []piece{p}, c
	}
	return best, cost
}

// cutAtRecorded cuts a slope at a place where a change was recorded, if levels
// or lines on both sides describe the values better. Such a place was not
// searched for and costs no parameter: otherwise a step with a few coils that
// happen to lean its way passes for a trend from the start.
func (s *segmenter) cutAtRecorded(pieces []piece, recorded []int) []piece {
	var all []piece
	for _, p := range pieces {
		all = append(all, s.cutSlope(p, recorded)...)
	}
	return all
}

func (s *segmenter) cutSlope(p piece, recorded []int) []piece {
	if p.slope == 0 {
		return []piece{p}
	}
	var best []piece
	_, cost, _ := s.sloped(p.first, p.last)
	for _, k := range recorded {
		if k < p.first+minPiece || k > p.last-minPiece || s.at(p.first, k, p.last).p >= alpha {
			continue
		}
		left, leftCost := s.describe(p.first, k)
		right, rightCost := s.describe(k, p.last)
		if c := leftCost + rightCost; c < cost {
			best, cost = append(left, right...), c
		}
	}
	if best == nil {
		return []piece{p}
	}
	return s.cutAtRecorded(best, recorded)
}

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
	return best, cost, statistics.TestP(best.slope, se, bestDF) < alpha/2
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
