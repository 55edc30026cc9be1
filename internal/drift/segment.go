package drift

import (
	"math"
	"slices"

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

// heightAt is the height of the piece at kept coil k.
func (p piece) heightAt(k int) float64 {
	if p.slope == 0 {
		return p.level
	}
	return p.level + p.slope*float64(max(0, k-p.kink))
}

// minPiece is the least number of coils that make a level of their own: two in a
// row are too easily two bad coils.
const minPiece = 3

// fewestFrom is how many coils make a level from k to end: two will do at the end of
// the series where something changed on record.
func (s *segmenter) fewestFrom(k, end int) int {
	if s.recorded[k] && end == len(s.y) {
		return minPiece - 1
	}
	return minPiece
}

// segmenter cuts a series into pieces.
type segmenter struct {
	// y are the values less their mean, mean0; w their weights.
	y, w  []float64
	mean0 float64
	// Running sums with one entry more than values: of the weights, times the
	// place and its square; of the values about the mean, times the place; of
	// their squares.
	w0, wx, wxx, wy, wxy, wyy []float64
	// variance is that of a value of weight 1, from neighbours' differences;
	// price is what one more parameter must gain in chi squared.
	variance, price float64
	// widening multiplies every standard error: more than 1 for values that depend on
	// each other.
	widening float64
	// recorded is true at the places where a change was recorded; recordedCount of them.
	recorded      []bool
	recordedCount int
}

func newSegmenter(y, w []float64, widening float64, recorded []int) *segmenter {
	n := len(y)
	s := &segmenter{y: make([]float64, n), w: w, widening: widening, recorded: make([]bool, n+1), recordedCount: len(recorded)}
	for _, sums := range []*[]float64{&s.w0, &s.wx, &s.wxx, &s.wy, &s.wxy, &s.wyy} {
		*sums = make([]float64, n+1)
	}
	for _, k := range recorded {
		s.recorded[k] = true
	}
	mean := statistics.MomentsOf(y).Mean
	s.mean0 = mean
	for i, v := range y {
		d, x := v-mean, float64(i)-float64(n)/2
		s.y[i] = d
		s.w0[i+1], s.wx[i+1], s.wxx[i+1] = s.w0[i]+w[i], s.wx[i]+w[i]*x, s.wxx[i]+w[i]*x*x
		s.wy[i+1], s.wxy[i+1], s.wyy[i+1] = s.wy[i]+w[i]*d, s.wxy[i]+w[i]*x*d, s.wyy[i]+w[i]*d*d
	}
	sigma := robustScatter(y)
	// Values without any scatter still need a yardstick: no meter tells more
	// than eight digits apart.
	s.variance = max(sigma*sigma, 1e-16*mean*mean) * widening * widening
	s.price = math.Log(float64(n))
	return s
}

// rssAboutMean is the weighted sum of squares about the mean of values from i up to j.
func (s *segmenter) rssAboutMean(i, j int) float64 {
	w, y := s.w0[j]-s.w0[i], s.wy[j]-s.wy[i]
	return max(0, s.wyy[j]-s.wyy[i]-y*y/w)
}

func (s *segmenter) meanOf(i, j int) float64 { return (s.wy[j] - s.wy[i]) / (s.w0[j] - s.w0[i]) }

// costOfRange is what describing values i to j by one level or one line costs,
// whichever is less: chi squared and the price of the parameters (Schwarz 1978,
// Annals of Statistics 6, 461-464).
func (s *segmenter) costOfRange(i, j int) float64 {
	w, x, y := s.w0[j]-s.w0[i], s.wx[j]-s.wx[i], s.wy[j]-s.wy[i]
	rss := max(0, s.wyy[j]-s.wyy[i]-y*y/w)
	cost := rss/s.variance + s.price
	if j-i < minSloped {
		return cost
	}
	xx, xy := s.wxx[j]-s.wxx[i]-x*x/w, s.wxy[j]-s.wxy[i]-x*y/w
	return min(cost, max(0, rss-xy*xy/xx)/s.variance+2*s.price)
}

// placePrice is the price of a cut at k. Where something changed on record, a new
// level is to be expected (spools of one gauge differ by several percent): its
// place costs nothing, and neither does the level. Otherwise a step with a few
// coils that happen to lean its way passes for a trend from the first coil.
func (s *segmenter) placePrice(k int) float64 {
	if s.recorded[k] {
		return -s.price
	}
	return s.price
}

// mostPlaces bounds the places that are tried as cuts all against all. In a
// longer series every second, third or so is tried first, and then more closely
// about the cuts that gave, until every place is.
const mostPlaces = 500

// describePieces cuts the values into the levels and lines that describe all of them
// best for their parameters. What chance may have made is then joined again.
func (s *segmenter) describePieces() []piece {
	n := len(s.y)
	stride := 1 + (n-1)/mostPlaces
	cuts := s.cheapestCuts(func(k int) bool { return k%stride == 0 })
	for stride > 1 {
		// A step that lies between two of the places tried shows as a short line across it.
		reach := minSloped + stride
		stride = max(1, stride/4)
		near := make([]bool, n+1)
		for _, cut := range cuts {
			for k := max(0, cut-reach); k <= min(n, cut+reach); k++ {
				near[k] = k%stride == 0
			}
		}
		cuts = s.cheapestCuts(func(k int) bool { return near[k] })
	}
	var pieces []piece
	for i := 1; i < len(cuts); i++ {
		p, _ := s.bestPiece(cuts[i-1], cuts[i])
		pieces = append(pieces, p)
	}
	for {
		pieces = s.joinWhatChanceMade(pieces)
		last := &pieces[len(pieces)-1]
		if last.slope == 0 || s.slopeOutlastsEnd(*last) {
			return pieces
		}
		*last = piece{first: last.first, last: last.last, level: s.meanOf(last.first, last.last)}
	}
}

// slopeOutlastsEnd says whether the last piece still slopes without its last two
// values: two coils of a new level, too few to be one yet, pull a line up from far
// before them.
func (s *segmenter) slopeOutlastsEnd(last piece) bool {
	without, _ := s.bestPiece(last.first, last.last-(minPiece-1))
	return without.slope != 0
}

// cheapestCuts returns the cheapest ends of pieces, the first 0 and the last the end
// of the series, among the places to be tried and those recorded (optimal
// partitioning, Jackson and others 2005, IEEE Signal Processing Letters 12,
// 105-108).
func (s *segmenter) cheapestCuts(tried func(k int) bool) []int {
	n := len(s.y)
	places := []int{0}
	for k := minPiece; k <= n-s.fewestFrom(k, n); k++ {
		if tried(k) || s.recorded[k] {
			places = append(places, k)
		}
	}
	places = append(places, n)
	best, from := make([]float64, len(places)), make([]int, len(places))
	for b := 1; b < len(places); b++ {
		best[b] = math.Inf(1)
		for a := 0; a < b && places[b]-places[a] >= minPiece-1; a++ {
			if places[b]-places[a] < s.fewestFrom(places[a], places[b]) {
				continue
			}
			c := best[a] + s.costOfRange(places[a], places[b])
			if a > 0 {
				c += s.placePrice(places[a])
			}
			if c < best[b] {
				best[b], from[b] = c, a
			}
		}
	}
	cuts := []int{n}
	for b := len(places) - 1; b > 0; b = from[b] {
		cuts = append(cuts, places[from[b]])
	}
	slices.Reverse(cuts)
	return cuts
}

// bestPiece is the one level, line, or level that turns into a line, that describes
// values i to j best, with its cost.
func (s *segmenter) bestPiece(i, j int) (piece, float64) {
	p, cost := piece{first: i, last: j, level: s.meanOf(i, j)}, s.rssAboutMean(i, j)/s.variance+s.price
	if sloped, c, ok := s.bestSlopedPiece(i, j); ok && c < cost {
		return sloped, c
	}
	return p, cost
}

// joinWhatChanceMade joins neighbours, the least certain first, until every step
// and slope that is left describes the values better and is not chance. Steps
// between levels move to their best place on the way.
func (s *segmenter) joinWhatChanceMade(pieces []piece) []piece {
	for {
		worst, at := 0.0, -1
		for i := 0; i+1 < len(pieces); i++ {
			if p := s.chanceOfBoundary(&pieces[i], &pieces[i+1]); p >= alphaEach && p > worst {
				worst, at = p, i
			}
		}
		if at < 0 {
			return pieces
		}
		pieces[at], _ = s.bestPiece(pieces[at].first, pieces[at+1].last)
		pieces = slices.Delete(pieces, at+1, at+2)
	}
}

// chanceOfBoundary is the probability that the boundary of two pieces is chance, judged
// by these two alone: 1 when a single piece describes them as well. Two levels
// are moved to their best place.
func (s *segmenter) chanceOfBoundary(before, after *piece) float64 {
	levels := before.slope == 0 && after.slope == 0
	p := 1.0
	if levels {
		x, ok := s.bestSplit(before.first, after.last)
		if !ok {
			return 1
		}
		before.last, before.level = x.k, s.meanOf(before.first, x.k)
		after.first, after.level = x.k, s.meanOf(x.k, after.last)
		p = x.p
	}
	if _, cost := s.bestPiece(before.first, after.last); cost <= s.pieceCost(*before)+s.pieceCost(*after)+s.placePrice(after.first) {
		return 1
	}
	if levels {
		return p
	}
	return s.chanceOfPieces(*before, *after)
}

// chanceOfPieces is the probability by chance of two pieces, of which one at least
// slopes, describing the values so much better than one straight line does (the F
// test of nested models).
func (s *segmenter) chanceOfPieces(before, after piece) float64 {
	line, n := s.straightLine(before.first, after.last), after.last-before.first
	extra := before.parameters() + after.parameters() - line.parameters()
	df := float64(n - before.parameters() - after.parameters())
	if df < 1 {
		return 1
	}
	rss := s.pieceRSS(before) + s.pieceRSS(after)
	if rss <= 0 {
		return 0
	}
	f := (s.pieceRSS(line) - rss) / float64(extra) / (rss / df) / (s.widening * s.widening)
	return min(1, statistics.FisherP(f, float64(extra), df)*s.placesSearched(after.first, n))
}

// placesSearched is how many places were searched for a cut that was found at k:
// all n that were tried, or at a recorded place only those recorded.
func (s *segmenter) placesSearched(k, n int) float64 {
	if s.recorded[k] {
		return float64(min(n, s.recordedCount))
	}
	return float64(n)
}

// parameters counts the numbers that describe the piece.
func (p piece) parameters() int {
	switch {
	case p.slope == 0:
		return 1
	case p.kink == p.first:
		return 2
	}
	return 3
}

// costOfPieces is the cost of a whole description.
func (s *segmenter) costOfPieces(pieces []piece) float64 {
	cost := 0.0
	for i, p := range pieces {
		cost += s.pieceCost(p)
		if i > 0 {
			cost += s.placePrice(p.first)
		}
	}
	return cost
}

// rssOfPieces is the weighted sum of squares that a whole description leaves.
func (s *segmenter) rssOfPieces(pieces []piece) float64 {
	rss := 0.0
	for _, p := range pieces {
		rss += s.pieceRSS(p)
	}
	return rss
}

func (s *segmenter) pieceCost(p piece) float64 {
	return s.pieceRSS(p)/s.variance + float64(p.parameters())*s.price
}

func (s *segmenter) pieceRSS(p piece) float64 {
	rss := 0.0
	for k := p.first; k < p.last; k++ {
		d := s.y[k] - p.heightAt(k)
		rss += s.w[k] * d * d
	}
	return rss
}
