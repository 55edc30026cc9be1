package drift

import (
	"fmt"
	"math"
	"slices"

	"coilkeep/internal/copper"
	"coilkeep/internal/statistics"
)

// Temperature is how R20 depends on the temperature it was measured at: not at
// all, if the probe sits at the coil and the coefficient is right.
type Temperature struct {
	Count        int     `json:"count"`
	RangeKelvin  float64 `json:"range_kelvin"`
	RatioPerK    float64 `json:"slope_ratio_per_kelvin"`
	OhmsPerK     float64 `json:"slope_ohms_per_kelvin"`
	ErrorPerK    float64 `json:"standard_error_ratio_per_kelvin"`
	P            float64 `json:"p"`
	Flagged      bool    `json:"flagged"`
	WithinLevels bool    `json:"within_levels"` // steps and trends were taken out first
	Sentence     string  `json:"sentence"`
}

// watchTemperature fits R20 against temperature within the levels found. A drift
// the room makes is itself taken for steps or a trend, which leaves little within
// them; so where the temperature explains those, it fits over all coils.
func (a *analysis) watchTemperature() {
	t, y, at := a.temperatures()
	if len(t) == 0 {
		a.note("no temperature was recorded, so whether R20 depends on it cannot be told")
		return
	}
	if len(t) < minSloped {
		a.note("%s with a temperature: whether R20 depends on it takes %d", countOf(len(t), "coil"), minSloped)
		return
	}
	a.roomAlone = a.dependenceAlone(t, y, at)
	within := true
	for _, c := range a.report.ChangePoints {
		if f, _ := a.roomAtStep(c); f == explains {
			within = false
		}
	}
	for _, tr := range a.trends() {
		if f, _ := a.roomInTrend(tr); f == explains {
			within = false
		}
	}
	lowest, highest := t[0], t[0]
	for _, v := range t {
		lowest, highest = min(lowest, v), max(highest, v)
	}
	used := 2
	if within {
		used = 1 + a.withoutLevels(t, y, at)
	}
	line, err := statistics.FitLine(t, y, nil)
	df := float64(len(t) - used)
	if err != nil {
		a.note("whether R20 depends on the temperature cannot be told: %v", err)
		return
	}
	if df < 3 {
		a.note("whether R20 depends on the temperature cannot be told: too few coils between the steps and slopes")
		return
	}
	widening := a.widening() * math.Sqrt(float64(line.DegreesOfFreedom)/df)
	r := &Temperature{Count: len(t), RangeKelvin: highest - lowest, RatioPerK: line.Slope, OhmsPerK: line.Slope * a.reference(), ErrorPerK: line.SlopeError * widening, WithinLevels: within}
	r.P = statistics.TestP(r.RatioPerK, r.ErrorPerK, df)
	// Below a ten-thousandth over the range seen nothing at the bench would show.
	r.Flagged = r.P < alpha && math.Abs(r.RatioPerK)*r.RangeKelvin > 1e-4
	r.Sentence = r.sentence()
	a.report.Temperature = r
}

// dependenceAlone is the dependence on temperature when nothing else is needed:
// taken out it leaves no step and no trend, and it describes the coils clearly
// better for its parameters than the steps and trends do. Otherwise it is nil.
func (a *analysis) dependenceAlone(t, y []float64, at []int) *roomEffect {
	line, err := statistics.FitLine(t, y, nil)
	if err != nil || line.P() >= alpha || len(at) < len(a.kept) {
		return nil
	}
	rest := make([]float64, len(y))
	for i := range y {
		rest[i] = (y[i] - line.At(t[i]) + 1) * a.reference()
	}
	s := newSegmenter(rest, a.segments.w, 1, a.recorded())
	// One step or slope costs within two parameters of what the temperature costs:
	// when the room went along with it, the coils cannot tell which it was.
	if s.rssAboutMean(0, len(rest))/a.segments.variance+(2+2)*a.segments.price >= a.described {
		return nil
	}
	if pieces := s.describePieces(); len(pieces) > 1 || pieces[0].slope != 0 {
		return nil
	}
	return &roomEffect{Partial: statistics.Partial{Slope: line.Slope, StandardError: line.SlopeError, P: line.P()}}
}

// temperatures are those of the kept coils that have one, with their values as
// ratios and their place among the kept.
func (a *analysis) temperatures() (celsius, ratio []float64, at []int) {
	ref := a.reference()
	for k, i := range a.kept {
		if t := a.coils[i].TemperatureCelsius; t != nil {
			celsius, ratio, at = append(celsius, *t), append(ratio, a.ohms[i]/ref), append(at, k)
		}
	}
	return celsius, ratio, at
}

// withoutLevels takes the mean, and the line where a piece slopes, out of both
// temperature and value piece by piece, and returns how many parameters it took.
func (a *analysis) withoutLevels(t, y []float64, at []int) int {
	parameters, i := 0, 0
	for _, p := range a.pieces {
		j := i
		for j < len(at) && at[j] < p.last {
			j++
		}
		if j > i {
			parameters++
			if p.slope != 0 && j-i > 3 {
				parameters++
				x := make([]float64, j-i)
				for k := range x {
					x[k] = float64(max(0, at[i+k]-p.kink))
				}
				subtractLine(x, t[i:j])
				subtractLine(x, y[i:j])
			} else {
				subtractMean(t[i:j])
				subtractMean(y[i:j])
			}
		}
		i = j
	}
	return parameters
}

func subtractMean(v []float64) {
	mean := statistics.MomentsOf(v).Mean
	for i := range v {
		v[i] -= mean
	}
}

