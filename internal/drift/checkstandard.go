package drift

import (
	"fmt"
	"math"
	"slices"

	"coilkeep/internal/gauge"
	"coilkeep/internal/statistics"
	"coilkeep/internal/words"
)

// CheckChannel is the check standard measured between the coils. It knows
// nothing of winders, so what moves it is the meter, its leads or the room.
type CheckChannel struct {
	Count int `json:"count"` // how many readings of it
	// Of its first readings; null when there are too few for limits.
	CentreOhms *float64 `json:"centre_ohms"`
	SigmaOhms  *float64 `json:"sigma_ohms"` // of its first readings, likewise
	LowerOhms  *float64 `json:"lower_ohms"` // limit
	UpperOhms  *float64 `json:"upper_ohms"` // limit
	// The indices of points at which it was beyond its limits or its EWMA was.
	Signals []int `json:"signals"`
	// Its trend over all coils, as a ratio a coil; null with fewer than eight
	// readings.
	SlopeRatioPerCoil *float64 `json:"slope_ratio_per_coil"`
	P                 *float64 `json:"p"` // of no trend
	// How far its last readings stand from its first, when that is not chance; null
	// otherwise.
	AwayRatio *float64 `json:"away_ratio"`
	// How far its last readings stand from its reference value; null when that is
	// not known.
	OffReferenceRatio *float64 `json:"off_reference_ratio"`
	CameBack          bool     `json:"came_back"` // whether it stood elsewhere for a while
	Sentence          string   `json:"sentence"`  // in words

	// at and ratio have one entry a reading: the coil it was measured beside, and its
	// deviation there.
	at    []int
	ratio []float64
	// levels are what it stood at.
	levels []piece
}

// watchCheckStandard charts the check standard by itself; nil when there is none.
func watchCheckStandard(s *series, o Options, said *notes) *CheckChannel {
	c := &CheckChannel{Signals: []int{}}
	var ohms []float64
	for i, coil := range s.coils {
		for range coil.CheckStandardOhms {
			c.at = append(c.at, i)
		}
		ohms = append(ohms, coil.CheckStandardOhms...)
	}
	c.Count = len(ohms)
	if c.Count == 0 {
		said.add("no check standard was measured, and without one a meter that drifts looks like a winder that does")
		return nil
	}
	watched, err := gauge.WatchCheckStandard(ohms, gauge.CheckBaseline(c.Count), o.Scheme)
	if err == nil {
		c.CentreOhms, c.SigmaOhms, c.LowerOhms, c.UpperOhms = &watched.Centre, &watched.Sigma, &watched.Lower, &watched.Upper
		for _, j := range slices.Concat(watched.Outside, watched.EWMAOutside) {
			c.Signals = append(c.Signals, c.at[j-1]+1)
		}
		slices.Sort(c.Signals)
		c.Signals = slices.Compact(c.Signals)
	} else {
		said.add("no limits for the check standard: %v", err)
	}
	c.ratio = make([]float64, c.Count)
	for j := range ohms {
		c.ratio[j] = ohms[j]/ohms[0] - 1
	}
	c.fitSlope(said)
	c.findLevels(ohms)
	if reference := o.CheckReferenceOhms; reference > 0 {
		off := ohms[0]/reference*(1+statistics.MomentsOf(c.ratio[c.Count-c.readingsAtEnd():]).Mean) - 1
		c.OffReferenceRatio = &off
	}
	c.CameBack = c.AwayRatio == nil && len(c.levels) > 2
	c.Sentence = c.sentence(s)
	return c
}

// fitSlope fits its trend over all coils.
func (c *CheckChannel) fitSlope(said *notes) {
	if c.Count < minSloped {
		said.add("the check standard was measured %s, too few for a trend of it: %d are needed", words.Times(c.Count), minSloped)
		return
	}
	x := make([]float64, c.Count)
	for j, i := range c.at {
		x[j] = float64(i)
	}
	line, err := statistics.FitLine(x, c.ratio)
	if err != nil {
		said.add("no trend of the check standard: %v", err)
		return
	}
	p := line.P()
	c.SlopeRatioPerCoil, c.P = &line.Slope, &p
}

// findLevels cuts its readings as the coils are cut, and says whether it stands
// elsewhere now than at its beginning.
func (c *CheckChannel) findLevels(ohms []float64) {
	if c.Count < 2*fewAtEnd {
		return
	}
	s := newSegmenter(ohms, slices.Repeat([]float64{1}, c.Count), 1, nil)
	c.levels = s.describePieces()
	first, last := c.levels[0], c.levels[len(c.levels)-1]
	if len(c.levels) == 1 && first.slope == 0 {
		return
	}
	df := float64(max(1, c.Count-2*len(c.levels)))
	from, to := first.heightAt(first.first), last.heightAt(last.last-1)
	spread := math.Sqrt(s.rssOfPieces(c.levels) / df * (1/float64(first.last-first.first) + 1/float64(last.last-last.first)))
	if away := c.movedRatio(); statistics.TestP(to-from, spread, df) < alpha && math.Abs(away) > leastAwayRatio {
		c.AwayRatio = &away
	}
}

