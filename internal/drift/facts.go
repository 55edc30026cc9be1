package drift

import (
	"fmt"
	"strings"

	"coilkeep/internal/words"
)

// Fact is one line of what a summary rests on.
type Fact struct{ Name, Value string }

// Facts tells everything found in words, the most important first.
func (r Report) Facts() []Fact {
	facts := []Fact{{"Coils", fmt.Sprint(len(r.Points))}}
	add := func(name, value string) { facts = append(facts, Fact{name, value}) }
	if r.Target != nil {
		add("Target", words.Ohms(*r.Target))
	}
	if r.Lower != nil {
		add("Tolerance", words.Ohms(*r.Lower)+" to "+words.Ohms(*r.Upper))
	}
	facts = append(facts, r.baselineFacts()...)
	facts = append(facts, r.chartFacts()...)
	for _, c := range r.ChangePoints {
		add("Change", fmt.Sprintf("after coil %d (%d to %d), %+.1f Ω (%+.1f to %+.1f), p = %.2g", c.LastBefore, c.Low, c.High, c.ShiftOhms,
			c.ShiftLow, c.ShiftHigh, c.P))
	}
	for _, a := range r.Attribution {
		add("Cause", a.Cause+": "+a.Evidence)
	}
	for _, t := range r.EarlierTrends {
		add("Earlier trend", fmt.Sprintf("from coil %d to coil %d, %s", t.FromSequence, t.ToSequence, t.slopeText()))
	}
	if t := r.Trend; t != nil && t.Real {
		add("Trend", fmt.Sprintf("from coil %d, %s", t.FromSequence, t.slopeText()))
	} else if t != nil {
		add("Trend", fmt.Sprintf("none shown from coil %d, %s", t.FromSequence, t.slopeText()))
	}
	for _, o := range r.Outliers {
		add("Outlier", o.Sentence)
	}
	if c := r.Capability; c != nil {
		add("Capability", c.Sentence)
	}
	if c := r.CheckStandard; c != nil {
		add("Check standard", c.Sentence)
	}
	if t := r.InTurn; t != nil {
		add("In turn", t.Sentence)
	}
	if t := r.Temperature; t != nil {
		add("Temperature", t.Sentence)
	}
	for _, s := range r.Spools {
		add("Spool", s.Sentence)
	}
	if s := r.Spread; s != nil && s.Sentence != "" {
		add("Spread", s.Sentence)
	}
	for _, f := range r.Factors {
		add("Compared", f.Sentence)
	}
	for _, n := range r.Notes {
		add("Note", n)
	}
	return facts
}

// slopeText is the slope with its interval and P.
func (t Trend) slopeText() string {
	return fmt.Sprintf("%+.3g Ω a coil (%+.3g to %+.3g), p = %.2g", t.SlopeOhmsPerCoil, t.SlopeLow, t.SlopeHigh, t.P)
}

func (r Report) baselineFacts() []Fact {
	b := r.Baseline
	if b == nil {
		return nil
	}
	fine := b.SigmaWithinOhms / 10
	coils := fmt.Sprintf("%d coils, %d to %d", b.Count, b.FirstSequence, b.LastSequence)
	if b.Frozen {
		coils = fmt.Sprintf("%d coils, kept from before", b.Count)
	}
	limits := r.Charts.Individuals
	return []Fact{
		{"Baseline", coils + ", mean " + words.OhmsToStep(b.MeanOhms, fine)},
		{"Sigma", fmt.Sprintf("%.3g Ω within, %.3g Ω overall", b.SigmaWithinOhms, b.SigmaOverallOhms)},
		{"Control limits", words.OhmsToStep(limits.Lower, fine) + " to " + words.OhmsToStep(limits.Upper, fine)},
	}
}

// chartFacts tells of the signals of the charts, and how many to expect of
// nothing.
func (r Report) chartFacts() []Fact {
	if r.Charts == nil {
		return nil
	}
	var signals []string
	for _, c := range []struct {
		name    string
		indices []int
	}{
		{"individuals", r.Charts.Individuals.Signals},
		{"moving range", r.Charts.MovingRange.Signals},
		{"EWMA", r.Charts.EWMA.Signals},
		{"CUSUM", r.Charts.CUSUM.Signals},
	} {
		if n := len(c.indices); n > 0 {
			signals = append(signals, fmt.Sprintf("%s at %s, first at coil %d", c.name, words.Count(n, "coil"), r.Points[c.indices[0]-1].Sequence))
		}
	}
	first := map[string]bool{}
	for _, s := range r.Rules {
		if !first[s.Rule] {
			first[s.Rule] = true
			signals = append(signals, fmt.Sprintf("%s first at coil %d", s.Rule, s.Sequence))
		}
	}
	facts := []Fact{{"Signals", "none"}}
	if len(signals) > 0 {
		facts[0].Value = strings.Join(signals, "; ")
	}
	if f := r.FalseAlarms; f.RunLength > 0 {
		facts = append(facts, Fact{"False alarms", fmt.Sprintf("of quiet batches this long %.0f %% raise some signal all the same, one about "+
			"every %.0f coils", 100*f.InRun, f.RunLength)})
	}
	return facts
}
