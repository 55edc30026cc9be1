package drift

import (
	"math"
	"strconv"

	"coilkeep/internal/statistics"
)

// ChangePoint is a step from one level to another. LastBefore, Low and High are
// sequences: the last coil of the old level, and the interval that holds it.
type ChangePoint struct {
	LastBefore int `json:"last_before"`
	Low        int `json:"low"`
	High       int `json:"high"`
	// LastBeforeIndex is the same as an index of points, from 1.
	LastBeforeIndex int     `json:"last_before_index"`
	ShiftOhms       float64 `json:"shift_ohms"`
	ShiftLow        float64 `json:"shift_low"`
	ShiftHigh       float64 `json:"shift_high"`
	// ShiftRatio and its interval are relative to the target, or to the median of
	// the coils without one.
	ShiftRatio     float64 `json:"shift_ratio"`
	ShiftRatioLow  float64 `json:"shift_ratio_low"`
	ShiftRatioHigh float64 `json:"shift_ratio_high"`
	// P is the probability of such a step by chance: anywhere, or where a change
	// of spool, winder, operator or batch was recorded, just there or at another
	// such place.
	P        float64 `json:"p"`
	Sentence string  `json:"sentence"`

	// cause is the first suspect.
	cause Attribution
	// All kept coils: the pieces on either side, the first coil of the new level,
	// and the ends of the interval.
	from, k, to, low, high int
	// sloping is true when the coils slope on one side at least.
	sloping bool
}

// Dependence is the autocorrelation of what is left after steps and trend.
type Dependence struct {
	Lag1 float64 `json:"lag_1"`
	// P is of the Ljung-Box test over the first lags.
	P    float64 `json:"p"`
	Lags int     `json:"lags"`
	// Flagged is true when neighbours depend on each other: then standard errors
	// are widened by Widening, √((1 + r)/(1 − r)).
	Flagged  bool    `json:"flagged"`
	Widening float64 `json:"widening"`
}

// findChanges cuts the kept coils into levels and lines and lists the steps.
func (a *analysis) findChanges() {
	if len(a.kept) < 2*minPiece {
		a.pieces = []piece{{first: 0, last: len(a.kept), level: statistics.MomentsOf(valuesAt(a.ohms, a.kept)).Mean}}
		a.note("too few coils for a step: %d of %d", len(a.kept), 2*minPiece)
		return
	}
	y, w := valuesAt(a.ohms, a.kept), a.weights()
	a.segment(y, w, 1)
	a.report.Autocorrelation = a.dependence(y)
	if d := a.report.Autocorrelation; d != nil && d.Flagged {
		a.note("neighbouring coils are alike beyond the steps and trend found (correlation %.2f): something drifts slowly or is averaged; every test allows for it by widening its errors %.2f times", d.Lag1, d.Widening)
		a.segment(y, w, d.Widening)
	}
	a.inTurn(y, w, a.widening())
}

// weights are 1 for coils known as well as usual, less for those known worse.
func (a *analysis) weights() []float64 {
	sigma := 0.0
	if a.report.Baseline != nil {
		sigma = a.report.Baseline.SigmaWithinOhms
	}
	w := make([]float64, len(a.kept))
	for k, i := range a.kept {
		w[k] = 1
		if own := a.ownError(i); own > 0 {
			w[k] = sigma * sigma / (sigma*sigma + own*own)
			if sigma == 0 {
				w[k] = a.usual * a.usual / (a.usual*a.usual + own*own)
			}
		}
	}
	return w
}

func (a *analysis) segment(y, w []float64, shrink float64) {
	s := newSegmenter(y, w, shrink, a.recorded())
	a.segments, a.pieces = s, s.describePieces()
	a.described, a.left = s.costOfPieces(a.pieces), 0
	for _, p := range a.pieces {
		a.left += s.pieceRSS(p)
	}
	a.listChanges(s)
	for i := range a.pieces {
		a.pieces[i].level += s.mean0
	}
}

// placeQuantile bounds 95 % of the distribution of the estimated place of a
// step, in units of (sigma/shift)² coils (Yao 1987, Annals of Statistics 15,
// 1321-1328; Bai 1997, Review of Economics and Statistics 79, 551-563).
const placeQuantile = 11.03

