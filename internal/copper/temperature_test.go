package copper_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"coilkeep/internal/copper"
	"coilkeep/internal/published"
)

func near(got, want, tolerance float64) bool { return math.Abs(got-want) <= tolerance }

func relative(got, want float64) float64 { return math.Abs(got/want - 1) }

// must unwraps a result that the test expects to have no error.
func must(t interface {
	Helper()
	Fatal(...any)
}) func(float64, error) float64 {
	return func(v float64, err error) float64 {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// IEC 60028; NBS Handbook 100 (1966), table 2: the coefficient that belongs to a
// reference temperature is the relative change over one kelvin from there.
func TestAlphaByReference(t *testing.T) {
	t.Parallel()
	for _, row := range published.Table(t, "copper/alpha_by_reference.csv") {
		percent, reference := row.Number("conductivity_pct_iacs"), row.Number("reference_temp_c")
		alpha20, err := copper.Alpha20Of(percent / 100)
		if err != nil {
			t.Fatal(err)
		}
		got := must(t)(alpha20.Convert(1, reference, reference+1)) - 1
		if want := row.Number("alpha_exact_per_k"); !near(got, want, 1e-8) {
			t.Errorf("%g %% at %g °C: α = %.8f, want %.8f", percent, reference, got, want)
		}
		if row.Text("alpha_printed_per_k") != "" {
			if want := row.Number("alpha_printed_per_k"); !near(got, want, 5.01e-6) {
				t.Errorf("%g %% at %g °C: α = %.8f, printed %.5f", percent, reference, got, want)
			}
		}
	}
}

// Conductivities of annealed wire as a handbook lists them (see the README
// beside the table), and the coefficients they imply.
func TestAlphaByConductivity(t *testing.T) {
	t.Parallel()
	for _, row := range published.Table(t, "copper/conductivity_by_diameter.csv") {
		got, err := copper.Alpha20Of(row.Number("annealed"))
		if err != nil {
			t.Fatal(err)
		}
		if want := row.Number("alpha20_annealed"); !near(float64(got), want, 0.6e-6) {
			t.Errorf("%s: α20 = %.7f, want %.6f", row.Text("annealed"), float64(got), want)
		}
	}
}

// R20/Rt by IEC 60028. The 234.5 rule and the simplified IEC 60228 factors are
// printed in many places and are not the same: they must stay visibly apart.
func TestFactorTo20(t *testing.T) {
	t.Parallel()
	for _, row := range published.Table(t, "copper/factor_to_20c.csv") {
		celsius := row.Number("temp_c")
		got := 1 / must(t)(copper.Standard.Factor(celsius))
		if want := row.Number("factor_to_20_alpha_0_00393"); !near(got, want, 1e-9) {
			t.Errorf("%g °C: %.10f, want %.9f", celsius, got, want)
		}
		ppm := (row.Number("factor_to_20_rule_234_5")/got - 1) * 1e6
		if want := row.Number("rule_minus_alpha_ppm"); !near(ppm, want, 0.11) {
			t.Errorf("%g °C: the 234.5 rule is %.2f ppm away, want %.1f", celsius, ppm, want)
		}
	}
}

func TestDividingIsNotMultiplying(t *testing.T) {
	t.Parallel()
	// At 30 °C multiplying by 1 − α·Δt would be 0.154 % off.
	got := must(t)(copper.Standard.R20(8000, 30))
	wrong := 8000 * (1 - 0.00393*10)
	if off := relative(wrong, got); !near(off, 0.00154, 0.00001) {
		t.Errorf("R20 = %.3f is %.5f from the product %.3f, want 0.00154", got, off, wrong)
	}
}

func TestWorkedExamples(t *testing.T) {
	t.Parallel()
	for _, row := range published.Table(t, "copper/worked_examples.csv") {
		t.Run(row.Text("id"), func(t *testing.T) {
			t.Parallel()
			alpha, reference := row.Number("alpha_per_k"), row.Number("alpha_reference_c")
			alpha20 := copper.Alpha20(1 / (1/alpha + 20 - reference))
			r1, t1, t2 := row.Number("r1_ohm"), row.Number("t1_c"), row.Number("t2_c")
			got := must(t)(alpha20.Convert(r1, t1, t2))
			want := row.Number("r2_expected_ohm")
			if relative(got, want) > 1e-5 {
				t.Errorf("%g Ω at %g °C is %.6f Ω at %g °C, want %g", r1, t1, got, t2, want)
			}
		})
	}
}

// Common practice, no source: a coil of 6.69 kΩ at room temperature reads
// 6.28 kΩ after some ten minutes on a cold air outlet. It is the same coil, 15
// to 16 kelvin colder.
func TestCoilOnAColdAirOutlet(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		room  float64
		alpha copper.Alpha20
	}{
		{21, copper.Standard}, {21.5, copper.Standard}, {22, copper.Standard},
		{21, 0.0038514}, // 98 % conductivity
	} {
		less, more := must(t)(c.alpha.Convert(6690, c.room, c.room-15)), must(t)(c.alpha.Convert(6690, c.room, c.room-16))
		if less < 6280 || more > 6280 {
			t.Errorf("at %g °C, α %g: %.1f Ω when 15 K colder and %.1f Ω when 16 K, want 6280 Ω between", c.room, float64(c.alpha), less, more)
		}
	}
}

func TestTemperatureRefuses(t *testing.T) {
	t.Parallel()
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		name string
		do   func() (float64, error)
		want string
	}{
		{"too cold", func() (float64, error) { return copper.Standard.R20(8000, -50.1) }, "-50.1 °C"},
		{"too hot", func() (float64, error) { return copper.Standard.R20(8000, 150.1) }, "150.1 °C"},
		{"no temperature", func() (float64, error) { return copper.Standard.Factor(nan) }, "NaN °C"},
		{"target too hot", func() (float64, error) { return copper.Standard.Convert(8000, 20, 200) }, "200 °C"},
		{"no resistance", func() (float64, error) { return copper.Standard.R20(0, 20) }, "0 Ω"},
		{"negative resistance", func() (float64, error) { return copper.Standard.R20(-1, 20) }, "-1 Ω"},
		{"open leads", func() (float64, error) { return copper.Standard.R20(inf, 20) }, "+Inf Ω"},
		{"per cent for a ratio", func() (float64, error) { return copper.Alpha20(0.393).R20(8000, 20) }, "0.393 per kelvin"},
		{"no coefficient", func() (float64, error) { return copper.Alpha20(nan).Factor(20) }, "NaN per kelvin"},
		{"zero coefficient", func() (float64, error) { return copper.Alpha20(0).Factor(20) }, "0 per kelvin"},
		{"conductivity in per cent", func() (float64, error) { a, err := copper.Alpha20Of(98); return float64(a), err }, "conductivity 98"},
		{"conductivity of brass", func() (float64, error) { a, err := copper.Alpha20Of(0.28); return float64(a), err }, "conductivity 0.28"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, err := c.do()
			if !errors.Is(err, copper.ErrRange) || !strings.Contains(err.Error(), c.want) || got != 0 {
				t.Errorf("got %g, error %v; want 0 and an ErrRange with %q", got, err, c.want)
			}
		})
	}
}

func TestConvertProperties(t *testing.T) {
	t.Parallel()
	celsius := rapid.Float64Range(copper.MinCelsius, copper.MaxCelsius)
	rapid.Check(t, func(t *rapid.T) {
		alpha := copper.Alpha20(rapid.Float64Range(0.0035, 0.0042).Draw(t, "α"))
		ohms := rapid.Float64Range(1, 1e6).Draw(t, "ohms")
		from, to := celsius.Draw(t, "from"), celsius.Draw(t, "to")
		there := must(t)(alpha.Convert(ohms, from, to))
		if back := must(t)(alpha.Convert(there, to, from)); relative(back, ohms) > 1e-12 {
			t.Fatalf("%g Ω there and back is %g Ω", ohms, back)
		}
		// Along the coefficient at the starting temperature the line is the same.
		atFrom := 1 / (1/float64(alpha) + from - copper.ReferenceCelsius)
		if other := ohms * (1 + atFrom*(to-from)); relative(other, there) > 1e-12 {
			t.Fatalf("by α20 %g Ω, by α at %g °C %g Ω", there, from, other)
		}
	})
}
