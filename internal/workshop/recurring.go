package workshop

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"coilkeep/internal/compare"
	"coilkeep/internal/record"
	"coilkeep/internal/statistics"
)

// Recurring is what recurs in the comparisons with what buyers measured.
type Recurring struct {
	Count, Agree int
	// SeemedOffRatio is by how much their readings differ from our values for 20 °C,
	// either way, on average: what buyers see who compare the bare numbers.
	SeemedOffRatio float64
	// Groups count them by what they may have in common; nil when there are none.
	Groups []TallyGroup
	// Leanings are the designs and meters of ours whose readings lean to one side.
	Leanings []Leaning
}

// TallyGroup counts comparisons by one property, the most frequent first.
type TallyGroup struct {
	Name    string
	Tallies []Tally
}

// Leaning is a tally whose readings lie to one side of what was expected by more
// than chance.
type Leaning struct {
	// By is the name of its group.
	By string
	Tally
}

// Tally counts the comparisons that have something in common.
type Tally struct {
	// Of is what they have in common, or that it is not known.
	Of           string
	Count, Agree int
	// OffRatio is the mean of what they read over what was expected of them, less
	// one, and OffErrorRatio its standard error; NaN for one comparison.
	OffRatio, OffErrorRatio float64
	// Causes are those that fit best where they do not agree, the most frequent
	// first.
	Causes []CauseCount
}

// CauseCount is how often a cause fits best.
type CauseCount struct {
	Cause compare.Cause
	Count int
}

const (
	// fewForPattern is how many comparisons say nothing in common yet.
	fewForPattern = 3
	// noRecord is said of a comparison with a resistance that was told.
	noRecord = "no record"
)

// leans is true when the readings lie to one side of what was expected by more
// than twice the standard error of their mean.
func (t Tally) leans() bool {
	return t.Count > fewForPattern && math.Abs(t.OffRatio) > 2*t.OffErrorRatio
}

// RecurringIn looks for what recurs in comparisons.
func RecurringIn(list []record.Comparison) Recurring {
	r := Recurring{Count: len(list)}
	for _, c := range list {
		if c.Result.Agrees {
			r.Agree++
		}
		r.SeemedOffRatio += math.Abs(c.Result.TheirsOhms/c.Input.Ours.R20Ohms-1) / float64(len(list))
	}
	for _, by := range []struct {
		name     string
		ours     bool
		property func(record.Comparison) string
	}{
		{"Design", true, func(c record.Comparison) string { return cmp.Or(c.Origin.Design, noRecord) }},
		{"Our meter", true, func(c record.Comparison) string { return cmp.Or(c.Origin.Meter, noRecord) }},
		{"Their meter", false, func(c record.Comparison) string { return cmp.Or(c.TheirMeter, "not told") }},
		{"Cause that fits best", false, func(c record.Comparison) string { return cmp.Or(bestCause(c).Label(), "none") }},
	} {
		if len(list) == 0 {
			break
		}
		group := TallyGroup{by.name, tallies(list, by.property)}
		r.Groups = append(r.Groups, group)
		for _, t := range group.Tallies {
			if by.ours && t.Of != noRecord && t.leans() {
				r.Leanings = append(r.Leanings, Leaning{by.name, t})
			}
		}
	}
	return r
}

// bestCause is the cause that ranks first; empty when none does.
func bestCause(c record.Comparison) compare.Cause {
	if len(c.Result.Explanations) == 0 {
		return ""
	}
	return c.Result.Explanations[0].Cause
}

// tallies counts by a property, the most frequent first, and those as frequent by
// name.
func tallies(list []record.Comparison, property func(record.Comparison) string) []Tally {
	groups := map[string][]record.Comparison{}
	for _, c := range list {
		groups[property(c)] = append(groups[property(c)], c)
	}
	counted := make([]Tally, 0, len(groups))
	for _, name := range slices.Sorted(maps.Keys(groups)) {
		counted = append(counted, tallyOf(name, groups[name]))
	}
	slices.SortStableFunc(counted, func(a, b Tally) int { return cmp.Compare(b.Count, a.Count) })
	return counted
}

func tallyOf(name string, group []record.Comparison) Tally {
	t := Tally{Of: name, Count: len(group)}
	causes := map[compare.Cause]int{}
	var off []float64
	for _, c := range group {
		off = append(off, c.Result.TheirsOhms/c.Result.ExpectedOhms-1)
		if c.Result.Agrees {
			t.Agree++
		} else if cause := bestCause(c); cause != "" {
			causes[cause]++
		}
	}
	moments := statistics.MomentsOf(off)
	t.OffRatio, t.OffErrorRatio = moments.Mean, moments.StandardError()
	for _, cause := range slices.Sorted(maps.Keys(causes)) {
		t.Causes = append(t.Causes, CauseCount{cause, causes[cause]})
	}
	slices.SortStableFunc(t.Causes, func(a, b CauseCount) int { return cmp.Compare(b.Count, a.Count) })
	return t
}
