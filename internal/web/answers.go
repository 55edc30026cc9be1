package web

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"net/http"
	"slices"
	"strings"

	"coilkeep/internal/compare"
	"coilkeep/internal/record"
)

// overseen is how many of the newest comparisons are looked over for patterns,
// shownAnswers how many of them are listed.
const (
	overseen     = 500
	shownAnswers = 100
)

// answersView is the page over all comparisons.
type answersView struct {
	frame
	Patterns patterns
	List     []record.Comparison
	// Older is true when there are more comparisons than were looked over.
	Older bool
}

func (s *site) answersPage(w http.ResponseWriter, r *http.Request) error {
	list, next, err := s.server.History.Comparisons(r.Context(), record.ComparisonFilter{Limit: overseen})
	if err != nil {
		return err
	}
	return s.renderPage(w, "answer/list", answersView{
		frame: s.frame(answersSection, "Answers to buyers"), Patterns: patternsOf(list),
		List: list[:min(len(list), shownAnswers)], Older: next != "",
	})
}

// patterns is what recurs in many comparisons.
type patterns struct {
	Count, Agree int
	// Sentences says what the workshop should see.
	Sentences []string
	Groups    []tallyGroup
}

// tallyGroup counts comparisons by one property.
type tallyGroup struct {
	Name    string
	Tallies []tally
}

// tally counts the comparisons that have something in common.
type tally struct {
	Of           string
	Count, Agree int
	// Off is the mean of what they read over what was expected of them, less one.
	Off    float64
	Causes string

	causes map[compare.Cause]int
}

// fewForPattern is how many comparisons say nothing in common yet.
const fewForPattern = 3

// patternsOf looks for what recurs.
func patternsOf(list []record.Comparison) patterns {
	p := patterns{Count: len(list)}
	if p.Count == 0 {
		return p
	}
	for _, c := range list {
		if c.Result.Agrees {
			p.Agree++
		}
	}
	for _, g := range []struct {
		name string
		of   func(record.Comparison) string
	}{
		{"Design", func(c record.Comparison) string { return cmp.Or(c.Origin.Design, "no record") }},
		{"Our meter", func(c record.Comparison) string { return cmp.Or(c.Origin.Meter, "no record") }},
		{"Their meter", func(c record.Comparison) string { return cmp.Or(c.TheirMeter, "not told") }},
		{"Cause that fits best", func(c record.Comparison) string { return bestCause(c) }},
	} {
		p.Groups = append(p.Groups, tallyGroup{g.name, tallies(list, g.of)})
	}
	p.Sentences = append([]string{p.agreement(list)}, leanings(list, p.Groups)...)
	return p
}

// bestCause is the cause that ranks first, in words.
func bestCause(c record.Comparison) string {
	if len(c.Result.Explanations) == 0 {
		return "none"
	}
	return c.Result.Explanations[0].Cause.Label()
}

// tallies counts by a property, the most frequent first.
func tallies(list []record.Comparison, of func(record.Comparison) string) []tally {
	found := map[string]*tally{}
	for _, c := range list {
		name := of(c)
		t := found[name]
		if t == nil {
			t = &tally{Of: name, causes: map[compare.Cause]int{}}
			found[name] = t
		}
		t.Count++
		if c.Result.Agrees {
			t.Agree++
		} else if len(c.Result.Explanations) > 0 {
			t.causes[c.Result.Explanations[0].Cause]++
		}
		t.Off += offExpected(c)
	}
	sorted := make([]tally, 0, len(found))
	for _, name := range sortedKeys(found) {
		t := *found[name]
		t.Off /= float64(t.Count)
		t.Causes = causeCounts(t.causes)
		sorted = append(sorted, t)
	}
	slices.SortStableFunc(sorted, func(a, b tally) int { return cmp.Compare(b.Count, a.Count) })
	return sorted
}

// offExpected is how far a reading was from what was expected, as a ratio.
func offExpected(c record.Comparison) float64 { return c.Result.TheirsOhms/c.Result.ExpectedOhms - 1 }

// causeCounts writes the causes of those that do not agree, the most frequent
// first.
func causeCounts(counts map[compare.Cause]int) string {
	causes := slices.Sorted(maps.Keys(counts))
	slices.SortStableFunc(causes, func(a, b compare.Cause) int { return cmp.Compare(counts[b], counts[a]) })
	var words []string
	for _, cause := range causes {
		words = append(words, fmt.Sprintf("%s %d", cause.Label(), counts[cause]))
	}
	return strings.Join(words, ", ")
}

// agreement says how many agree, and how far off they seemed.
func (p patterns) agreement(list []record.Comparison) string {
	plain := 0.0
	for _, c := range list {
		plain += math.Abs(c.Result.TheirsOhms/c.Input.Ours.R20Ohms-1) / float64(len(list))
	}
	seemed := fmt.Sprintf("Beside our value for 20 °C they seemed %s off on average.", percent(plain))
	switch {
	case p.Count == 1 && p.Agree == 1:
		return "The one complaint agrees once it is referred to 20 °C. " + seemed
	case p.Agree == p.Count:
		return fmt.Sprintf("All %d complaints agree once they are referred to 20 °C. %s", p.Count, seemed)
	}
	return fmt.Sprintf("%d of %d agree once they are referred to 20 °C. %s", p.Agree, p.Count, seemed)
}

// leanings names designs and meters of ours whose complaints all lean to one
// side by more than chance: more than twice the standard error of their mean.
func leanings(list []record.Comparison, groups []tallyGroup) []string {
	var said []string
	for _, g := range groups[:2] {
		for _, t := range g.Tallies {
			if t.Count <= fewForPattern || t.Of == "no record" {
				continue
			}
			squares := 0.0
			for _, c := range list {
				if (g.Name == "Design" && c.Origin.Design == t.Of) || (g.Name == "Our meter" && c.Origin.Meter == t.Of) {
					squares += (offExpected(c) - t.Off) * (offExpected(c) - t.Off)
				}
			}
			n := float64(t.Count)
			if math.Abs(t.Off) <= 2*math.Sqrt(squares/(n-1)/n) {
				continue
			}
			side := "high"
			if t.Off < 0 {
				side = "low"
			}
			said = append(said, fmt.Sprintf("The %d readings on coils of %s %s are %s %s on average, more than chance: measure the check "+
				"standard before the next answer.",
				t.Count, strings.ToLower(g.Name), t.Of, percent(math.Abs(t.Off)), side))
		}
	}
	return said
}
