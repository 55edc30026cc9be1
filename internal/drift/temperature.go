package drift

import (
	"fmt"
	"math"
	"slices"

	"coilkeep/internal/copper"
	"coilkeep/internal/statistics"
	"coilkeep/internal/words"
)

// Temperature is how R20 depends on the temperature it was measured at: not at
// all, if the probe sits at the coil and the coefficient is right.
type Temperature struct {
	Count        int     `json:"count"`                           // how many coils have one
	RangeKelvin  float64 `json:"range_kelvin"`                    // from the coldest to the warmest
	RatioPerK    float64 `json:"slope_ratio_per_kelvin"`          // the slope as a ratio, per kelvin
	OhmsPerK     float64 `json:"slope_ohms_per_kelvin"`           // the slope in ohms, per kelvin
	ErrorPerK    float64 `json:"standard_error_ratio_per_kelvin"` // standard error of the ratio
	P            float64 `json:"p"`                               // of no slope
	Flagged      bool    `json:"flagged"`                         // whether it is real
	WithinLevels bool    `json:"within_levels"`                   // whether steps and trends were taken out first
	Sentence     string  `json:"sentence"`                        // in words
}

// roomWatch is the temperatures of the coils beside their movement.
type roomWatch struct {
	*movement
	// celsius are the temperatures of the kept coils that have one, ratio what these
	// coils are compared by over the reference, and at their place among the kept.
	celsius, ratio []float64
	at             []int
	// alone is the dependence on temperature, when it explains every step and trend
	// by itself.
	alone *roomEffect
}

func newRoomWatch(m *movement) *roomWatch {
	r := &roomWatch{movement: m}
	for k, i := range m.kept {
		if t := m.coils[i].TemperatureCelsius; t != nil {
			r.celsius, r.ratio, r.at = append(r.celsius, *t), append(r.ratio, m.ohms[i]/m.reference), append(r.at, k)
		}
	}
	if len(r.at) >= minSloped {
		r.alone = r.dependenceAlone()
	}
	return r
}

// watchTemperature fits R20 against temperature within the levels found. A drift
// the room makes is itself taken for steps or a trend, which leaves little within
// them; so where the temperature explains those, it fits over all coils.
func (r *roomWatch) watchTemperature(said *notes) *Temperature {
	n := len(r.celsius)
	if n == 0 {
		said.add("no temperature was recorded, so whether R20 depends on it cannot be told")
		return nil
	}
	if n < minSloped {
		said.add("%s with a temperature: whether R20 depends on it takes %d", words.Count(n, "coil"), minSloped)
		return nil
	}
	celsius, ratio, used := r.celsius, r.ratio, 2
	within := !r.explainsAny()
	if within {
		var parameters int
		celsius, ratio, parameters = r.withoutLevels()
		used = 1 + parameters
	}
	line, err := statistics.FitLine(celsius, ratio)
	if err != nil {
		said.add("whether R20 depends on the temperature cannot be told: %v", err)
		return nil
	}
	df := float64(n - used)
	if df < 3 {
		said.add("whether R20 depends on the temperature cannot be told: too few coils between the steps and slopes")
		return nil
	}
	t := &Temperature{Count: n, RangeKelvin: slices.Max(r.celsius) - slices.Min(r.celsius), WithinLevels: within,
		RatioPerK: line.Slope, OhmsPerK: line.Slope * r.reference,
		ErrorPerK: line.SlopeError * (r.widening() * math.Sqrt(float64(line.DegreesOfFreedom)/df))}
	t.P = statistics.TestP(t.RatioPerK, t.ErrorPerK, df)
	// Below a ten-thousandth over the range seen nothing at the bench would show.
	t.Flagged = t.P < alpha && math.Abs(t.RatioPerK)*t.RangeKelvin > 1e-4
	t.Sentence = t.sentence()
	return t
}

// explainsAny says whether the temperature explains a step or a trend.
func (r *roomWatch) explainsAny() bool {
	for _, c := range r.steps {
		if f, _ := r.roomAtStep(c); f == explains {
			return true
		}
	}
	for _, t := range r.trends() {
		if f, _ := r.roomInTrend(t); f == explains {
			return true
		}
	}
	return false
}

// dependenceAlone is the dependence on temperature when nothing else is needed:
// taken out it leaves no step and no trend, and it describes the coils clearly
// better for its parameters than the steps and trends do. Otherwise it is nil.
func (r *roomWatch) dependenceAlone() *roomEffect {
	line, err := statistics.FitLine(r.celsius, r.ratio)
	if err != nil || line.P() >= alpha || len(r.at) < len(r.kept) {
		return nil
	}
	rest := make([]float64, len(r.ratio))
	for i := range rest {
		rest[i] = (r.ratio[i] - line.At(r.celsius[i]) + 1) * r.reference
	}
	s := newSegmenter(rest, r.segments.w, 1, r.recordedPlaces())
	// A line on the temperature costs two parameters, and has to win by two more.
	// Otherwise the room may just have gone along with one step or slope, and the
	// coils cannot tell which it was.
	if s.rssAboutMean(0, len(rest))/r.segments.variance+(2+2)*r.segments.price >= r.cost {
		return nil
	}
	if pieces := s.describePieces(); len(pieces) > 1 || pieces[0].slope != 0 {
		return nil
	}
	return &roomEffect{Partial: statistics.Partial{Slope: line.Slope, StandardError: line.SlopeError, P: line.P()}}
}