func (a *analysis) listChanges(s *segmenter) {
	a.report.ChangePoints = []ChangePoint{}
	for i := 0; i+1 < len(a.pieces); i++ {
		before, after := a.pieces[i], a.pieces[i+1]
		found := s.levelStep
		if before.slope != 0 || after.slope != 0 {
			found = s.slopedStep
		}
		if x, ok := found(before, after); ok {
			a.report.ChangePoints = append(a.report.ChangePoints, a.changePoint(x, before, after))
		}
	}
}

// jump is a step between two pieces.
type jump struct {
	shift, low, high float64 // with the interval of it
	// residualSD is what the pieces leave, which the place is known by.
	residualSD, p float64
	sloping       bool
}

// levelStep is the step between two levels; false when it may be none.
func (s *segmenter) levelStep(before, after piece) (jump, bool) {
	k, n := after.first, after.last-before.first
	x := s.splitAt(before.first, k, after.last)
	p := min(1, x.p*s.placesSearched(k, n))
	if searched, ok := s.bestSplit(before.first, after.last); ok {
		p = searched.p
	}
	return newJump(x.shift, x.error, x.residualSD, p, float64(n-2))
}

// slopedStep is the step between two pieces of which one at least slopes; false
// for lines that meet.
func (s *segmenter) slopedStep(before, after piece) (jump, bool) {
	n := after.last - before.first
	df := float64(max(1, n-4))
	shift, standardError, residualSD := s.shiftOfLines(before, after, df)
	p := min(1, statistics.TestP(shift, standardError, df)*s.placesSearched(after.first, n))
	if p >= alphaEach {
		return jump{}, false
	}
	shift, standardError = s.stepBesideSlope(shift, standardError, residualSD, before, after)
	x, ok := newJump(shift, standardError, residualSD, p, df)
	x.sloping = true
	return x, ok
}

// newJump adds the interval; false when that holds no shift at all, as beside a
// slope that tells as much.
func newJump(shift, standardError, residualSD, p, df float64) (jump, bool) {
	half := statistics.StudentQuantile(0.5+confidence/2, df) * standardError
	x := jump{shift: shift, low: shift - half, high: shift + half, residualSD: residualSD, p: p}
	return x, x.low > 0 || x.high < 0
}

// changePoint tells a step by coils and as a ratio.
func (a *analysis) changePoint(x jump, before, after piece) ChangePoint {
	k, ref := after.first, a.reference()
	reach := 0
	if x.residualSD > 0 {
		reach = 1 + int(math.Min(float64(len(a.kept)), placeQuantile*math.Pow(x.residualSD/x.shift, 2)))
	}
	c := ChangePoint{
		from: before.first, k: k, to: after.last, sloping: x.sloping,
		low: max(before.first, k-1-reach), high: min(after.last-2, k-1+reach),
		LastBeforeIndex: a.kept[k-1] + 1, LastBefore: a.coils[a.kept[k-1]].Sequence,
		ShiftOhms: x.shift, ShiftLow: x.low, ShiftHigh: x.high,
		ShiftRatio: x.shift / ref, ShiftRatioLow: x.low / ref, ShiftRatioHigh: x.high / ref,
		P: x.p,
	}
	c.Low, c.High = a.coils[a.kept[c.low]].Sequence, a.coils[a.kept[c.high]].Sequence
	return c
}

// warnOfBaseline says when the process moved while the limits were being made.
func (a *analysis) warnOfBaseline() {
	var within []string
	for _, c := range a.report.ChangePoints {
		before, after := a.kept[c.k-1], a.kept[c.k]
		if a.inBaseline[before] && a.inBaseline[after] {
			within = append(within, strconv.Itoa(a.coils[after].Sequence))
		}
	}
	switch len(within) {
	case 0:
	case 1:
		a.note("the baseline holds the change at coil %s, so its limits are not those of a steady process: choose other coils for it", within[0])
	default:
		a.note("the baseline holds the changes at coils %s, so its limits are not those of a steady process: choose other coils for it", joinWithAnd(within))
	}
	for _, t := range a.trends() {
		n := 0
		for _, i := range a.kept[t.first:t.last] {
			if a.inBaseline[i] {
				n++
			}
		}
		if n >= minSloped {
			a.note("the baseline holds %d coils of the slope from %s, so its limits are not those of a steady process: choose other coils for it", n, a.place(t.first))
		}
	}
}