func (c *CheckChannel) sentence(in *series) string {
	coil := func(j int) string { return in.coilName(c.at[j]) }
	switch {
	case c.AwayRatio != nil:
		return fmt.Sprintf("the check standard moves: its last %d readings stand %s from its first %d; the meter, its leads or its "+
			"temperature drift", fewAtEnd, signedPercent(*c.AwayRatio), fewAtEnd)
	case c.CentreOhms == nil:
		return fmt.Sprintf("the check standard was measured %s, too seldom to watch the meter by", words.Times(c.Count))
	case c.CameBack:
		return fmt.Sprintf("the check standard moved at %s, and is back since %s: look at what was done to the meter and its leads",
			coil(c.levels[1].first), coil(c.levels[len(c.levels)-1].first))
	case len(c.Signals) > 0:
		return fmt.Sprintf("the check standard was beyond its limits at %s, but its other readings do not follow", in.coilName(c.Signals[0]-1))
	}
	if c.Count <= gauge.CheckBaseline(c.Count) {
		return fmt.Sprintf("the check standard was measured %s, which make its limits: there is none yet to hold against them",
			words.Times(c.Count))
	}
	return "the check standard stays within its limits"
}

// leastAwayRatio is the least that is told of, and matters: it shows as 0.01 %.
const leastAwayRatio = 5e-5

// fewAtEnd is how many readings at either end tell how far it moved: few, so
// that a slow drift is told nearly whole, and more than one, for their noise.
const fewAtEnd = 3

// movedRatio is how far its last readings stand from its first. A line through all
// of them would make a step half as large again.
func (c *CheckChannel) movedRatio() float64 {
	few := c.readingsAtEnd()
	first, last := statistics.MomentsOf(c.ratio[:few]), statistics.MomentsOf(c.ratio[c.Count-few:])
	return (1+last.Mean)/(1+first.Mean) - 1
}

// readingsAtEnd is how many readings are an end: with less than six, half of them.
func (c *CheckChannel) readingsAtEnd() int { return min(fewAtEnd, max(1, c.Count/2)) }

// finding is what one candidate has to do with a drift.
type finding int

const (
	notRecorded   finding = iota // not recorded, or too little of it
	notTheCause                  // it can be told that it is not the cause
	cannotTell                   // too little is known to say
	movedTogether                // it moved together with the drift: the data cannot part them
	explainsPart                 // it moves too, but explains less than all
	movedOpposite                // it moved the other way, and hides as much of the drift
	explains                     // it explains the drift
)

// verdictOf sets the shift of the check standard against that of the coils, all
// as ratios.
func verdictOf(check statistics.Difference, shift, shiftError float64) finding {
	low, high := check.Interval(confidence)
	switch {
	case check.P < alpha && check.Value*shift > 0:
		// It explains a drift when it moved by more than half of it.
		if math.Abs(shift-check.Value) <= 3*math.Hypot(shiftError, check.StandardError) && math.Abs(check.Value) > math.Abs(shift)/2 {
			return explains
		}
		if math.Abs(check.Value) > math.Abs(shift)/4 {
			return explainsPart
		}
		return notTheCause
	case check.P < alpha && math.Abs(check.Value) > math.Abs(shift)/4:
		return movedOpposite
	case math.Max(math.Abs(low), math.Abs(high)) < math.Abs(shift)/2:
		return notTheCause
	}
	return cannotTell
}

// meterAtStep says what the check standard says about a step.
func meterAtStep(check *CheckChannel, in *series, c ChangePoint) (finding, statistics.Difference) {
	if check == nil {
		return notRecorded, statistics.Difference{}
	}
	var before, after []float64
	for j, i := range check.at {
		switch {
		case i < in.kept[c.from] || i > in.kept[c.to-1]:
		case i < in.kept[c.k]:
			before = append(before, check.ratio[j])
		default:
			after = append(after, check.ratio[j])
		}
	}
	d, err := statistics.Compare(statistics.MomentsOf(before), statistics.MomentsOf(after))
	if err != nil {
		return cannotTell, statistics.Difference{}
	}
	return verdictOf(d, c.ShiftRatio, (c.ShiftRatioHigh-c.ShiftRatioLow)/4), d
}

// meterInTrend says what it says about a trend.
func meterInTrend(check *CheckChannel, in *series, t *Trend) (finding, statistics.Difference) {
	if check == nil {
		return notRecorded, statistics.Difference{}
	}
	first, last, n := in.kept[t.first], in.kept[t.last-1], float64(t.Count-1)
	var x, y []float64
	for j, i := range check.at {
		if i >= first && i <= last {
			x, y = append(x, float64(i)), append(y, check.ratio[j])
		}
	}
	line, err := statistics.FitLine(x, y)
	if err != nil {
		return cannotTell, statistics.Difference{}
	}
	d := statistics.Difference{Value: n * line.Slope, StandardError: n * line.SlopeError,
		DegreesOfFreedom: float64(line.DegreesOfFreedom), P: line.P()}
	ref := in.reference
	return verdictOf(d, n*t.SlopeOhmsPerCoil/ref, n*t.StandardError/ref), d
}

func meterClause(f finding, d statistics.Difference) string {
	low, high := 0.0, 0.0
	if f != notRecorded && d.DegreesOfFreedom > 0 {
		low, high = d.Interval(confidence)
	}
	switch f {
	case notTheCause:
		if math.Max(math.Abs(low), math.Abs(high)) < 0.00005 {
			return "the check standard did not move with it (less than 0.01 %)"
		}
		return fmt.Sprintf("the check standard did not move with it (%s, %s)", signedPercent(d.Value), percentInterval(low, high))
	case cannotTell:
		return "the check standard was measured too seldom around it to clear the meter"
	case explainsPart:
		return fmt.Sprintf("the check standard moved too (%s, %s), which accounts for a part", signedPercent(d.Value), percentInterval(low, high))
	case movedOpposite:
		return fmt.Sprintf("the check standard moved the other way (%s, %s), so that the coils moved by more than they seem to",
			signedPercent(d.Value), percentInterval(low, high))
	case explains:
		return fmt.Sprintf("the check standard moved alike (%s, %s)", signedPercent(d.Value), percentInterval(low, high))
	}
	return "no check standard was measured, so the meter is not cleared"
}
