package statistics

import (
	"math"
	"strconv"
	"testing"

	"coilkeep/internal/published"
)

// NIST/SEMATECH e-Handbook 2.6.1: a nested gauge study of five probes, with wafers,
// runs within wafers, days within runs and six repetitions a day. The handbook's
// variances of days and runs are the components of the nested analysis of
// variance; some come out negative.
func TestNestedHandbook(t *testing.T) {
	var want struct {
		Expected struct {
			Probes map[string]struct {
				Repeatability float64 `json:"s1_repeatability"`
				Days          float64 `json:"var_days_raw"`
				Runs          float64 `json:"var_runs_raw"`
			} `json:"pooled_over_wafers"`
		}
	}
	published.JSON(t, "spc/gauge/nist_resistivity_nested.json", &want)
	leaves := map[string][]Leaf{}
	days := map[[3]string]int{} // occasions, of which one calendar day may hold two
	for _, row := range published.Table(t, "spc/gauge/nist_resistivity_nested.csv") {
		const repetitions = 6
		sd := row.Number("sd6_ohm_cm")
		where := [3]string{row.Text("probe"), row.Text("wafer"), row.Text("run")}
		days[where]++
		leaves[row.Text("probe")] = append(leaves[row.Text("probe")], Leaf{
			Path:   []string{row.Text("wafer"), row.Text("run"), strconv.Itoa(days[where])},
			Values: Moments{repetitions, row.Number("mean6_ohm_cm"), (repetitions - 1) * sd * sd},
		})
	}
	if len(want.Expected.Probes) != len(leaves) {
		t.Fatalf("%d probes in the table, %d in the data", len(want.Expected.Probes), len(leaves))
	}
	for probe, w := range want.Expected.Probes {
		t.Run(probe, func(t *testing.T) {
			got, err := AnalyseNested(leaves[probe])
			if err != nil {
				t.Fatal(err)
			}
			near(t, "repeatability", math.Sqrt(got.Within.Variance), w.Repeatability, 1e-9)
			days, runs := got.Levels[2], got.Levels[1]
			near(t, "days", days.Raw, w.Days, 1e-8)
			near(t, "runs", runs.Raw, w.Runs, 1e-8)
			if days.Clipped != (w.Days < 0) || days.Variance != max(0, days.Raw) {
				t.Errorf("days: variance %v of raw %v, clipped %v", days.Variance, days.Raw, days.Clipped)
			}
		})
	}
}

// With one level of groups of unequal size the components are those of the
// one-way analysis.
func TestNestedIsOneWay(t *testing.T) {
	groups := [][]float64{{1, 2, 3}, {5, 6}, {4, 9, 7, 8}}
	var leaves []Leaf
	for i, g := range groups {
		leaves = append(leaves, Leaf{Path: []string{string(rune('a' + i))}, Values: MomentsOf(g)})
	}
	nested, err := AnalyseNested(leaves)
	if err != nil {
		t.Fatal(err)
	}
	oneWay, err := AnalyseOneWay(groups)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "between", nested.Levels[0].Variance, oneWay.BetweenComponent, 1e-12)
	near(t, "within", nested.Within.Variance, oneWay.MeanSquareWithin, 1e-12)
}

func TestNestedRefuses(t *testing.T) {
	one := MomentsOf([]float64{1, 2})
	for name, leaves := range map[string][]Leaf{
		"nothing":         nil,
		"unequal depth":   {{[]string{"a"}, one}, {[]string{"a", "b"}, one}},
		"same path":       {{[]string{"a"}, one}, {[]string{"a"}, one}},
		"nothing to part": {{[]string{"a"}, one}},
		"no repetition":   {{[]string{"a"}, MomentsOf([]float64{1})}, {[]string{"b"}, MomentsOf([]float64{2})}},
	} {
		if _, err := AnalyseNested(leaves); err == nil {
			t.Errorf("%s was analysed", name)
		}
	}
}
