package drift

import (
	"fmt"
	"math"

	"coilkeep/internal/statistics"
)

// Trend is the straight line through the coils since the last change, by coil
// and not by time.
type Trend struct {
	SlopeOhmsPerCoil float64 `json:"slope_ohms_per_coil"` // the slope
	SlopeLow         float64 `json:"slope_low"`           // interval of 95 %
	SlopeHigh        float64 `json:"slope_high"`          // interval of 95 %
	// Of the slope; it allows for the place the slope begins at having been searched
	// for, and for autocorrelation where that is flagged.
	StandardError float64 `json:"standard_error"`
	P             float64 `json:"p"`             // of no slope
	Real          bool    `json:"real"`          // true below p = 0.0033
	FromSequence  int     `json:"from_sequence"` // the first coil of it
	ToSequence    int     `json:"to_sequence"`   // the last coil of it
	Count         int     `json:"count"`         // how many coils
	// After how many more coils the line leaves the tolerance, 0 when it has; null
	// without a tolerance or a real trend.
	CoilsToLimit    *int   `json:"coils_to_limit"`
	CoilsToLimitLow *int   `json:"coils_to_limit_low"` // by the steeper end of the slope's interval
	Sentence        string `json:"sentence"`           // in words

	// end is the height of the line at its last coil, with its standard error and
	// the degrees of freedom of both errors.
	end, endError, df float64
	// first and last are kept coils, last one past; cause is the first suspect.
	first, last int
	cause       Attribution
}

// fitTrends fits lines: through the last piece, from its kink on, and through those
// before it that slope.
// The limits are those of the tolerance, 0 without one.
func (m *movement) fitTrends(lowerOhms, upperOhms float64, said *notes) {
	last := len(m.pieces) - 1
	m.latest = m.trendOf(m.pieces[last])
	if m.latest == nil {
		p := m.pieces[last]
		said.add("too few coils since the last change for a trend: %d of %d", p.last-p.slopeBegins(), minSloped)
	} else {
		m.latest.countToLimit(lowerOhms, upperOhms)
		m.latest.Sentence = trendSentence(m.series, m.latest)
	}
	for _, p := range m.pieces[:last] {
		if p.slope == 0 {
			continue
		}
		if t := m.trendOf(p); t != nil && t.Real {
			t.Sentence = endedTrendSentence(m.series, t)
			m.ended = append(m.ended, *t)
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
func (m *movement) trendOf(p piece) *Trend {
	first := p.slopeBegins()
	n := p.last - first
	if n < minSloped {
		return nil
	}
	r := m.segments.fitRamp(p.first, p.last, first)
	t := &Trend{SlopeOhmsPerCoil: r.slope, Count: n, first: first, last: p.last, df: r.df, P: 1,
		FromSequence: m.keptCoil(first).Sequence, ToSequence: m.keptCoil(p.last - 1).Sequence}
	t.StandardError, t.endError = m.segments.rampErrors(r)
	t.end = r.heightAt(p.last-1) + m.segments.mean0
	half := statistics.HalfInterval(t.StandardError, t.df, confidence)
	t.SlopeLow, t.SlopeHigh = r.slope-half, r.slope+half
	// A slope of rounding errors is none.
	if math.Abs(r.slope)*float64(n) > 1e-12*m.reference {
		t.P = statistics.TestP(r.slope, t.StandardError, t.df)
	}
	t.Real = t.P < alphaEach && p.slope != 0
	return t
}

// countToLimit counts the coils from the last one until the line meets a limit.
func (t *Trend) countToLimit(lowerOhms, upperOhms float64) {
	if !t.Real || upperOhms == 0 {
		return
	}
	limit, steep := upperOhms, t.SlopeHigh
	if t.SlopeOhmsPerCoil < 0 {
		limit, steep = lowerOhms, t.SlopeLow
	}
	room := limit - t.end
	coils := func(slope float64) *int {
		n := int(math.Min(1e6, math.Max(0, math.Floor(room/slope))))
		return &n
	}
	t.CoilsToLimit, t.CoilsToLimitLow = coils(t.SlopeOhmsPerCoil), coils(steep)
}

func trendSentence(in *series, t *Trend) string {
	ref := in.reference
	if !t.Real {
		return fmt.Sprintf("no trend since %s: %+.3f %% a coil (%+.3f to %+.3f)", in.keptName(t.first),
			100*t.SlopeOhmsPerCoil/ref, 100*t.SlopeLow/ref, 100*t.SlopeHigh/ref)
	}
	s := fmt.Sprintf("from %s the coils %s by %s a coil (%s to %s)", in.keptName(t.first), bySign(t.SlopeOhmsPerCoil, "fall", "rise"),
		percentPerCoil(math.Abs(t.SlopeOhmsPerCoil)/ref), percentPerCoil(t.slowestSlope()/ref), percentPerCoil(t.steepestSlope()/ref))
	switch {
	case t.CoilsToLimit == nil:
	case *t.CoilsToLimit == 0:
		s += "; the middle of the process is at the limit of the tolerance or beyond"
	default:
		s += fmt.Sprintf("; the middle of the process leaves the tolerance in about %d coils", *t.CoilsToLimit)
	}
	return s
}

// endedTrendSentence tells a trend that has ended.
func endedTrendSentence(in *series, t *Trend) string {
	ref := in.reference
	return fmt.Sprintf("from %s to %s the coils %s by %s a coil (%s to %s), %s in all", in.keptName(t.first), in.keptName(t.last-1),
		bySign(t.SlopeOhmsPerCoil, "fell", "rose"),
		percentPerCoil(math.Abs(t.SlopeOhmsPerCoil)/ref), percentPerCoil(t.slowestSlope()/ref), percentPerCoil(t.steepestSlope()/ref),
		signedPercent(t.SlopeOhmsPerCoil*float64(t.Count-1)/ref))
}

// briefTrend is a trend in few words.
func briefTrend(in *series, t *Trend) string {
	return fmt.Sprintf("from %s to %s, %+.3f %% a coil", in.keptName(t.first), in.keptName(t.last-1), 100*t.SlopeOhmsPerCoil/in.reference)
}

// slowestSlope and steepest are the ends of the interval of a slope, in the direction
// of the slope.
func (t *Trend) slowestSlope() float64 {
	sign := math.Copysign(1, t.SlopeOhmsPerCoil)
	return min(sign*t.SlopeLow, sign*t.SlopeHigh)
}
func (t *Trend) steepestSlope() float64 { return max(math.Abs(t.SlopeLow), math.Abs(t.SlopeHigh)) }
