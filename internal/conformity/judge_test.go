package conformity

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"coilkeep/internal/published"
)

type examples struct {
	OneSided struct {
		Pc       []float64
		Z        []float64
		ZPrinted []float64 `json:"z_printed"`
	} `json:"one_sided_z"`
	Zener struct {
		Y         float64 `json:"y_v"`
		U         float64 `json:"u_v"`
		Upper     float64 `json:"upper_limit_v"`
		Pc        float64
		PcPrinted float64 `json:"pc_printed"`
	}
	Oil struct {
		Y, U, Lower, Upper, Pc float64
		PcPrinted              float64 `json:"pc_printed"`
	} `json:"two_sided_oil"`
	Resistors struct {
		Mean      float64 `json:"y0"`
		Deviation float64 `json:"u0"`
		T         [2]float64
		Pc        float64 `json:"pc_process"`
	} `json:"resistor_production"`
	Guard struct {
		OutsideAtLimit float64 `json:"p_at_limit"`
	} `json:"guard_band_rule"`
	Coils []struct{ Y, U, Lower, Upper, Pc float64 } `json:"coil_style"`
}

func load(t *testing.T) examples {
	t.Helper()
	var e examples
	published.JSON(t, "conformity/conformity.json", &e)
	if len(e.Coils) == 0 || len(e.OneSided.Pc) == 0 || e.Zener.U == 0 || e.Oil.U == 0 || e.Resistors.Deviation == 0 ||
		e.Guard.OutsideAtLimit == 0 {
		t.Fatal("conformity.json lacks an example")
	}
	return e
}

func near(got, want, tolerance float64) bool { return math.Abs(got-want) <= tolerance }

// JCGM 106:2012: 7.3 Table 1 and example, 7.4 example, 9.5.4 production.
func TestProbabilityPublished(t *testing.T) {
	t.Parallel()
	e := load(t)
	for i, want := range e.OneSided.Pc {
		if got := probability(0, 1, math.Inf(-1), e.OneSided.Z[i]); !near(got, want, 1e-5) {
			t.Errorf("z = %g: %.6f, want %g", e.OneSided.Z[i], got, want)
		}
		if got := probability(0, 1, -e.OneSided.ZPrinted[i], math.Inf(1)); !near(got, want, 0.005) {
			t.Errorf("z = %g: %.4f, want %g", e.OneSided.ZPrinted[i], got, want)
		}
	}
	for _, c := range []struct {
		name                      string
		y, u, lower, upper        float64
		recomputed, printed, last float64
	}{
		{"breakdown voltage, 7.3", e.Zener.Y, e.Zener.U, math.Inf(-1), e.Zener.Upper, e.Zener.Pc, e.Zener.PcPrinted, 0.005},
		{"viscosity of oil, 7.4", e.Oil.Y, e.Oil.U, e.Oil.Lower, e.Oil.Upper, e.Oil.Pc, e.Oil.PcPrinted, 0.005},
		{"resistor production, 9.5.4", e.Resistors.Mean, e.Resistors.Deviation, e.Resistors.T[0], e.Resistors.T[1], e.Resistors.Pc, 0.90, 0.005},
	} {
		got := probability(c.y, c.u, c.lower, c.upper)
		if !near(got, c.recomputed, 1e-5) || !near(got, c.printed, c.last) {
			t.Errorf("%s: %.6f, want %.6f, printed %g", c.name, got, c.recomputed, c.printed)
		}
	}
}

func TestProbabilityOfCoils(t *testing.T) {
	t.Parallel()
	for _, c := range load(t).Coils {
		got, err := Judge(c.Y, c.U, 2*c.U, Tolerance{LowerOhms: c.Lower, UpperOhms: c.Upper})
		if err != nil {
			t.Fatal(err)
		}
		if !near(got.Probability, c.Pc, 1e-5) {
			t.Errorf("%g ± %g in %g…%g: %.6f, want %.6f", c.Y, c.U, c.Lower, c.Upper, got.Probability, c.Pc)
		}
	}
}

