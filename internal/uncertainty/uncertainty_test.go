package uncertainty

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"coilkeep/internal/published"
)

// near reports whether got is within tolerance of want.
func near(got, want, tolerance float64) bool { return math.Abs(got-want) <= tolerance }

func TestCoverageFactorAgainstTableG2(t *testing.T) {
	t.Parallel()
	for _, row := range published.Table(t, "uncertainty/t_table_g2.csv") {
		degreesOfFreedom := 0.0
		if row.Text("nu") != "inf" {
			degreesOfFreedom = row.Number("nu")
		}
		level := row.Number("p_percent") / 100
		got := coverageFactor(level, degreesOfFreedom)
		// Recomputed values carry five decimals.
		if want := row.Number("t_recomputed"); !near(got, want, 6e-6) {
			t.Errorf("ν = %s, %s %%: k = %.6f, want %.5f", row.Text("nu"), row.Text("p_percent"), got, want)
		}
		// Half of the last printed digit; the one exception is named in the
		// README beside the table.
		tolerance := 0.00501
		if row.Text("nu") == "1" && row.Text("p_percent") == "99.73" {
			tolerance = 0.02
		}
		if want := row.Number("t_printed"); !near(got, want, tolerance) {
			t.Errorf("ν = %s, %s %%: k = %.6f, printed %g", row.Text("nu"), row.Text("p_percent"), got, want)
		}
	}
}

func TestCoverageFactorTruncates(t *testing.T) {
	t.Parallel()
	// JCGM 100:2008 G.4.1 note: 18.9987 becomes 18. The last cases are what
	// rounding makes of 9 and of 1.
	for _, c := range []struct{ degreesOfFreedom, whole float64 }{
		{18.9987, 18}, {16.765, 16}, {9.5, 9}, {8.999999999999998, 9}, {0.9999999999999999, 1}, {0.2, 1},
	} {
		if got, want := CoverageFactor(c.degreesOfFreedom), CoverageFactor(c.whole); got != want {
			t.Errorf("k for ν = %v is %v, want that of %v, %v", c.degreesOfFreedom, got, c.whole, want)
		}
	}
}

func TestCoverageFactorMeetsTheNormalQuantile(t *testing.T) {
	t.Parallel()
	atInfinity := CoverageFactor(0)
	if !near(atInfinity, 1.959963985, 1e-9) { // standard normal table, 97.5 %
		t.Errorf("k for infinite ν is %.9f, want 1.959963985", atInfinity)
	}
	if got := CoverageFactor(practicallyInfinite); !near(got, atInfinity, 6e-6) {
		t.Errorf("k for ν = %g is %.9f, too far from %.9f", practicallyInfinite, got, atInfinity)
	}
}

// examples is the part of gum_examples.json used here.
type examples struct {
	Repeat struct {
		Readings   []float64
		Recomputed struct {
			S     float64
			UMean float64 `json:"u_mean"`
		}
		Nu float64
	} `json:"GUM_4.4.3"`
	Relative struct {
		Percent    []float64 `json:"relative_u_pct"`
		Nu         []float64
		Recomputed struct {
			Combined float64 `json:"uc_pct"`
			NuEff    float64 `json:"nu_eff_unrounded"`
		}
		Expanded float64 `json:"U95_pct"`
	} `json:"GUM_G.4.1"`
	Gauge struct {
		Inputs     map[string][]*float64
		Recomputed struct {
			Combined float64 `json:"uc_nm"`
			NuEff    float64 `json:"nu_eff"`
		}
		ContributionsNM map[string]float64 `json:"contributions_nm"`
		T99             float64            `json:"t99_16"`
	} `json:"GUM_H.1"`
	Resistor struct {
		Inputs struct {
			R struct{ Observations []float64 }
		}
		File struct {
			R float64 `json:"R_X"`
			U float64 `json:"u"`
		} `json:"file_full_digits"`
		Expanded float64 `json:"U_ohm"`
	} `json:"EA-4/02_S3"`
}

