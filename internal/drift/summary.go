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
	var first string
	switch {
	case r.Drifting:
		cause := events[0].cause
		first = cause.Sentence
		r.Headline, r.Evidence = cause.headline, cause.clauses
		r.MeterCleared, r.MeterSentence = cause.meter.cleared, cause.meter.clause
	case r.CheckStandard != nil && r.CheckStandard.AwayRatio != nil:
		first = r.CheckStandard.Sentence + ": the coils read the same, so they may have moved by as much the other way"
		r.Headline = fmt.Sprintf("the check standard stands %s from where it began, and the coils read the same", signedPercent(*r.CheckStandard.AwayRatio))
	case r.InTurn != nil:
		still := fmt.Sprintf("no drift in %s, but ", countOf(len(a.kept), "coil"))
		r.Headline, first = still+r.InTurn.Words, still+r.InTurn.Sentence
	case r.Baseline == nil:
		r.Headline, first = a.tooFew()
	case r.Signal:
		r.Headline, first = a.bareSignal()
	default:
		r.Headline = fmt.Sprintf("no drift in %s", countOf(len(a.kept), "coil"))
		first = r.Headline
	}
	r.Headline = capitalised(r.Headline)
	parts := []string{first}
	if r.InTurn != nil && r.Drifting {
		parts = append(parts, r.InTurn.Sentence)
	}
	if len(events) > 1 {
		parts = append(parts, earlierSentence(events[1:]))
	}
	if len(r.Outliers) > 0 {
		parts = append(parts, a.outlierSentence())
	}
	if t := r.Temperature; t != nil && t.Flagged {
		parts = append(parts, t.Sentence)
	}
	if c := r.CheckStandard; c != nil && !r.Drifting && c.CameBack {
		parts = append(parts, c.Sentence)
	}
	if r.Advice != nil {
		parts = append(parts, r.Advice.Sentence)
	}
	for i, p := range parts {
		parts[i] = capitalised(p) + "."
	}
	return strings.Join(parts, " ")
}

// capitalised writes a sentence with a capital letter.
func capitalised(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// earlierSentence names the steps and trends before the latest.
func earlierSentence(events []event) string {
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

// tooFew says why there are no limits, in short and as a sentence.
func (a *analysis) tooFew() (headline, sentence string) {
	if len(a.kept) >= control.LeastBaseline && leastStep(valuesAt(a.ohms, a.kept)) == 0 {
		headline = fmt.Sprintf("the %d coils do not differ at all", len(a.kept))
		return headline, headline + ": look whether the meter is stuck or far too coarse"
	}
	lowest, highest := math.Inf(1), math.Inf(-1)
	for _, i := range a.kept {
		lowest, highest = min(lowest, a.ohms[i]), max(highest, a.ohms[i])
	}
	if len(a.kept) == 1 {
		sentence = fmt.Sprintf("no control limits yet, from 1 coil of %s", quantity.FormatOhms(lowest, 1))
		return sentence, sentence
	}
	sentence = fmt.Sprintf("no control limits yet, from %s; they lie between %s and %s", countOf(len(a.kept), "coil"), quantity.FormatOhms(lowest, 1), quantity.FormatOhms(highest, 1))
	return sentence, sentence
}

// bareSignal tells a signal that no change or trend stands behind as yet, in short
// and as a sentence.
func (a *analysis) bareSignal() (headline, sentence string) {
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
	headline = fmt.Sprintf("%s raises %s, but no step or trend is established yet", a.name(i), joinWithAnd(by))
	sentence = headline + ": wind on and watch"
	if f := a.report.FalseAlarms; f.RunLength > 0 {
		sentence += fmt.Sprintf("; a quiet process raises some signal about every %.0f coils", f.RunLength)
	}
	return headline, sentence
}

func (a *analysis) outlierSentence() string {
	outliers := a.report.Outliers
	n := len(outliers)
	if n == 1 {
		return outliers[0].Sentence
	}
	if n == 2 && outliers[0].Provisional {
		return a.pairSentence(outliers[0], outliers[1])
	}
	var names []string
	for _, o := range outliers {
		names = append(names, fmt.Sprintf("%s (%s)", a.name(o.Index-1), signedPercent(o.DeviationRatio)))
		if len(names) == 5 && len(outliers) > 6 {
			return fmt.Sprintf("%d coils stand apart, among them %s", len(outliers), joinWithAnd(names))
		}
	}
	s := joinWithAnd(names) + " stand apart from their neighbours"
	if n := len(outliers); outliers[n-2].Provisional {
		s += "; " + a.pairSentence(outliers[n-2], outliers[n-1])
	}
	return s
}

// pairSentence is about the last two coils, which stand together.
func (a *analysis) pairSentence(first, second Outlier) string {
	return fmt.Sprintf("%s and %s stand together, %s and %s from those before: a third will tell whether it is a step or two bad coils",
		a.name(first.Index-1), a.name(second.Index-1), signedPercent(first.DeviationRatio), signedPercent(second.DeviationRatio))
}