// ISO 14253-1, JCGM 106:2012 8.3: with a guard band of U = 2u a value just
// accepted is outside with probability 1 − Φ(2).
func TestGuardBandRule(t *testing.T) {
	t.Parallel()
	tolerance := Tolerance{LowerOhms: 7800, UpperOhms: 8200, GuardFactor: 1}
	got, err := Judge(8180, 10, 20, tolerance)
	if err != nil {
		t.Fatal(err)
	}
	if want := load(t).Guard.OutsideAtLimit; got.Verdict != In || !near(1-got.Probability, want, 1e-5) {
		t.Errorf("got %s, outside with %.6f; want in, %.6f", got.Verdict, 1-got.Probability, want)
	}
}

func TestVerdict(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name           string
		value, u, U, g float64
		want           Verdict
	}{
		{"middle", 8000, 10, 20, 1, In},
		{"on the lower guarded limit", 7820, 10, 20, 1, In},
		{"just below it", 7819.999, 10, 20, 1, Undecided},
		{"on the upper guarded limit", 8180, 10, 20, 1, In},
		{"just above it", 8180.001, 10, 20, 1, Undecided},
		{"on the lower limit", 7800, 10, 20, 1, Undecided},
		{"on the upper limit", 8200, 10, 20, 1, Undecided},
		{"a guard band below the lower limit", 7780, 10, 20, 1, Undecided},
		{"beyond that", 7779.999, 10, 20, 1, Low},
		{"a guard band above the upper limit", 8220, 10, 20, 1, Undecided},
		{"beyond that, above", 8220.001, 10, 20, 1, High},
		{"half a guard band", 8195, 10, 20, 0.5, Undecided},
		{"half a guard band, in", 8190, 10, 20, 0.5, In},
		{"simple acceptance on the limit", 8200, 10, 20, 0, In},
		{"simple acceptance on the lower limit", 7800, 10, 20, 0, In},
		{"simple acceptance above", 8200.001, 10, 20, 0, High},
		{"simple acceptance below", 7799.999, 10, 20, 0, Low},
		{"guard wider than the tolerance, middle", 8000, 200, 400, 1, Undecided},
		{"guard wider than the tolerance, beyond a limit", 8500, 200, 400, 1, Undecided},
		{"guard wider than the tolerance, far beyond", 8601, 200, 400, 1, High},
		{"guard wider than the tolerance, far below", 7399, 200, 400, 1, Low},
		{"guard of exactly half the tolerance", 8000, 100, 200, 1, In},
		{"no uncertainty, on the limit", 8200, 0, 0, 1, In},
		{"no uncertainty, above", 8201, 0, 0, 1, High},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, err := Judge(c.value, c.u, c.U, Tolerance{LowerOhms: 7800, UpperOhms: 8200, GuardFactor: c.g})
			if err != nil {
				t.Fatal(err)
			}
			if got.Verdict != c.want {
				t.Errorf("got %s, want %s", got.Verdict, c.want)
			}
		})
	}
}

func TestProbabilityWithoutUncertainty(t *testing.T) {
	t.Parallel()
	for value, want := range map[float64]float64{7799: 0, 7800: 1, 8000: 1, 8200: 1, 8201: 0} {
		got, err := Judge(value, 0, 0, Tolerance{LowerOhms: 7800, UpperOhms: 8200, GuardFactor: 1})
		if err != nil {
			t.Fatal(err)
		}
		if got.Probability != want {
			t.Errorf("%g Ω: probability %g, want %g", value, got.Probability, want)
		}
	}
}