func load(t *testing.T) examples {
	t.Helper()
	var e examples
	published.JSON(t, "uncertainty/gum_examples.json", &e)
	if len(e.Repeat.Readings) == 0 || len(e.Relative.Nu) == 0 || len(e.Gauge.Inputs) == 0 || len(e.Resistor.Inputs.R.Observations) == 0 {
		t.Fatal("gum_examples.json lacks an example")
	}
	return e
}

// meanAndDeviation returns the mean and sample standard deviation.
func meanAndDeviation(values []float64) (mean, deviation float64) {
	for _, v := range values {
		mean += v / float64(len(values))
	}
	for _, v := range values {
		deviation += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(deviation / float64(len(values)-1))
}

// JCGM 100:2008, 4.4.3 and Table 1: twenty readings of a temperature.
func TestTypeAPublished(t *testing.T) {
	t.Parallel()
	want := load(t).Repeat
	mean, deviation := meanAndDeviation(want.Readings)
	got := Component{Source: "repeatability", Unit: "°C", Value: mean}.TypeA(deviation, len(want.Readings), 0.01)
	if !near(got.StandardUncertainty, want.Recomputed.UMean, 1e-6) {
		t.Errorf("u = %.6f, want %.6f", got.StandardUncertainty, want.Recomputed.UMean)
	}
	if got.DegreesOfFreedom != want.Nu || got.Distribution != "normal" {
		t.Errorf("got %g degrees of freedom, %s; want %g, normal", got.DegreesOfFreedom, got.Distribution, want.Nu)
	}
}

func TestTypeAFloor(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name             string
		deviation        float64
		n                int
		resolution       float64
		want             float64
		degreesOfFreedom float64
		distribution     string
	}{
		{"readings repeat to the digit", 0, 8, 1, 1 / math.Sqrt(12), 0, "rectangular"},
		{"noise below the floor", 0.5, 4, 1, 1 / math.Sqrt(12), 0, "rectangular"},
		{"noise above the floor", 0.6, 4, 1, 0.3, 3, "normal"},
		{"one reading", 0, 1, 10, 10 / math.Sqrt(12), 0, "rectangular"},
		{"unknown resolution", 0.6, 4, 0, 0.3, 3, "normal"},
		{"many readings do not undercut the digit", 0.3, 10000, 0.1, 0.1 / math.Sqrt(12), 0, "rectangular"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got := Component{}.TypeA(c.deviation, c.n, c.resolution)
			if !near(got.StandardUncertainty, c.want, 1e-15) || got.DegreesOfFreedom != c.degreesOfFreedom || got.Distribution != c.distribution {
				t.Errorf("got u = %g, ν = %g, %s; want %g, %g, %s", got.StandardUncertainty, got.DegreesOfFreedom, got.Distribution, c.want,
					c.degreesOfFreedom, c.distribution)
			}
		})
	}
}

// JCGM 100:2008, G.4.1: three relative uncertainties. The Guide prints ν = 19.0
// from a rounded combined uncertainty; unrounded it is 18.9987.
func TestCombineG41(t *testing.T) {
	t.Parallel()
	example := load(t).Relative
	var components []Component
	for i, u := range example.Percent {
		c := Component{Sensitivity: 1}.Normal(u)
		c.DegreesOfFreedom = example.Nu[i]
		components = append(components, c)
	}
	got, err := Combine(components)
	if err != nil {
		t.Fatal(err)
	}
	if want := example.Recomputed.Combined; !near(got.StandardOhms, want, 1e-6) {
		t.Errorf("combined %.6f, want %.6f", got.StandardOhms, want)
	}
	if want := example.Recomputed.NuEff; !near(got.DegreesOfFreedom, want, 1e-4) {
		t.Errorf("ν_eff %.4f, want %.4f", got.DegreesOfFreedom, want)
	}
	if !near(got.ExpandedOhms, example.Expanded, 0.05) {
		t.Errorf("U = %.3f, want %g to the last digit", got.ExpandedOhms, example.Expanded)
	}
	if got.Budget[0].StandardUncertainty != 0.82 || got.Budget[2].StandardUncertainty != 0.25 {
		t.Errorf("budget is not sorted, the largest first: %v", got.Budget)
	}
}

