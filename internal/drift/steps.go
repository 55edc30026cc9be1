package drift

import (
	"math"

	"coilkeep/internal/statistics"
)

// ChangePoint is a step from one level to another. LastBefore, Low and High are
// sequences: the last coil of the old level, and the interval that holds it.
type ChangePoint struct {
	LastBefore      int     `json:"last_before"`       // the last coil of the old level, by its own number
	Low             int     `json:"low"`               // lower end of the interval that holds it, 95 %
	High            int     `json:"high"`              // upper end
	LastBeforeIndex int     `json:"last_before_index"` // the same as an index of points, from 1
	ShiftOhms       float64 `json:"shift_ohms"`        // how much
	ShiftLow        float64 `json:"shift_low"`         // interval of 95 %, ohms
	ShiftHigh       float64 `json:"shift_high"`        // interval of 95 %, ohms
	// Relative to the target, or to the median of the coils without one.
	ShiftRatio     float64 `json:"shift_ratio"`
	ShiftRatioLow  float64 `json:"shift_ratio_low"`  // interval of 95 %, a ratio too
	ShiftRatioHigh float64 `json:"shift_ratio_high"` // interval of 95 %, a ratio too
	// The probability of such a step by chance: anywhere, or where a change of
	// spool, winder, operator or batch was recorded, just there or at another such
	// place.
	P        float64 `json:"p"`
	Sentence string  `json:"sentence"` // in words

	// cause is the first suspect.
	cause Attribution
	// All kept coils: the pieces on either side, the first coil of the new level,
	// and the ends of the interval.
	from, k, to, low, high int
}

// placeQuantile bounds 95 % of the distribution of the estimated place of a
// step, in units of (sigma/shift)² coils (Yao 1987, Annals of Statistics 15,
// 1321-1328; Bai 1997, Review of Economics and Statistics 79, 551-563).
const placeQuantile = 11.03

// listSteps lists the steps between neighbouring pieces, whose levels are still
// less the mean.
func (m *movement) listSteps() []ChangePoint {
	steps := []ChangePoint{}
	for i := 0; i+1 < len(m.pieces); i++ {
		before, after := m.pieces[i], m.pieces[i+1]
		measure := m.segments.levelStep
		if before.slope != 0 || after.slope != 0 {
			measure = m.segments.slopedStep
		}
		if x, ok := measure(before, after); ok {
			steps = append(steps, changePointOf(m.series, x, before, after))
		}
	}
	return steps
}

// stepSize is a step between two pieces.
type stepSize struct {
	shift, low, high float64 // with the interval of it
	// residualSD is what the pieces leave, which the place is known by.
	residualSD, p float64
}

// levelStep is the step between two levels; false when it may be none.
func (s *segmenter) levelStep(before, after piece) (stepSize, bool) {
	k, n := after.first, after.last-before.first
	x := s.splitAt(before.first, k, after.last)
	p := min(1, x.p*s.placesSearched(k, n))
	if searched, ok := s.bestSplit(before.first, after.last); ok {
		p = searched.p
	}
	return stepWithInterval(x.shift, x.error, x.residualSD, p, float64(n-2))
}

// slopedStep is the step between two pieces of which one at least slopes; false
// for lines that meet.
func (s *segmenter) slopedStep(before, after piece) (stepSize, bool) {
	n := after.last - before.first
	df := float64(max(1, n-4))
	shift, standardError, residualSD := s.shiftOfLines(before, after, df)
	p := min(1, statistics.TestP(shift, standardError, df)*s.placesSearched(after.first, n))
	if p >= alphaEach {
		return stepSize{}, false
	}
	shift, standardError = s.stepBesideSlope(shift, standardError, residualSD, before, after)
	return stepWithInterval(shift, standardError, residualSD, p, df)
}

// stepWithInterval adds the interval; false when that holds no shift at all, as
// beside a slope that tells as much.
func stepWithInterval(shift, standardError, residualSD, p, df float64) (stepSize, bool) {
	half := statistics.HalfInterval(standardError, df, confidence)
	x := stepSize{shift: shift, low: shift - half, high: shift + half, residualSD: residualSD, p: p}
	return x, x.low > 0 || x.high < 0
}

// changePointOf tells a step by coils and as a ratio.
func changePointOf(s *series, x stepSize, before, after piece) ChangePoint {
	k, ref := after.first, s.reference
	reach := 0
	if x.residualSD > 0 {
		reach = 1 + int(math.Min(float64(len(s.kept)), placeQuantile*math.Pow(x.residualSD/x.shift, 2)))
	}
	c := ChangePoint{
		from: before.first, k: k, to: after.last,
		low: max(before.first, k-1-reach), high: min(after.last-2, k-1+reach),
		LastBeforeIndex: s.kept[k-1] + 1, LastBefore: s.keptCoil(k - 1).Sequence,
		ShiftOhms: x.shift, ShiftLow: x.low, ShiftHigh: x.high,
		ShiftRatio: x.shift / ref, ShiftRatioLow: x.low / ref, ShiftRatioHigh: x.high / ref,
		P: x.p,
	}
	c.Low, c.High = s.keptCoil(c.low).Sequence, s.keptCoil(c.high).Sequence
	return c
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
	residualSD = s.widening * math.Sqrt((s.pieceRSS(before)+s.pieceRSS(after))/df)
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