// withoutLevels takes the mean, and the line where a piece slopes, out of both
// temperature and ratio piece by piece, and returns how many parameters it took.
func (r *roomWatch) withoutLevels() (celsius, ratio []float64, parameters int) {
	celsius, ratio = slices.Clone(r.celsius), slices.Clone(r.ratio)
	i := 0
	for _, p := range r.pieces {
		j := i
		for j < len(r.at) && r.at[j] < p.last {
			j++
		}
		if j > i {
			parameters++
			if p.slope != 0 && j-i > 3 {
				parameters++
				x := make([]float64, j-i)
				for k := range x {
					x[k] = float64(max(0, r.at[i+k]-p.kink))
				}
				subtractLine(x, celsius[i:j])
				subtractLine(x, ratio[i:j])
			} else {
				subtractMean(celsius[i:j])
				subtractMean(ratio[i:j])
			}
		}
		i = j
	}
	return celsius, ratio, parameters
}

func subtractMean(v []float64) {
	mean := statistics.MomentsOf(v).Mean
	for i := range v {
		v[i] -= mean
	}
}

func subtractLine(x, v []float64) {
	line, err := statistics.FitLine(x, v)
	if err != nil { // all on the level part
		subtractMean(v)
		return
	}
	for i := range v {
		v[i] -= line.At(x[i])
	}
}

// leastToldPerK bounds the uncertainty within which a dependence on temperature is
// told: beyond it, half of copper's own coefficient could hide behind it.
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
	return fmt.Sprintf("R20 still moves %+.3f %%/K (± %.3f) with the temperature it was measured at, which it must not: %s",
		100*t.RatioPerK, 200*t.ErrorPerK, cause)
}

// mostRatioPerK is the steepest dependence on the probe's temperature that is
// believed: five times that of copper, for a probe that sees a fifth of what the
// coils go through. A hundredth of a kelvin does not make a percent.
const mostRatioPerK = 5 * float64(copper.Standard)

// roomAtStep asks whether the temperature explains a step: with both in one
// model, does the step or the temperature remain?
func (r *roomWatch) roomAtStep(c ChangePoint) (finding, roomEffect) {
	return r.effectBeside(c.from, c.to, func(k int) float64 {
		if k >= c.k {
			return 1
		}
		return 0
	})
}

// roomInTrend asks the same of a trend.
func (r *roomWatch) roomInTrend(t *Trend) (finding, roomEffect) {
	return r.effectBeside(t.first, t.last, func(k int) float64 { return float64(k) })
}

// effectBeside puts the temperature and a shape over the kept coils from from up to
// to into one model.
func (r *roomWatch) effectBeside(from, to int, shape func(k int) float64) (finding, roomEffect) {
	if r.alone != nil {
		return explains, *r.alone
	}
	var u, v, y []float64
	for j, k := range r.at {
		if k >= from && k < to {
			u, v, y = append(u, shape(k)), append(v, r.celsius[j]), append(y, r.ratio[j])
		}
	}
	if len(y) < (to-from)/2+1 || len(y) < minSloped {
		return notRecorded, roomEffect{}
	}
	effect := roomEffect{rangeKelvin: slices.Max(v) - slices.Min(v)}
	if statistics.MomentsOf(v).StandardDeviation() < 1e-3 {
		effect.still = true
		return notTheCause, effect
	}
	drift, room, ok := statistics.FitTwo(u, v, y)
	effect.Partial = room
	if alone, err := statistics.FitLine(v, y); err == nil && math.Abs(alone.Slope) > mostRatioPerK {
		effect.still = true // it moved far too little for this
		return notTheCause, effect
	}
	switch {
	case !ok:
		return movedTogether, effect
	case drift.P > 0.05 && room.P < alpha:
		return explains, effect
	case drift.P < alpha && room.P < alpha:
		return explainsPart, effect
	case drift.P < alpha && sameShape(u, v):
		return movedTogether, effect
	case drift.P < alpha:
		effect.still = 2*room.StandardError > leastToldPerK
		return notTheCause, effect
	}
	return movedTogether, effect
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
	line, err := statistics.FitLine(shape, celsius)
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
	case f == notTheCause && room.still:
		return fmt.Sprintf("the room hardly moved (%.1f K) and did not matter", room.rangeKelvin)
	case f == notTheCause:
		return "the room did not matter"
	case f == movedTogether:
		return "the temperature moved together with it and cannot be told apart: measure an earlier coil again"
	case f == explainsPart:
		return fmt.Sprintf("the temperature has a part in it (%+.3f %%/K)", 100*room.Slope)
	case f == explains:
		return fmt.Sprintf("it goes with the temperature (%+.3f %%/K)", 100*room.Slope)
	}
	return ""
}
