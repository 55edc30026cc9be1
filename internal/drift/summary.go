package drift

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"coilkeep/internal/control"
	"coilkeep/internal/quantity"
)

// event is a step or a trend, for the summary.
type event struct {
	at    int // the kept coil it is told by: the first of a step, the last of a trend
	cause Attribution
}

// events are the steps and trends, the latest first.
func (a *analysis) events() []event {
	var events []event
	for _, c := range a.report.ChangePoints {
		events = append(events, event{c.k, c.cause})
	}
	for _, t := range a.trends() {
		events = append(events, event{t.last - 1, t.cause})
	}
	slices.SortStableFunc(events, func(x, y event) int { return y.at - x.at })
	return events
}

// mostEarlier is how many earlier steps and trends the summary names.
const mostEarlier = 3

// summary is the sentence that matters: is something wandering, since when,
// what is it, and what to do.
func (a *analysis) summary() string {
	r := &a.report
	events := a.events()
	r.Drifting = len(events) > 0
	var parts []string
	switch {
	case r.Drifting:
		cause := events[0].cause
		parts = append(parts, cause.Sentence)
		r.Headline, r.Evidence = cause.headline, cause.clauses
		r.MeterCleared, r.MeterSentence = cause.meter.cleared, cause.meter.clause
	case r.CheckStandard != nil && r.CheckStandard.AwayRatio != nil:
		parts = append(parts, r.CheckStandard.Sentence+": the coils read the same, so they may have moved by as much the other way")
		r.Headline = fmt.Sprintf("the check standard stands %s from where it began, and the coils read the same", percent(*r.CheckStandard.AwayRatio))
	case r.Baseline == nil:
		parts = append(parts, a.tooFew())
	case r.Signal:
		parts = append(parts, a.bareSignal())
	default:
		parts = append(parts, fmt.Sprintf("no drift in %s", count(len(a.kept), "coil")))
	}
	if r.Headline == "" {
		r.Headline, _, _ = strings.Cut(parts[0], ":")
	}
	r.Headline = capital(r.Headline)
	if len(events) > 1 {
		parts = append(parts, earlier(events[1:]))
	}
	if len(r.Outliers) > 0 {
		parts = append(parts, a.outlierSentence())
	}
	if t := r.Temperature; t != nil && t.Flagged {
		parts = append(parts, t.Sentence)
	}
	if c := r.CheckStandard; c != nil && !r.Drifting && c.cameBack() {
		parts = append(parts, c.Sentence)
	}
	if r.Advice != nil {
		parts = append(parts, r.Advice.Sentence)
	}
	for i, p := range parts {
		parts[i] = capital(p) + "."
	}
	return strings.Join(parts, " ")
}

// capital writes a sentence with a capital letter.
func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// earlier names the steps and trends before the latest.
func earlier(events []event) string {
	var names []string
	for _, e := range events[:min(len(events), mostEarlier)] {
		names = append(names, e.cause.brief)
	}
	s := "before that: " + strings.Join(names, "; ")
	if n := len(events) - mostEarlier; n > 0 {
		s += fmt.Sprintf("; and %d earlier", n)
	}
	return s
}

func (a *analysis) tooFew() string {
	if len(a.kept) >= control.LeastBaseline && leastStep(pick(a.ohms, a.kept)) == 0 {
		return fmt.Sprintf("the %d coils do not differ at all: look whether the meter is stuck or far too coarse", len(a.kept))
	}
	lowest, highest := math.Inf(1), math.Inf(-1)
	for _, i := range a.kept {
		lowest, highest = min(lowest, a.ohms[i]), max(highest, a.ohms[i])
	}
	if len(a.kept) == 1 {
		return fmt.Sprintf("no control limits yet, from 1 coil of %s", quantity.FormatOhms(lowest, 1))
	}
	return fmt.Sprintf("no control limits yet, from %s; they lie between %s and %s", count(len(a.kept), "coil"), quantity.FormatOhms(lowest, 1), quantity.FormatOhms(highest, 1))
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