// shiftOfLines is the step between two pieces where one at least slopes, with
// its standard error and what is left with df degrees of freedom.
func (s *segmenter) shiftOfLines(before, after piece, df float64) (shift, standardError, residualSD float64) {
	weight := 0.0
	for _, p := range []piece{before, after} {
		// The end of a line is known half as well as its middle: variance 4/n.
		n := float64(p.last - p.first)
		if p.slope != 0 {
			n /= 4
		}
		weight += 1 / n
	}
	residualSD = s.shrink * math.Sqrt((s.pieceRSS(before)+s.pieceRSS(after))/df)
	return after.heightAt(after.first) - before.heightAt(after.first), residualSD * math.Sqrt(weight), residualSD
}

// nearbyCoils on either side of a step are near enough to tell its size without
// a line.
const nearbyCoils = 10

// stepBesideSlope is the step beside a slope, with its standard error. Which of the two
// pieces slopes was chosen from the data: a step taken for a slope, or a slope
// for a level, makes the one beside it look larger or smaller than it is. So it
// is told three ways: by the pieces as described, by a line of its own on either
// side, and by the coils just before and after alone. The shift is the middle of
// what these say, and half of what they differ by is part of its standard error.
func (s *segmenter) stepBesideSlope(described, describedError, residualSD float64, before, after piece) (shift, standardError float64) {
	from, to := max(before.first, after.first-nearbyCoils), min(after.last, after.first+nearbyCoils)
	nearby := s.meanOf(after.first, to) - s.meanOf(from, after.first)
	low, high := min(described, nearby), max(described, nearby)
	if min(after.first-before.first, after.last-after.first) >= minSloped {
		lines := s.straightLine(after.first, after.last).heightAt(after.first) - s.straightLine(before.first, before.last).heightAt(after.first)
		low, high = min(low, lines), max(high, lines)
	}
	own := residualSD * math.Sqrt(1/float64(after.first-from)+1/float64(to-after.first))
	return (low + high) / 2, math.Hypot(max(describedError, own), (high-low)/2)
}

// levels is the height of the description at every coil; outliers take that of
// the coil before.
func (a *analysis) levels() []float64 {
	levels := make([]float64, len(a.coils))
	known := make([]bool, len(a.coils))
	for _, p := range a.pieces {
		for k := p.first; k < p.last; k++ {
			levels[a.kept[k]], known[a.kept[k]] = p.heightAt(k), true
		}
	}
	last := 0.0
	if len(a.kept) > 0 {
		last = levels[a.kept[0]]
	}
	for i := range levels {
		if known[i] {
			last = levels[i]
		}
		levels[i] = last
	}
	return levels
}

// residuals are the kept coils less the levels, in order.
func (a *analysis) residuals(y []float64) []float64 {
	r := make([]float64, len(y))
	for _, p := range a.pieces {
		for k := p.first; k < p.last; k++ {
			r[k] = y[k] - p.heightAt(k)
		}
	}
	return r
}

// dependence tests what the steps and lines leave; nil for too few coils.
func (a *analysis) dependence(y []float64) *Dependence {
	const lags, fewest = 5, 20
	if len(y) < fewest {
		a.note("whether neighbouring coils are alike cannot be told from %s: it takes %d", countOf(len(y), "coil"), fewest)
		return nil
	}
	r, err := statistics.Autocorrelation(a.residuals(y), lags)
	if err != nil {
		a.note("autocorrelation cannot be told: %v", err)
		return nil
	}
	d := &Dependence{Lag1: r[0], Lags: lags, Widening: 1}
	_, d.P = statistics.LjungBox(r, len(y))
	// Positive dependence only makes errors too small.
	if r[0] > statistics.NormalQuantile(1-alpha/2)/math.Sqrt(float64(len(y))) {
		d.Flagged = true
		d.Widening = math.Sqrt((1 + r[0]) / (1 - min(r[0], 0.99)))
	}
	return d
}
