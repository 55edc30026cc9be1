package drift

import (
	"fmt"
	"math"

	"coilkeep/internal/statistics"
)

// Trend is the straight line through the coils since the last change, by coil
// and not by time.
type Trend struct {
	SlopeOhmsPerCoil float64 `json:"slope_ohms_per_coil"`
	SlopeLow         float64 `json:"slope_low"`
	SlopeHigh        float64 `json:"slope_high"`
	// StandardError is the ordinary one, times the widening for autocorrelation
	// where that is flagged.
	StandardError float64 `json:"standard_error"`
	P             float64 `json:"p"`
	// Real is true below p = 0.01.
	Real         bool `json:"real"`
	FromSequence int  `json:"from_sequence"`
	ToSequence   int  `json:"to_sequence"`
	Count        int  `json:"count"`
	// CoilsToLimit is after how many more coils the line leaves the tolerance, 0
	// when it has; null without a tolerance or a real trend.
	CoilsToLimit    *int   `json:"coils_to_limit"`
	CoilsToLimitLow *int   `json:"coils_to_limit_low"` // by the steeper end of the slope's interval
	Sentence        string `json:"sentence"`

	line statistics.Line
}

// trend fits the line through the last piece, from its kink on.
func (a *analysis) trend() {
	last := a.pieces[len(a.pieces)-1]
	first := last.first
	if last.slope != 0 {
		first = last.kink
	}
	n := last.last - first
	if n < minSloped {
		a.note("too few coils since the last change for a trend: %d of %d", n, minSloped)
		return
	}
	x, y, w := make([]float64, n), pick(a.ohms, a.kept[first:last.last]), a.weights()[first:last.last]
	for k := range x {
		x[k] = float64(first + k)
	}
	line, err := statistics.FitLine(x, y, w)
	if err != nil {
		a.note("no trend: %v", err)
		return
	}
	t := &Trend{SlopeOhmsPerCoil: line.Slope, Count: n, StandardError: line.SlopeError * a.widening(),
		FromSequence: a.coils[a.kept[first]].Sequence, ToSequence: a.coils[a.kept[last.last-1]].Sequence, line: line}
	df := float64(line.DegreesOfFreedom)
	half := statistics.StudentQuantile(0.5+level/2, df) * t.StandardError
	t.SlopeLow, t.SlopeHigh = line.Slope-half, line.Slope+half
	// A slope of rounding errors is none.
	if math.Abs(line.Slope)*float64(n) > 1e-12*a.reference() {
		t.P = statistics.TestP(line.Slope, t.StandardError, df)
	} else {
		t.P = 1
	}
	t.Real = t.P < alpha && last.slope != 0
	a.toLimit(t, float64(last.last-1))
	t.Sentence = a.trendSentence(t)
	a.report.Trend = t
}

func (a *analysis) widening() float64 {
	if d := a.report.Autocorrelation; d != nil {
		return d.Widening
	}
	return 1
}

// toLimit counts the coils from the last one until the line meets a limit.
func (a *analysis) toLimit(t *Trend, now float64) {
	if !t.Real || a.options.UpperOhms == 0 {
		return
	}
	limit := a.options.UpperOhms
	steep := t.SlopeHigh
	if t.SlopeOhmsPerCoil < 0 {
		limit, steep = a.options.LowerOhms, t.SlopeLow
	}
	room := limit - t.line.At(now)
	coils := func(slope float64) *int {
		n := int(math.Min(1e6, math.Max(0, math.Floor(room/slope))))
		return &n
	}
	t.CoilsToLimit, t.CoilsToLimitLow = coils(t.SlopeOhmsPerCoil), coils(steep)
}

func (a *analysis) trendSentence(t *Trend) string {
	ref := a.reference()
	if !t.Real {
		return fmt.Sprintf("no trend since coil %d: %s a coil (%s to %s)", t.FromSequence,
			perCoil(t.SlopeOhmsPerCoil/ref), perCoil(t.SlopeLow/ref), perCoil(t.SlopeHigh/ref))
	}
	s := fmt.Sprintf("from coil %d the coils %s by %s a coil (%s to %s)", t.FromSequence, verb(t.SlopeOhmsPerCoil),
		perCoil(t.SlopeOhmsPerCoil/ref), perCoil(t.SlopeLow/ref), perCoil(t.SlopeHigh/ref))
	switch {
	case t.CoilsToLimit == nil:
	case *t.CoilsToLimit == 0:
		s += "; the middle of the process is at the limit of the tolerance or beyond"
	default:
		s += fmt.Sprintf("; the middle of the process leaves the tolerance in about %d coils", *t.CoilsToLimit)
	}
	return s
}
