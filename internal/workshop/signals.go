package workshop

import (
	"slices"

	"coilkeep/internal/control"
	"coilkeep/internal/drift"
)

// The signals besides the run rules, as they are called in metrics and answers.
const (
	SignalEWMA  = "ewma"
	SignalCUSUM = "cusum"
	// SignalStep is an established change of level, SignalTrend an established trend,
	// also one that has ended.
	SignalStep  = "step"
	SignalTrend = "trend"
)

// Signals lists the name of every signal that can stand.
func Signals() []string {
	var names []string
	for _, rule := range control.StandardScheme().Rules.Rules() {
		names = append(names, rule.String())
	}
	return append(names, SignalEWMA, SignalCUSUM, SignalStep, SignalTrend)
}

// StandingSignals lists the signals that stand at the last coil, in the order of
// [Signals]: the rules and charts that speak up at the last coil that is no
// outlier, at the very last coil too when that is beyond its limits, and the
// steps and trends established so far.
func StandingSignals(r drift.Report) []string {
	standing := map[string]bool{SignalStep: len(r.ChangePoints) > 0, SignalTrend: len(r.RealTrends()) > 0}
	last := len(r.Points)
	for last > 1 && r.Points[last-1].Outlier {
		last--
	}
	at := func(index int) bool { return index == last || index == len(r.Points) }
	for _, rule := range r.Rules {
		if at(rule.Index) {
			standing[rule.Rule] = true
		}
	}
	if r.Charts != nil {
		standing[SignalEWMA] = slices.ContainsFunc(r.Charts.EWMA.Signals, at)
		standing[SignalCUSUM] = slices.ContainsFunc(r.Charts.CUSUM.Signals, at)
	}
	return slices.DeleteFunc(Signals(), func(name string) bool { return !standing[name] })
}

// stretch is where an event lies, by the numbers of its first and last coil.
type stretch struct{ low, high int }

// stepStretches are where the last coil before each step may be.
func stepStretches(r drift.Report) []stretch {
	var where []stretch
	for _, c := range r.ChangePoints {
		where = append(where, stretch{c.Low, c.High})
	}
	return where
}

// trendStretches are where the coils of each established trend are.
func trendStretches(r drift.Report) []stretch {
	var where []stretch
	for _, t := range r.RealTrends() {
		where = append(where, stretch{t.FromSequence, t.ToSequence})
	}
	return where
}

// liesElsewhere says whether there are more events now than there were, or one that
// meets none of those. Their number alone is not enough: one that was known may
// have gone while another came.
func liesElsewhere(now, then []stretch) bool {
	return len(now) > len(then) || slices.ContainsFunc(now, func(n stretch) bool {
		return !slices.ContainsFunc(then, func(t stretch) bool { return n.low <= t.high && t.low <= n.high })
	})
}

// RaisesNews says whether a report raises something that an earlier one, which a
// person has taken note of, did not. A step is compared with steps and a trend
// with trends: a long trend would hide a step within it. Once either is taken
// note of, the charts go on signalling about it, and that is no news.
func RaisesNews(now, then drift.Report) bool {
	if liesElsewhere(stepStretches(now), stepStretches(then)) || liesElsewhere(trendStretches(now), trendStretches(then)) {
		return true
	}
	if len(stepStretches(then))+len(trendStretches(then)) > 0 {
		return false
	}
	known := StandingSignals(then)
	return slices.ContainsFunc(StandingSignals(now), func(name string) bool { return !slices.Contains(known, name) })
}
