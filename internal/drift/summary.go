package drift

import (
	"fmt"
	"math"
	"strings"
)

// summary is the sentence that matters: is something wandering, since when,
// what is it, and what to do.
func (a *analysis) summary() string {
	r := &a.report
	trend := r.Trend != nil && r.Trend.Real
	r.Drifting = len(r.ChangePoints) > 0 || trend
	var parts []string
	switch {
	case trend:
		parts = append(parts, r.Trend.Sentence)
	case len(r.ChangePoints) > 0:
		parts = append(parts, r.ChangePoints[len(r.ChangePoints)-1].Sentence)
	case r.Baseline == nil:
		parts = append(parts, a.tooFew())
	case r.Signal:
		parts = append(parts, a.bareSignal())
	default:
		parts = append(parts, fmt.Sprintf("no drift in %s", count(len(a.kept), "coil")))
	}
	switch n := len(r.ChangePoints); {
	case n == 1 && trend:
		parts = append(parts, r.ChangePoints[0].Sentence)
	case n > 1:
		parts = append(parts, fmt.Sprintf("%s in all", count(n, "step")))
	}
	if len(r.Outliers) > 0 {
		parts = append(parts, a.outlierSentence())
	}
	if t := r.Temperature; t != nil && t.Flagged {
		parts = append(parts, t.Sentence)
	}
	if c := r.CheckStandard; c != nil && !r.Drifting && c.P != nil && *c.P < alpha {
		parts = append(parts, c.Sentence)
	}
	if r.Advice != nil {
		parts = append(parts, r.Advice.Sentence)
	}
	for i, p := range parts {
		parts[i] = strings.ToUpper(p[:1]) + p[1:] + "."
	}
	return strings.Join(parts, " ")
}

func (a *analysis) tooFew() string {
	lowest, highest := math.Inf(1), math.Inf(-1)
	for _, i := range a.kept {
		lowest, highest = min(lowest, a.ohms[i]), max(highest, a.ohms[i])
	}
	if len(a.kept) == 1 {
		return fmt.Sprintf("no control limits yet, from 1 coil of %s", ohmsText(lowest))
	}
	return fmt.Sprintf("no control limits yet, from %s; they lie between %s and %s", count(len(a.kept), "coil"), ohmsText(lowest), ohmsText(highest))
}

// bareSignal tells a signal that no change or trend stands behind as yet.
func (a *analysis) bareSignal() string {
	i := a.kept[len(a.kept)-1]
	var by []string
	for _, rule := range a.report.Rules {
		if rule.Index == i+1 {
			by = append(by, "rule "+rule.Rule)
		}
	}
	for _, c := range []struct {
		name    string
		signals []int
	}{{"the EWMA", a.report.Charts.EWMA.Signals}, {"the CUSUM", a.report.Charts.CUSUM.Signals}} {
		if n := len(c.signals); n > 0 && c.signals[n-1] == i+1 {
			by = append(by, c.name)
		}
	}
	s := fmt.Sprintf("%s raises %s, but no step or trend is established yet: wind on and watch", a.name(i), list(by))
	if f := a.report.FalseAlarms; f.RunLength > 0 {
		s += fmt.Sprintf("; a quiet process raises some signal about every %.0f coils", f.RunLength)
	}
	return s
}

func (a *analysis) outlierSentence() string {
	outliers := a.report.Outliers
	if len(outliers) == 1 {
		return outliers[0].Sentence
	}
	var names []string
	for _, o := range outliers {
		names = append(names, fmt.Sprintf("%s (%s)", a.name(o.Index-1), percent(o.DeviationRatio)))
		if len(names) == 5 && len(outliers) > 6 {
			return fmt.Sprintf("%d coils stand apart, among them %s", len(outliers), list(names))
		}
	}
	return list(names) + " stand apart from their neighbours"
}
