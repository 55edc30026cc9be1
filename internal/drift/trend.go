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
	// StandardError allows for the place the slope begins at having been searched
	// for, and for autocorrelation where that is flagged.
	StandardError float64 `json:"standard_error"`
	P             float64 `json:"p"`
	// Real is true below p = 0.0033.
	Real         bool `json:"real"`
	FromSequence int  `json:"from_sequence"`
	ToSequence   int  `json:"to_sequence"`
	Count        int  `json:"count"`
	// CoilsToLimit is after how many more coils the line leaves the tolerance, 0
	// when it has; null without a tolerance or a real trend.
	CoilsToLimit    *int   `json:"coils_to_limit"`
	CoilsToLimitLow *int   `json:"coils_to_limit_low"` // by the steeper end of the slope's interval
	Sentence        string `json:"sentence"`

	// end is the height of the line at its last coil, with its standard error and
	// the degrees of freedom of both errors.
	end, endError, df float64
	// first and last are kept coils, last one past; cause is the first suspect.
	first, last int
	cause       Attribution
}

// trend fits lines: through the last piece, from its kink on, and through those
// before it that slope.
func (a *analysis) trend() {
	last := len(a.pieces) - 1
	a.report.Trend = a.trendOf(a.pieces[last])
	if t := a.report.Trend; t == nil {
		p := a.pieces[last]
		a.note("too few coils since the last change for a trend: %d of %d", p.last-p.slopeBegins(), minSloped)
	} else {
		a.toLimit(t)
		t.Sentence = a.trendSentence(t)
	}
	for _, p := range a.pieces[:last] {
		if p.slope == 0 {
			continue
		}
		if t := a.trendOf(p); t != nil && t.Real {
			t.Sentence = a.earlierSentence(t)
			a.report.EarlierTrends = append(a.report.EarlierTrends, *t)
		}
	}
}

// slopeBegins is the first kept coil of the part that may slope.
func (p piece) slopeBegins() int {
	if p.slope != 0 {
		return p.kink
	}
	return p.first
}

// trendOf is the line through one piece; nil for too few coils.
func (a *analysis) trendOf(p piece) *Trend {
	first := p.slopeBegins()
	n := p.last - first
	if n < minSloped {
		return nil
	}
	r := a.segments.fitRamp(p.first, p.last, first)
	t := &Trend{SlopeOhmsPerCoil: r.slope, Count: n, first: first, last: p.last, df: r.df, P: 1,
		FromSequence: a.coils[a.kept[first]].Sequence, ToSequence: a.coils[a.kept[p.last-1]].Sequence}
	t.StandardError, t.endError = a.segments.rampErrors(r)
	t.end = r.heightAt(p.last-1) + a.segments.mean0
	half := statistics.StudentQuantile(0.5+confidence/2, t.df) * t.StandardError
	t.SlopeLow, t.SlopeHigh = r.slope-half, r.slope+half
	// A slope of rounding errors is none.
	if math.Abs(r.slope)*float64(n) > 1e-12*a.reference() {
		t.P = statistics.TestP(r.slope, t.StandardError, t.df)
	}
	t.Real = t.P < alphaEach && p.slope != 0
	return t
}

func (a *analysis) widening() float64 {
	if d := a.report.Autocorrelation; d != nil {
		return d.Widening
	}
	return 1
}

// toLimit counts the coils from the last one until the line meets a limit.
func (a *analysis) toLimit(t *Trend) {
	if !t.Real || a.options.UpperOhms == 0 {
		return
	}
	limit := a.options.UpperOhms
	steep := t.SlopeHigh
	if t.SlopeOhmsPerCoil < 0 {
		limit, steep = a.options.LowerOhms, t.SlopeLow
	}
	room := limit - t.end
	coils := func(slope float64) *int {
		n := int(math.Min(1e6, math.Max(0, math.Floor(room/slope))))
		return &n
	}
	t.CoilsToLimit, t.CoilsToLimitLow = coils(t.SlopeOhmsPerCoil), coils(steep)
}

func (a *analysis) trendSentence(t *Trend) string {
	ref := a.reference()
	if !t.Real {
		return fmt.Sprintf("no trend since %s: %+.3f %% a coil (%+.3f to %+.3f)", a.place(t.first),
			100*t.SlopeOhmsPerCoil/ref, 100*t.SlopeLow/ref, 100*t.SlopeHigh/ref)
	}
	s := fmt.Sprintf("from %s the coils %s by %s a coil (%s to %s)", a.place(t.first), slopeVerb(t.SlopeOhmsPerCoil),
		percentPerCoil(math.Abs(t.SlopeOhmsPerCoil)/ref), percentPerCoil(t.slowest()/ref), percentPerCoil(t.steepest()/ref))
	switch {
	case t.CoilsToLimit == nil:
	case *t.CoilsToLimit == 0:
		s += "; the middle of the process is at the limit of the tolerance or beyond"
	default:
		s += fmt.Sprintf("; the middle of the process leaves the tolerance in about %d coils", *t.CoilsToLimit)
	}
	return s
}

// earlierSentence tells a trend that has ended.
func (a *analysis) earlierSentence(t *Trend) string {
	ref := a.reference()
	return fmt.Sprintf("from %s to %s the coils %s by %s a coil (%s to %s), %s in all", a.place(t.first), a.place(t.last-1), slopeVerbPast(t.SlopeOhmsPerCoil),
		percentPerCoil(math.Abs(t.SlopeOhmsPerCoil)/ref), percentPerCoil(t.slowest()/ref), percentPerCoil(t.steepest()/ref), signedPercent(t.SlopeOhmsPerCoil*float64(t.Count-1)/ref))
}

// briefTrend is a trend in few words.
func (a *analysis) briefTrend(t *Trend) string {
	return fmt.Sprintf("from %s to %s, %+.3f %% a coil", a.place(t.first), a.place(t.last-1), 100*t.SlopeOhmsPerCoil/a.reference())
}

// slowest and steepest are the ends of the interval of a slope, in the direction
// of the slope.
func (t *Trend) slowest() float64 {
	sign := math.Copysign(1, t.SlopeOhmsPerCoil)
	return min(sign*t.SlopeLow, sign*t.SlopeHigh)
}
func (t *Trend) steepest() float64 { return max(math.Abs(t.SlopeLow), math.Abs(t.SlopeHigh)) }
