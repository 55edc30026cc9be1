package statistics

import (
	"math"
	"testing"

	"coilkeep/internal/published"
)

type oneWayCase struct {
	File     string `json:"data_file"`
	Expected struct {
		Between   float64 `json:"ss_between"`
		Within    float64 `json:"ss_within"`
		F, P      float64
		Eta       float64 `json:"eta_squared"`
		Component float64 `json:"between_variance_component_raw"`
	}
}

// One-way layouts, balanced and not: NIST/SEMATECH e-Handbook 7.4.3.3 and
// 1.3.5.4, and data sets of R, as computed by R 4.2.2.
func TestOneWayAgainstR(t *testing.T) {
	var all struct{ Cases map[string]oneWayCase }
	published.JSON(t, "spc/stats/anova_oneway.json", &all)
	for name, file := range map[string][3]string{
		"resistors":   {"spc/stats/anova_resistors.csv", "g", "y"},
		"plantgrowth": {"spc/stats/anova_plantgrowth.csv", "g", "y"},
		"chickwts":    {"spc/stats/anova_chickwts.csv", "g", "y"},
		"gear":        {"spc/charts/xbar_gear.csv", "batch", "diameter"},
	} {
		t.Run(name, func(t *testing.T) {
			want := all.Cases[name].Expected
			got, err := AnalyseOneWay(grouped(t, file[0], file[1], file[2]))
			if err != nil {
				t.Fatal(err)
			}
			near(t, "between", got.Between, want.Between, 1e-9)
			near(t, "within", got.Within, want.Within, 1e-9)
			near(t, "F", got.F, want.F, 1e-9)
			near(t, "p", got.P, want.P, 1e-8)
			near(t, "eta squared", got.EtaSquared, want.Eta, 1e-9)
			near(t, "component", got.BetweenComponent, want.Component, 1e-8)
		})
	}
}

// Two groups of unequal size: F is the square of the pooled t, and Welch's test
// allows for unequal scatter; both as computed by R 4.2.2.
func TestTwoSpools(t *testing.T) {
	var all struct {
		Cases map[string]struct {
			Data []struct {
				G string
				Y float64
			}
			PooledT  float64 `json:"pooled_t"`
			Expected struct {
				F, P  float64
				Welch struct{ F, DF2, P float64 }
			}
		}
	}
	published.JSON(t, "spc/stats/anova_oneway.json", &all)
	want := all.Cases["two_spools"]
	values := make([][]float64, 2)
	for _, d := range want.Data {
		spool := 0
		if d.G == "spoolB" {
			spool = 1
		}
		values[spool] = append(values[spool], d.Y)
	}
	got, err := AnalyseOneWay(values)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "F", got.F, want.Expected.F, 1e-9)
	near(t, "F by t", got.F, want.PooledT*want.PooledT, 1e-9)
	near(t, "p", got.P, want.Expected.P, 1e-8)
	d, err := Compare(MomentsOf(values[0]), MomentsOf(values[1]))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Welch F", math.Pow(d.Value/d.StandardError, 2), want.Expected.Welch.F, 1e-9)
	near(t, "Welch degrees of freedom", d.DegreesOfFreedom, want.Expected.Welch.DF2, 1e-9)
	near(t, "Welch p", d.P, want.Expected.Welch.P, 1e-8)
}

func TestOneWayEdges(t *testing.T) {
	negative, err := AnalyseOneWay([][]float64{{1, 9}, {2, 8}, {3, 7.2}})
	if err != nil || negative.BetweenComponent != 0 || !negative.BetweenComponentClipped {
		t.Errorf("got component %v, clipped %v, %v; want it clipped to 0", negative.BetweenComponent, negative.BetweenComponentClipped, err)
	}
	exact, err := AnalyseOneWay([][]float64{{1, 1}, {2, 2}})
	if err != nil || !math.IsInf(exact.F, 1) || exact.P != 0 {
		t.Errorf("groups without scatter: F %v, p %v, %v; want infinity and 0", exact.F, exact.P, err)
	}
	same, err := AnalyseOneWay([][]float64{{1, 1}, {1, 1}})
	if err != nil || same.F != 0 || same.P != 1 {
		t.Errorf("equal values: F %v, p %v, %v; want 0 and 1", same.F, same.P, err)
	}
	if _, err := AnalyseOneWay([][]float64{{1}, {2}}); err == nil {
		t.Error("single values were compared")
	}
}