// JCGM 100:2008, H.1: end-gauge calibration. Sensitivities as there: 1, 1,
// −lS·θ̄ = 0 for α_S and for θ, −lS·θ for δα (with θ̄ its estimate), −lS·α_S for
// δθ.
func TestCombineH1(t *testing.T) {
	t.Parallel()
	example := load(t).Gauge
	const toNM = 1e6
	input := func(name string, sensitivity float64) Component {
		in := example.Inputs[name]
		if len(in) != 3 {
			t.Fatalf("no input %q", name)
		}
		c := Component{Source: name, Value: *in[0], Sensitivity: sensitivity * toNM}.Normal(*in[1])
		if in[2] != nil {
			c.DegreesOfFreedom = *in[2]
		}
		return c
	}
	length, alpha := *example.Inputs["lS"][0], *example.Inputs["alphaS"][0]
	theta := *example.Inputs["theta"][0]
	// The Guide rounds u(δθ) to 0.029 °C but goes on with 0.05 °C/√3.
	difference := input("dtheta", -length*alpha)
	exact := difference.Rectangular(0.05)
	if !near(exact.StandardUncertainty, difference.StandardUncertainty, 0.0005) {
		t.Fatalf("u(δθ) is %g in the table, %g here", difference.StandardUncertainty, exact.StandardUncertainty)
	}
	difference.StandardUncertainty = exact.StandardUncertainty
	got, err := Combine([]Component{
		input("lS", 1), input("d", 1), input("alphaS", 0), input("theta", 0),
		input("dalpha", -length*theta), difference,
	})
	if err != nil {
		t.Fatal(err)
	}
	if want := example.Recomputed.Combined; !near(got.StandardOhms, want, 1e-3) {
		t.Errorf("combined %.4f nm, want %.4f", got.StandardOhms, want)
	}
	if want := example.Recomputed.NuEff; !near(got.DegreesOfFreedom, want, 1e-3) {
		t.Errorf("ν_eff %.4f, want %.3f", got.DegreesOfFreedom, want)
	}
	if k := coverageFactor(0.99, got.DegreesOfFreedom); !near(k, example.T99, 0.005) {
		t.Errorf("k at 99 %% is %.4f, want %g", k, example.T99)
	}
	for _, c := range got.Budget {
		if want := example.ContributionsNM[c.Source]; !near(c.ContributionOhms, want, 0.0501) {
			t.Errorf("contribution of %s is %.3f nm, want %g", c.Source, c.ContributionOhms, want)
		}
	}
}

// EA-4/02 supplement S3: a 10 kΩ standard resistor by substitution.
func TestCombineResistor(t *testing.T) {
	t.Parallel()
	example := load(t).Resistor
	const standardOhms, driftOhms = 10000.053, 0.020
	ratio, deviation := meanAndDeviation(example.Inputs.R.Observations)
	got, err := Combine([]Component{
		Component{Source: "standard", Sensitivity: ratio}.Normal(0.005 / 2),
		Component{Source: "drift of the standard", Sensitivity: ratio}.Rectangular(0.010),
		Component{Source: "temperature of the standard", Sensitivity: ratio}.Rectangular(0.00275),
		Component{Source: "temperature of the resistor", Sensitivity: -1}.Rectangular(0.0055),
		// Triangular with a half-width of 1e-6: u is the half-width over √6.
		Component{Source: "leakage", Sensitivity: (standardOhms + driftOhms) * ratio}.Normal(1e-6 / math.Sqrt(6)),
		Component{Source: "ratio", Sensitivity: standardOhms + driftOhms}.TypeA(deviation, 5, 0),
	})
	if err != nil {
		t.Fatal(err)
	}
	if want := example.File.U; !near(got.StandardOhms, want, 1e-9) {
		t.Errorf("u = %.12f Ω, want %.12f", got.StandardOhms, want)
	}
	if value := (standardOhms + driftOhms) * ratio; !near(value, example.File.R, 1e-8) {
		t.Errorf("R = %.10f Ω, want %.10f", value, example.File.R)
	}
	if !near(got.ExpandedOhms, example.Expanded, 0.0008) { // k = 2 there, 1.96 here
		t.Errorf("U = %.5f Ω, want about %g", got.ExpandedOhms, example.Expanded)
	}
}