func TestJudgeRefuses(t *testing.T) {
	t.Parallel()
	good := Tolerance{LowerOhms: 7800, UpperOhms: 8200, GuardFactor: 1}
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		name        string
		value, u, U float64
		tolerance   Tolerance
		want        string
		dueToLimits bool
	}{
		{"value not a number", nan, 1, 2, good, "not a positive number", false},
		{"value infinite", inf, 1, 2, good, "not a positive number", false},
		{"value zero", 0, 1, 2, good, "not a positive number", false},
		{"value negative", -1, 1, 2, good, "not a positive number", false},
		{"u negative", 8000, -1, 2, good, "the standard uncertainty is -1 Ω", false},
		{"u not a number", 8000, nan, 2, good, "the standard uncertainty is NaN Ω", false},
		{"u infinite", 8000, inf, inf, good, "the standard uncertainty is +Inf Ω", false},
		{"U not a number", 8000, 1, nan, good, "the expanded uncertainty is NaN Ω", false},
		{"U infinite", 8000, 1, inf, good, "the expanded uncertainty is +Inf Ω", false},
		{"u and U changed over", 8000, 20, 10, good, "not below the standard uncertainty 20 Ω", false},
		{"no tolerance", 8000, 1, 2, Tolerance{}, "the lower limit is 0 Ω", true},
		{"lower limit negative", 8000, 1, 2, Tolerance{-1, 8200, 1}, "the lower limit is -1 Ω", true},
		{"upper limit missing", 8000, 1, 2, Tolerance{7800, 0, 1}, "the upper limit is 0 Ω", true},
		{"upper limit infinite", 8000, 1, 2, Tolerance{7800, inf, 1}, "the upper limit is +Inf Ω", true},
		{"lower limit not a number", 8000, 1, 2, Tolerance{nan, 8200, 1}, "the lower limit is NaN Ω", true},
		{"limits changed over", 8000, 1, 2, Tolerance{8200, 7800, 1}, "8200 Ω is not below", true},
		{"limits equal", 8000, 1, 2, Tolerance{8000, 8000, 1}, "8000 Ω is not below", true},
		{"guard factor negative", 8000, 1, 2, Tolerance{7800, 8200, -0.1}, "the guard factor is -0.1", true},
		{"guard factor above 1", 8000, 1, 2, Tolerance{7800, 8200, 1.1}, "the guard factor is 1.1", true},
		{"guard factor not a number", 8000, 1, 2, Tolerance{7800, 8200, nan}, "the guard factor is NaN", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, err := Judge(c.value, c.u, c.U, c.tolerance)
			if err == nil || !strings.Contains(err.Error(), c.want) || got != (Judgement{}) {
				t.Fatalf("got %+v, error %v; want no judgement and an error with %q", got, err, c.want)
			}
			if errors.Is(err, ErrTolerance) != c.dueToLimits {
				t.Errorf("errors.Is(%q, ErrTolerance) is %t", err, !c.dueToLimits)
			}
		})
	}
}

// Whatever is judged: in lies inside the tolerance, high and low lie outside it
// and are at best as likely inside as not, and undecided needs a guard band.
func TestJudgeProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		lower := rapid.Float64Range(100, 10000).Draw(t, "lower")
		tolerance := Tolerance{
			LowerOhms:   lower,
			UpperOhms:   lower + rapid.Float64Range(1, 2000).Draw(t, "width"),
			GuardFactor: rapid.Float64Range(0, 1).Draw(t, "g"),
		}
		u := rapid.Float64Range(0, 500).Draw(t, "u")
		value := rapid.Float64Range(50, 13000).Draw(t, "value")
		got, err := Judge(value, u, 2*u, tolerance)
		if err != nil {
			t.Fatal(err)
		}
		if !(got.Probability >= 0 && got.Probability <= 1) {
			t.Fatalf("probability %g", got.Probability)
		}
		outside := value < tolerance.LowerOhms || value > tolerance.UpperOhms
		switch got.Verdict {
		case In:
			if outside {
				t.Fatalf("in, but outside the tolerance")
			}
		case High, Low:
			if !outside || got.Probability > 0.5 {
				t.Fatalf("%s with probability %g of being in", got.Verdict, got.Probability)
			}
		case Undecided:
			if tolerance.GuardFactor == 0 {
				t.Fatal("undecided without a guard band")
			}
		}
	})
}