func subtractLine(x, v []float64) {
	line, err := statistics.FitLine(x, v, nil)
	if err != nil { // all on the level part
		subtractMean(v)
		return
	}
	for i := range v {
		v[i] -= line.At(x[i])
	}
}

// leastToldPerK is the error of a dependence on temperature that is no answer any
// more: half of copper's own coefficient could hide behind it.
const leastToldPerK = 0.002

func (t *Temperature) sentence() string {
	if !t.Flagged && 2*t.ErrorPerK > leastToldPerK {
		return fmt.Sprintf("the temperature moved too little (%.2f K in all) to tell whether R20 depends on it", t.RangeKelvin)
	}
	if !t.Flagged {
		return fmt.Sprintf("R20 does not depend on the temperature it was measured at (%+.4f %%/K ± %.4f)", 100*t.RatioPerK, 200*t.ErrorPerK)
	}
	cause := "the probe is not at the temperature of the coils: it warms and cools apart from them"
	// A conductivity of 98 % instead of 100 % makes 0.008 %/K; meters have a few
	// thousandths of a percent.
	if math.Abs(t.RatioPerK) < 0.0002 {
		cause = "the temperature coefficient of the wire, or the meter's own, is a little off"
	} else if t.RatioPerK > 0 {
		cause = "the coils warm more than the probe shows, or the coefficient is far too small"
	}
	return fmt.Sprintf("R20 still moves %+.3f %%/K (± %.3f) with the temperature it was measured at, which it must not: %s", 100*t.RatioPerK, 200*t.ErrorPerK, cause)
}

// mostRatioPerK is the steepest dependence on the probe's temperature that is
// believed: five times that of copper, for a probe that sees a fifth of what the
// coils go through. A hundredth of a kelvin does not make a percent.
const mostRatioPerK = 5 * float64(copper.Standard)

// roomAtStep asks whether the temperature explains a step: with both in one
// model, does the step or the temperature remain?
func (a *analysis) roomAtStep(c ChangePoint) (finding, roomEffect) {
	return a.room(c.from, c.to, func(k int) float64 {
		if k >= c.k {
			return 1
		}
		return 0
	})
}

// roomInTrend asks the same of a trend.
func (a *analysis) roomInTrend(t *Trend) (finding, roomEffect) {
	return a.room(t.first, t.last, func(k int) float64 { return float64(k) })
}

func (a *analysis) room(from, to int, shape func(k int) float64) (finding, roomEffect) {
	if a.roomAlone != nil {
		return explains, *a.roomAlone
	}
	celsius, ratio, at := a.temperatures()
	var u, v, y []float64
	for j, k := range at {
		if k >= from && k < to {
			u, v, y = append(u, shape(k)), append(v, celsius[j]), append(y, ratio[j])
		}
	}
	if len(y) < (to-from)/2+1 || len(y) < minSloped {
		return unknown, roomEffect{}
	}
	effect := roomEffect{rangeKelvin: slices.Max(v) - slices.Min(v)}
	if statistics.MomentsOf(v).StandardDeviation() < 1e-3 {
		effect.still = true
		return excluded, effect
	}
	drift, room, ok := statistics.FitTwo(u, v, y)
	effect.Partial = room
	if alone, err := statistics.FitLine(v, y, nil); err == nil && math.Abs(alone.Slope) > mostRatioPerK {
		effect.still = true // it moved far too little for this
		return excluded, effect
	}
	switch {
	case !ok:
		return together, effect
	case drift.P > 0.05 && room.P < alpha:
		return explains, effect
	case drift.P < alpha && room.P < alpha:
		return partial, effect
	case drift.P < alpha && sameShape(u, v):
		return together, effect
	case drift.P < alpha:
		effect.still = 2*room.StandardError > leastToldPerK
		return excluded, effect
	}
	return together, effect
}

// roomEffect is what the room does to a drift by a fit, and over how many kelvin
// it moved; still is true when that was too little to matter.
type roomEffect struct {
	statistics.Partial
	rangeKelvin float64
	still       bool
}

// sameShape says whether the temperature has the shape of the drift and besides it
// only scatter from coil to coil. That is the probe's and never reached a coil: a
// fit takes it for a room that moves without the coils, and clears the slow part
// with it (regression dilution, Fuller 1987, Measurement Error Models, section
// 1.1). Scatter is told from slow movement by the mean square of successive
// differences, twice the variance where values do not depend on each other (von
// Neumann 1941, Annals of Mathematical Statistics 12, 367-395).
func sameShape(shape, celsius []float64) bool {
	line, err := statistics.FitLine(shape, celsius, nil)
	if err != nil {
		return false
	}
	left, total := 0.0, statistics.MomentsOf(celsius).SumOfSquares
	successive, before := 0.0, 0.0
	for i := range celsius {
		r := celsius[i] - line.At(shape[i])
		left += r * r
		if i > 0 {
			successive += (r - before) * (r - before)
		}
		before = r
	}
	return left < total/2 && successive > left
}

func roomClause(f finding, room roomEffect) string {
	switch {
	case f == excluded && room.still:
		return fmt.Sprintf("the room hardly moved (%.1f K) and did not matter", room.rangeKelvin)
	case f == excluded:
		return "the room did not matter"
	case f == together:
		return "the temperature moved together with it and cannot be told apart: measure an earlier coil again"
	case f == partial:
		return fmt.Sprintf("the temperature has a part in it (%+.3f %%/K)", 100*room.Slope)
	case f == explains:
		return fmt.Sprintf("it goes with the temperature (%+.3f %%/K)", 100*room.Slope)
	}
	return ""
}
