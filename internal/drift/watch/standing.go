package watch

import (
	"slices"

	"coilkeep/internal/control"
	"coilkeep/internal/drift"
)

// The signals besides the run rules, as they are called in metrics and answers.
const (
	EWMA  = "ewma"
	CUSUM = "cusum"
	// Step is an established change of level, Trend an established trend, also one
	// that has ended.
	Step  = "step"
	Trend = "trend"
)

// Signals lists the name of every signal that can stand.
func Signals() []string {
	var names []string
	for _, rule := range control.StandardScheme().Rules.Rules() {
		names = append(names, rule.String())
	}
	return append(names, EWMA, CUSUM, Step, Trend)
}

// Standing lists the signals that stand at the last coil, in the order of
// [Signals]: the rules and charts that speak up at the last coil that is no
// outlier, at the very last coil too when that is beyond its limits, and the
// steps and trends established so far.
func Standing(r drift.Report) []string {
	standing := map[string]bool{Step: len(r.ChangePoints) > 0, Trend: trends(r) > 0}
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
		standing[EWMA] = slices.ContainsFunc(r.Charts.EWMA.Signals, at)
		standing[CUSUM] = slices.ContainsFunc(r.Charts.CUSUM.Signals, at)
	}
	return slices.DeleteFunc(Signals(), func(name string) bool { return !standing[name] })
}

// trends counts the established trends.
func trends(r drift.Report) int {
	n := len(r.EarlierTrends)
	if r.Trend != nil && r.Trend.Real {
		n++
	}
	return n
}

// news says whether a report raises something that an earlier one, which a
// person has taken note of, did not. Once a step or a trend is taken note of,
// the charts go on signalling about it, and that is no news.
func news(now, then drift.Report) bool {
	known, standing := Standing(then), Standing(now)
	established := func(names []string) bool {
		return slices.Contains(names, Step) || slices.Contains(names, Trend)
	}
	if len(now.ChangePoints)+trends(now) > len(then.ChangePoints)+trends(then) {
		return true
	}
	for _, name := range standing {
		chart := name != Step && name != Trend
		if !slices.Contains(known, name) && !(chart && established(known)) {
			return true
		}
	}
	return false
}
