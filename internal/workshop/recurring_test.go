package workshop

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"coilkeep/internal/compare"
	"coilkeep/internal/record"
)

// outside is a comparison of which 1000 Ω were expected.
func outside(design, theirMeter string, theirsOhms float64, agrees bool, causes ...compare.Cause) record.Comparison {
	c := record.Comparison{TheirMeter: theirMeter, Origin: record.Origin{Design: design, Meter: "EV-40"}}
	c.Input.Ours.R20Ohms = 1000
	c.Result.TheirsOhms, c.Result.ExpectedOhms, c.Result.Agrees = theirsOhms, 1000, agrees
	for _, cause := range causes {
		c.Result.Explanations = append(c.Result.Explanations, compare.Explanation{Cause: cause})
	}
	return c
}

func TestRecurringCounts(t *testing.T) {
	t.Parallel()
	r := RecurringIn([]record.Comparison{
		outside("Harbour", "x", 980, false, compare.Temperature, compare.ParallelControl),
		outside("Harbour", "x", 979, false, compare.Temperature),
		outside("Harbour", "x", 981, false, compare.ParallelControl), outside("Harbour", "y", 980, true, compare.MeterAccuracy),
		outside("", "", 1100, false),
	})
	// (20 + 21 + 19 + 20 + 100)/5 of 1000.
	if r.Count != 5 || r.Agree != 1 || math.Abs(r.SeemedOffRatio-0.036) > 1e-12 {
		t.Errorf("of all: %d, %d agree, seemed %g off", r.Count, r.Agree, r.SeemedOffRatio)
	}
	var names []string
	for _, g := range r.Groups {
		names = append(names, g.Name)
	}
	if want := []string{"Design", "Our meter", "Their meter", "Cause that fits best"}; !reflect.DeepEqual(names, want) {
		t.Fatalf("groups %q, want %q", names, want)
	}
	harbour := r.Groups[0].Tallies[0]
	if harbour.Of != "Harbour" || harbour.Count != 4 || harbour.Agree != 1 || math.Abs(harbour.OffRatio+0.02) > 1e-12 ||
		!reflect.DeepEqual(harbour.Causes, []CauseCount{{compare.Temperature, 2}, {compare.ParallelControl, 1}}) {
		t.Errorf("by design: %+v", harbour)
	}
	// The squares of 0, 1, 1 and 0 thousandths are 2; over 3, over 4, its root.
	if want := 1e-3 * math.Sqrt(2.0/3/4); math.Abs(harbour.OffErrorRatio-want) > 1e-12 {
		t.Errorf("the standard error is %g, want %g", harbour.OffErrorRatio, want)
	}
	if rest := r.Groups[0].Tallies[1]; rest.Of != "no record" || rest.Count != 1 || !math.IsNaN(rest.OffErrorRatio) || rest.Causes != nil {
		t.Errorf("without a record: %+v", rest)
	}
	if meters := r.Groups[2].Tallies; meters[0].Of != "x" || meters[0].Count != 3 || meters[1].Of != "not told" || meters[2].Of != "y" {
		t.Errorf("by their meter: %+v", meters)
	}
	if causes := r.Groups[3].Tallies; causes[0].Of != compare.Temperature.Label() || causes[0].Count != 2 || causes[1].Of != "none" {
		t.Errorf("by cause: %+v", causes)
	}
	if r := RecurringIn(nil); !reflect.DeepEqual(r, Recurring{}) {
		t.Errorf("of nothing: %+v", r)
	}
}

// Readings that lie to one side by more than chance are told of our designs and
// meters, never of theirs, of few, or of what has no record.
func TestRecurringLeans(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		list []record.Comparison
		want []Leaning // only By, and Of
	}{
		{"even", []record.Comparison{outside("A", "", 990, true), outside("A", "", 1010, true), outside("A", "", 980, true),
			outside("A", "", 1020, true)}, nil},
		{"too few", []record.Comparison{outside("A", "x", 980, true), outside("A", "x", 981, true), outside("A", "x", 982, true)}, nil},
		{"low", []record.Comparison{outside("A", "x", 980, true), outside("A", "x", 981, true), outside("A", "x", 982, true),
			outside("A", "x", 981, true)}, []Leaning{{By: "Design", Tally: Tally{Of: "A"}}, {By: "Our meter", Tally: Tally{Of: "EV-40"}}}},
		{"one design of two", []record.Comparison{outside("A", "", 980, true), outside("A", "", 981, true), outside("A", "", 982, true),
			outside("A", "", 981, true), outside("B", "", 1020, true), outside("B", "", 1018, true), outside("B", "", 1040, true)},
			[]Leaning{{By: "Design", Tally: Tally{Of: "A"}}}},
		{"without a record", []record.Comparison{outside("", "", 980, true), outside("", "", 981, true), outside("", "", 982, true),
			outside("", "", 981, true)}, []Leaning{{By: "Our meter", Tally: Tally{Of: "EV-40"}}}},
	} {
		var got []Leaning
		for _, l := range RecurringIn(c.list).Leanings {
			got = append(got, Leaning{By: l.By, Tally: Tally{Of: l.Of}})
		}
		if !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
}

// Twice the standard error is exceeded by chance by about one group of twenty of
// ten readings: Student's t with 9 degrees of freedom lies beyond 2 with 7.7 %
// (tables of the t distribution; two-sided 5 % is at 2.262, 10 % at 1.833). What
// leans by one standard deviation is found nearly always.
func TestLeaningIsMoreThanChance(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(20, 26))
	const groups, readings = 4000, 10
	share := func(shift float64) float64 {
		found := 0
		for range groups {
			var list []record.Comparison
			for range readings {
				list = append(list, outside("A", "", 1000+5*(shift+random.NormFloat64()), true))
			}
			found += min(1, len(RecurringIn(list).Leanings))
		}
		return float64(found) / groups
	}
	if got := share(0); got < 0.06 || got > 0.095 { // four standard errors of 4000 either way
		t.Errorf("of groups without a leaning %.3f are told, want 0.077", got)
	}
	if got := share(1.5); got < 0.97 {
		t.Errorf("of groups that lean %.3f are told", got)
	}
}
