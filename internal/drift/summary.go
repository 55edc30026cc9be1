package drift

import (
	"fmt"
	"slices"
	"strings"

	"coilkeep/internal/control"
	"coilkeep/internal/words"
)

// event is a step or a trend, for the summary.
type event struct {
	at    int // the kept coil it is told by: the first of a step, the last of a trend
	cause Attribution
}

// latestFirst are the steps and trends, the latest first.
func (m *movement) latestFirst() []event {
	var events []event
	for _, c := range m.steps {
		events = append(events, event{c.k, c.cause})
	}
	for _, t := range m.trends() {
		events = append(events, event{t.last - 1, t.cause})
	}
	slices.SortStableFunc(events, func(x, y event) int { return y.at - x.at })
	return events
}

// mostEarlier is how many earlier steps and trends the summary names.
const mostEarlier = 3

// summarise writes the sentence that matters into the report: is something
// wandering, since when, what is it, and what to do.
func summarise(r *Report, m *movement) {
	events := m.latestFirst()
	r.Drifting = len(events) > 0
	var headline, first string
	if r.Drifting {
		cause := events[0].cause
		headline, first, r.Evidence = cause.headline, cause.Sentence, cause.clauses
		r.MeterCleared, r.MeterSentence = cause.meter.cleared, cause.meter.clause
	} else {
		headline, first = headlineWithoutDrift(r, m.series)
	}
	r.Headline = capitalised(headline)
	parts := []string{first}
	if r.InTurn != nil && r.Drifting {
		parts = append(parts, r.InTurn.Sentence)
	}
	if len(events) > 1 {
		parts = append(parts, earlierSentence(events[1:]))
	}
	if len(r.Outliers) > 0 {
		parts = append(parts, outlierSentence(r.Outliers))
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
	r.Summary = strings.Join(parts, " ")
}

// headlineWithoutDrift is what there is to say where neither a step nor a trend is
// established, in short and as a sentence.
func headlineWithoutDrift(r *Report, s *series) (headline, sentence string) {
	quiet := fmt.Sprintf("no drift in %s", words.Count(len(s.kept), "coil"))
	switch c := r.CheckStandard; {
	case c != nil && c.AwayRatio != nil:
		return fmt.Sprintf("the check standard stands %s from where it began, and the coils read the same", signedPercent(*c.AwayRatio)),
			c.Sentence + ": the coils read the same, so they may have moved by as much the other way"
	case r.InTurn != nil:
		return quiet + ", but " + r.InTurn.Words, quiet + ", but " + r.InTurn.Sentence
	case r.Baseline == nil:
		return headlineWithoutLimits(s.keptOhms())
	case r.Signal:
		return headlineOfSignal(r, s)
	}
	return quiet, quiet
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

// headlineWithoutLimits says why there are none, in short and as a sentence.
func headlineWithoutLimits(ohms []float64) (headline, sentence string) {
	if len(ohms) >= control.LeastBaseline && leastStep(ohms) == 0 {
		headline = fmt.Sprintf("the %d coils do not differ at all", len(ohms))
		return headline, headline + ": look whether the meter is stuck or far too coarse"
	}
	if len(ohms) == 1 {
		sentence = fmt.Sprintf("no control limits yet, from 1 coil of %s", words.OhmsToStep(ohms[0], 1))
		return sentence, sentence
	}
	sentence = fmt.Sprintf("no control limits yet, from %s; they lie between %s and %s", words.Count(len(ohms), "coil"),
		words.OhmsToStep(slices.Min(ohms), 1), words.OhmsToStep(slices.Max(ohms), 1))
	return sentence, sentence
}

// headlineOfSignal tells a signal that no change or trend stands behind as yet, in
// short and as a sentence.
func headlineOfSignal(r *Report, s *series) (headline, sentence string) {
	i := s.kept[len(s.kept)-1]
	var by []string
	for _, rule := range r.Rules {
		if rule.Index == i+1 {
			by = append(by, "rule "+rule.Rule)
		}
	}
	for _, c := range []struct {
		name    string
		signals []int
	}{{"the EWMA", r.Charts.EWMA.Signals}, {"the CUSUM", r.Charts.CUSUM.Signals}} {
		if n := len(c.signals); n > 0 && c.signals[n-1] == i+1 {
			by = append(by, c.name)
		}
	}
	headline = fmt.Sprintf("%s raises %s, but no step or trend is established yet", s.coilName(i), words.And(by))
	sentence = headline + ": wind on and watch"
	if f := r.FalseAlarms; f.RunLength > 0 {
		sentence += fmt.Sprintf("; a quiet process raises some signal about every %.0f coils", f.RunLength)
	}
	return headline, sentence
}

func outlierSentence(outliers []Outlier) string {
	n := len(outliers)
	if n == 1 {
		return outliers[0].Sentence
	}
	if n == 2 && outliers[0].Provisional {
		return pairSentence(outliers[0], outliers[1])
	}
	var names []string
	for _, o := range outliers {
		names = append(names, fmt.Sprintf("%s (%s)", o.coilName(), signedPercent(o.DeviationRatio)))
		if len(names) == 5 && len(outliers) > 6 {
			return fmt.Sprintf("%d coils stand apart, among them %s", len(outliers), words.And(names))
		}
	}
	s := words.And(names) + " stand apart from their neighbours"
	if n := len(outliers); outliers[n-2].Provisional {
		s += "; " + pairSentence(outliers[n-2], outliers[n-1])
	}
	return s
}

// pairSentence is about the last two coils, which stand together.
func pairSentence(first, second Outlier) string {
	return fmt.Sprintf("%s and %s stand together, %s and %s from those before: a third will tell whether it is a step or two bad coils",
		first.coilName(), second.coilName(), signedPercent(first.DeviationRatio), signedPercent(second.DeviationRatio))
}