func TestCombineInfiniteDegreesOfFreedom(t *testing.T) {
	t.Parallel()
	weak := Component{Sensitivity: 1}.Normal(1e-6)
	weak.DegreesOfFreedom = 1
	for _, c := range []struct {
		name       string
		components []Component
	}{
		{"none", nil},
		{"type B only", []Component{Component{Sensitivity: 2}.Rectangular(3)}},
		{"all zero", []Component{Component{Sensitivity: 2}.Rectangular(0), Component{}.TypeA(0, 5, 0)}},
		{"type A of no consequence", []Component{Component{Sensitivity: 1}.Normal(1), weak}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, err := Combine(c.components)
			if err != nil {
				t.Fatal(err)
			}
			if got.DegreesOfFreedom != 0 || !near(got.CoverageFactor, 1.959964, 1e-6) {
				t.Errorf("ν = %g, k = %g; want 0 (infinite) and 1.959964", got.DegreesOfFreedom, got.CoverageFactor)
			}
			if _, err := json.Marshal(got); err != nil {
				t.Errorf("not fit for JSON: %v", err)
			}
		})
	}
}

func TestCombineRefuses(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name      string
		component Component
		want      string
	}{
		{"negative uncertainty", Component{Source: "meter accuracy", Unit: "Ω", Sensitivity: 1}.Rectangular(-1),
			`standard uncertainty of "meter accuracy" is negative`},
		{"not a number", Component{Source: "probe", Sensitivity: math.NaN()}, `sensitivity of "probe" is NaN`},
		{"infinite", Component{Source: "probe", Sensitivity: 1}.Normal(math.Inf(1)), `standard uncertainty of "probe" is +Inf`},
		{"infinite value", Component{Source: "probe", Value: math.Inf(-1)}, `value of "probe" is -Inf`},
		{"half a degree of freedom", Component{Source: "probe", DegreesOfFreedom: 0.5}, `degrees of freedom of "probe" are 0.5`},
		{"overflow", Component{Source: "probe", Sensitivity: 1e200}.Normal(1e200), "not a finite number"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, err := Combine([]Component{{Source: "good", Sensitivity: 1, StandardUncertainty: 1}, c.component})
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %+v, error %v; want an error with %q", got, err, c.want)
			}
		})
	}
}

func TestCombineProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		components := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Component {
			c := Component{Sensitivity: rapid.SampledFrom([]float64{-1e6, -1, -1e-6, 0, 1e-3, 1, 1e6}).Draw(t, "sensitivity")}
			c = c.Normal(rapid.Float64Range(1e-6, 1e6).Draw(t, "u"))
			c.DegreesOfFreedom = float64(rapid.IntRange(0, 50).Draw(t, "ν"))
			return c
		}), 1, 8).Draw(t, "components")
		got, err := Combine(components)
		if err != nil {
			t.Fatal(err)
		}
		shares, largest := 0.0, math.Inf(1)
		for _, c := range got.Budget {
			shares += c.Share
			if c.ContributionOhms > largest {
				t.Fatalf("budget out of order: %v", got.Budget)
			}
			largest = c.ContributionOhms
		}
		if got.StandardOhms > 0 && !near(shares, 1, 1e-9) {
			t.Fatalf("shares add up to %g", shares)
		}
		if got.StandardOhms < got.Budget[0].ContributionOhms*(1-1e-12) {
			t.Fatalf("combined %g is less than its largest contribution %g", got.StandardOhms, got.Budget[0].ContributionOhms)
		}
		if got.CoverageFactor < 1.9599 || got.CoverageFactor > 12.7063 { // Table G.2: ν = ∞ and ν = 1
			t.Fatalf("coverage factor %g", got.CoverageFactor)
		}
	})
}
