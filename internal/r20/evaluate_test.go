package r20_test

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"coilkeep/internal/published"
	"coilkeep/internal/r20"
	"coilkeep/internal/uncertainty"
)

// typical is an ordinary coil at an ordinary bench.
func typical() r20.Inputs {
	return r20.Inputs{
		ResistanceOhms:                    8000,
		Readings:                          8,
		StandardDeviationOhms:             0.4,
		ResolutionOhms:                    0.1,
		DriftOhms:                         0.6,
		MeterPercent:                      0.05,
		MeterOhms:                         0.3,
		CorrectionRatio:                   0,
		LeadOhms:                          0.2,
		LeadHalfWidthOhms:                 0.05,
		TemperatureCelsius:                25,
		ProbeHalfWidthKelvin:              0.3,
		CoilDifferenceHalfWidthKelvin:     0.5,
		AlphaPerKelvin:                    0.00393,
		AlphaStandardUncertaintyPerKelvin: 0.00005,
	}
}

func near(got, want, tolerance float64) bool { return math.Abs(got-want) <= tolerance }

func evaluate(t interface {
	Helper()
	Fatal(...any)
}, in r20.Inputs) r20.Result {
	t.Helper()
	got, err := r20.Evaluate(in)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func component(t interface {
	Helper()
	Fatalf(string, ...any)
}, budget []uncertainty.Component, source string) uncertainty.Component {
	t.Helper()
	for _, c := range budget {
		if c.Source == source {
			return c
		}
	}
	t.Fatalf("no component %q in %v", source, budget)
	return uncertainty.Component{}
}

// Worked examples of copper at other temperatures; see the README beside the
// table. Only those whose coefficient belongs to 20 °C and that end there.
func TestEvaluatePublished(t *testing.T) {
	t.Parallel()
	checked := 0
	for _, row := range published.Table(t, "copper/worked_examples.csv") {
		if row.Number("t2_c") != 20 || row.Number("alpha_reference_c") != 20 {
			continue
		}
		checked++
		got := evaluate(t, r20.Inputs{
			ResistanceOhms:     row.Number("r1_ohm"),
			Readings:           1,
			TemperatureCelsius: row.Number("t1_c"),
			AlphaPerKelvin:     row.Number("alpha_per_k"),
		})
		if want := row.Number("r2_expected_ohm"); !near(got.R20Ohms/want, 1, 1e-6) {
			t.Errorf("%s: R20 = %.4f Ω, want %g", row.Text("id"), got.R20Ohms, want)
		}
	}
	if checked < 4 {
		t.Fatalf("only %d examples checked", checked)
	}
}

// The budget of the typical coil, reckoned by hand. f = 1.01965 at 25 °C, the
// corrected resistance is 7999.8 Ω, R20 = 7845.633 Ω; α·R20/f = 30.2394 Ω/K.
func TestEvaluateBudget(t *testing.T) {
	t.Parallel()
	got := evaluate(t, typical())
	if !near(got.R20Ohms, 7845.633, 0.001) {
		t.Errorf("R20 = %.4f Ω, want 7845.633", got.R20Ohms)
	}
	for _, want := range []struct {
		source             string
		unit, distribution string
		u, sensitivity     float64
		degreesOfFreedom   float64
	}{
		{"coil against probe", "K", "rectangular", 0.288675, -30.2394, 0},
		{"probe accuracy", "K", "rectangular", 0.173205, -30.2394, 0},
		{"meter accuracy", "Ω", "rectangular", 2.482606, 0.980729, 0}, // (4 + 0.3)/√3
		{"temperature coefficient of the wire", "1/K", "normal", 0.00005, -38472.18, 0},
		{"drift during the window", "Ω", "rectangular", 0.173205, 0.980729, 0}, // 0.3/√3
		{"repeatability of the readings", "Ω", "normal", 0.141421, 0.980729, 7},
		{"lead zero", "Ω", "rectangular", 0.0288675, -0.980729, 0},
	} {
		c := component(t, got.Budget, want.source)
		if c.Unit != want.unit || c.Distribution != want.distribution || c.DegreesOfFreedom != want.degreesOfFreedom {
			t.Errorf("%s: %s, %s, ν = %g; want %s, %s, %g", c.Source, c.Unit, c.Distribution, c.DegreesOfFreedom, want.unit, want.distribution,
				want.degreesOfFreedom)
		}
		if !near(c.StandardUncertainty/want.u, 1, 1e-5) || !near(c.Sensitivity/want.sensitivity, 1, 1e-5) {
			t.Errorf("%s: u = %g, sensitivity %g; want %g and %g", c.Source, c.StandardUncertainty, c.Sensitivity, want.u, want.sensitivity)
		}
	}
	// √(8.7294² + 5.2376² + 2.4348² + 1.9236² + 0.1699² + 0.1387² + 0.0283²)
	if !near(got.StandardUncertaintyOhms, 10.6448, 0.001) || !near(got.ExpandedUncertaintyOhms, 20.863, 0.002) {
		t.Errorf("u = %.4f Ω, U = %.4f Ω; want 10.6448 and 20.863", got.StandardUncertaintyOhms, got.ExpandedUncertaintyOhms)
	}
	if len(got.Budget) != 7 || got.Budget[0].Source != "coil against probe" {
		t.Errorf("%d components, the largest %q; want 7, coil against probe", len(got.Budget), got.Budget[0].Source)
	}
}

func TestEvaluateCorrections(t *testing.T) {
	t.Parallel()
	in := typical()
	in.TemperatureCelsius, in.CorrectionRatio, in.LeadOhms = 20, -0.001, 0.5
	// 8000·0.999 − 0.5; the leads were measured with the same meter as they are.
	if got := evaluate(t, in).R20Ohms; !near(got, 7991.5, 1e-9) {
		t.Errorf("R20 = %g Ω, want 7991.5", got)
	}
	in.LeadOhms = -0.5 // a meter that shows less than nothing with the clips joined
	if got := evaluate(t, in).R20Ohms; !near(got, 7992.5, 1e-9) {
		t.Errorf("R20 = %g Ω, want 7992.5", got)
	}
}

func TestEvaluateTypedValue(t *testing.T) {
	t.Parallel()
	in := typical()
	in.Readings, in.StandardDeviationOhms, in.DriftOhms, in.ResolutionOhms = 1, 0, 0, 10
	got := evaluate(t, in)
	c := component(t, got.Budget, "repeatability of the readings")
	if want := 10 / math.Sqrt(12); !near(c.StandardUncertainty, want, 1e-12) || c.DegreesOfFreedom != 0 {
		t.Errorf("u = %g, ν = %g; want %g from the resolution alone, and infinite (0)", c.StandardUncertainty, c.DegreesOfFreedom, want)
	}
	if got.EffectiveDegreesOfFreedom != 0 || !near(got.CoverageFactor, 1.959964, 1e-6) {
		t.Errorf("ν = %g, k = %g; want 0 and 1.959964", got.EffectiveDegreesOfFreedom, got.CoverageFactor)
	}
}

func TestDriftHasNoSign(t *testing.T) {
	t.Parallel()
	rising, falling := typical(), typical()
	falling.DriftOhms = -rising.DriftOhms
	if up, down := evaluate(t, rising), evaluate(t, falling); up.ExpandedUncertaintyOhms != down.ExpandedUncertaintyOhms {
		t.Errorf("U = %g rising, %g falling", up.ExpandedUncertaintyOhms, down.ExpandedUncertaintyOhms)
	}
}

// What was measured at 25 °C is known at 25 °C without α; predicting from the
// R20 and its uncertainty as if they were independent of it would not see that.
func TestAtWhereItWasMeasured(t *testing.T) {
	t.Parallel()
	in := typical()
	got, err := r20.At(in, 25)
	if err != nil {
		t.Fatal(err)
	}
	if !near(got.ResistanceOhms, 7999.8, 1e-9) || got.TemperatureCelsius != 25 {
		t.Errorf("%.6f Ω at %g °C, want 7999.8 at 25", got.ResistanceOhms, got.TemperatureCelsius)
	}
	if c := component(t, got.Budget, "temperature coefficient of the wire"); c.ContributionOhms != 0 {
		t.Errorf("α contributes %g Ω, want 0", c.ContributionOhms)
	}
}

func TestAtFollowsCopper(t *testing.T) {
	t.Parallel()
	in := typical()
	at20, err := r20.At(in, 20)
	if err != nil {
		t.Fatal(err)
	}
	result := evaluate(t, in)
	if at20.ResistanceOhms != result.R20Ohms || at20.ExpandedUncertaintyOhms != result.ExpandedUncertaintyOhms {
		t.Errorf("at 20 °C %g ± %g, R20 %g ± %g", at20.ResistanceOhms, at20.ExpandedUncertaintyOhms, result.R20Ohms,
			result.ExpandedUncertaintyOhms)
	}
	at35, err := r20.At(in, 35)
	if err != nil {
		t.Fatal(err)
	}
	if want := result.R20Ohms * (1 + 0.00393*15); !near(at35.ResistanceOhms, want, 1e-9) {
		t.Errorf("at 35 °C %.6f Ω, want %.6f", at35.ResistanceOhms, want)
	}
	// 10 K from where it was measured, on the other side than 20 °C: twice the
	// part of 20 °C, over f twice: 7999.8·10/1.01965².
	if c := component(t, at35.Budget, "temperature coefficient of the wire"); !near(c.Sensitivity, 76944.4, 0.5) {
		t.Errorf("sensitivity to α is %.2f, want 76944.4", c.Sensitivity)
	}
}

func TestResultIsJSON(t *testing.T) {
	t.Parallel()
	var in r20.Inputs // nothing known but a value: no uncertainty at all
	in.ResistanceOhms, in.Readings, in.TemperatureCelsius, in.AlphaPerKelvin = 8000, 1, 21, 0.00393
	if _, err := json.Marshal(evaluate(t, in)); err != nil {
		t.Error(err)
	}
}

func TestEvaluateRefuses(t *testing.T) {
	t.Parallel()
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		name  string
		spoil func(*r20.Inputs)
		field string
		want  string
	}{
		{"no resistance", func(in *r20.Inputs) { in.ResistanceOhms = 0 }, "resistance_ohms", "is 0; it must be a number above 0, up to 1e+12"},
		{"negative resistance", func(in *r20.Inputs) { in.ResistanceOhms = -8000 }, "resistance_ohms", ""},
		{"resistance not a number", func(in *r20.Inputs) { in.ResistanceOhms = nan }, "resistance_ohms", ""},
		{"overload mark", func(in *r20.Inputs) { in.ResistanceOhms = 9.9e37 }, "resistance_ohms", ""},
		{"no readings", func(in *r20.Inputs) { in.Readings = 0 }, "readings", "is 0; it must be a number from 1 to 2.147483647e+09"},
		{"negative deviation", func(in *r20.Inputs) { in.StandardDeviationOhms = -1 }, "standard_deviation_ohms", ""},
		{"deviation not a number", func(in *r20.Inputs) { in.StandardDeviationOhms = nan }, "standard_deviation_ohms", ""},
		{"deviation of one reading", func(in *r20.Inputs) { in.Readings = 1 }, "standard_deviation_ohms",
			"is 0.4, but a single reading has none: it must be 0"},
		{"negative resolution", func(in *r20.Inputs) { in.ResolutionOhms = -1 }, "resolution_ohms", ""},
		{"infinite drift", func(in *r20.Inputs) { in.DriftOhms = -inf }, "drift_ohms", ""},
		{"negative meter limit", func(in *r20.Inputs) { in.MeterPercent = -0.05 }, "meter_percent", ""},
		{"absurd meter limit", func(in *r20.Inputs) { in.MeterPercent = 60 }, "meter_percent", ""},
		{"negative meter ohms", func(in *r20.Inputs) { in.MeterOhms = -0.1 }, "meter_ohms", ""},
		{"correction in per cent", func(in *r20.Inputs) { in.CorrectionRatio = 0.5 }, "correction_ratio",
			"is 0.5; it must be a number from -0.1 to 0.1"},
		{"leads not a number", func(in *r20.Inputs) { in.LeadOhms = nan }, "lead_ohms", ""},
		{"leads more than the whole", func(in *r20.Inputs) { in.LeadOhms = 8000 }, "lead_ohms",
			"is 8000, which leaves 0 Ω of the measured 8000 Ω: the leads must be less than the whole"},
		{"negative lead half-width", func(in *r20.Inputs) { in.LeadHalfWidthOhms = -1 }, "lead_half_width_ohms", ""},
		{"temperature not a number", func(in *r20.Inputs) { in.TemperatureCelsius = nan }, "temperature_celsius", ""},
		{"too cold", func(in *r20.Inputs) { in.TemperatureCelsius = -50.5 }, "temperature_celsius",
			"is -50.5; copper is computed from -50 to 150 °C"},
		{"too hot", func(in *r20.Inputs) { in.TemperatureCelsius = 151 }, "temperature_celsius", ""},
		{"negative probe limit", func(in *r20.Inputs) { in.ProbeHalfWidthKelvin = -0.3 }, "probe_half_width_kelvin", ""},
		{"infinite coil difference", func(in *r20.Inputs) { in.CoilDifferenceHalfWidthKelvin = inf }, "coil_difference_half_width_kelvin", ""},
		{"no coefficient", func(in *r20.Inputs) { in.AlphaPerKelvin = 0 }, "alpha_per_kelvin", ""},
		{"coefficient in per cent", func(in *r20.Inputs) { in.AlphaPerKelvin = 0.393 }, "alpha_per_kelvin", ""},
		{"coefficient not a number", func(in *r20.Inputs) { in.AlphaPerKelvin = nan }, "alpha_per_kelvin", ""},
		{"negative u(α)", func(in *r20.Inputs) { in.AlphaStandardUncertaintyPerKelvin = -1e-5 }, "alpha_standard_uncertainty_per_kelvin", ""},
		{"told without k", func(in *r20.Inputs) { *in = told(); in.ToldCoverageFactor = 0 }, "told_coverage_factor",
			"is 0; it must be a number from 1.95 to 12.75"},
		{"k without told", func(in *r20.Inputs) { *in = told(); in.ToldExpandedUncertaintyOhms = 0 }, "told_expanded_uncertainty_ohms", ""},
		{"told at one sigma", func(in *r20.Inputs) { *in = told(); in.ToldCoverageFactor = 1 }, "told_coverage_factor", ""},
		{"told besides the meter's", func(in *r20.Inputs) { *in = told(); in.MeterOhms = 1 }, "meter_ohms",
			"is 1, but the uncertainty was told as a whole: it must be 0"},
		{"u(α) as large as α", func(in *r20.Inputs) { in.AlphaStandardUncertaintyPerKelvin = 0.004 }, "alpha_standard_uncertainty_per_kelvin",
			""},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			in := typical()
			c.spoil(&in)
			got, err := r20.Evaluate(in)
			var inputError *r20.InputError
			if !errors.As(err, &inputError) {
				t.Fatalf("got %+v, error %v; want an InputError", got, err)
			}
			if inputError.Field != c.field || (c.want != "" && inputError.Problem != c.want) {
				t.Errorf("got field %q, problem %q; want %q, %q", inputError.Field, inputError.Problem, c.field, c.want)
			}
			if got.R20Ohms != 0 || got.Budget != nil {
				t.Errorf("a result came with the error: %+v", got)
			}
		})
	}
}

func TestAtRefusesItsReference(t *testing.T) {
	t.Parallel()
	for _, celsius := range []float64{-51, 200, math.NaN(), math.Inf(-1)} {
		_, err := r20.At(typical(), celsius)
		var inputError *r20.InputError
		if !errors.As(err, &inputError) || inputError.Field != "reference_celsius" {
			t.Errorf("%g °C: error %v, want an InputError of reference_celsius", celsius, err)
		}
	}
}

// drawInputs draws any inputs a bench may have.
func drawInputs(t *rapid.T) r20.Inputs {
	number := func(name string, least, greatest float64) float64 {
		return rapid.Float64Range(least, greatest).Draw(t, name)
	}
	in := r20.Inputs{
		ResistanceOhms:                    number("resistance", 100, 200000),
		Readings:                          rapid.IntRange(1, 50).Draw(t, "readings"),
		ResolutionOhms:                    number("resolution", 0, 10),
		DriftOhms:                         number("drift", -10, 10),
		MeterPercent:                      number("meter percent", 0, 2),
		MeterOhms:                         number("meter ohms", 0, 5),
		CorrectionRatio:                   number("correction", -0.01, 0.01),
		LeadOhms:                          number("leads", -1, 5),
		LeadHalfWidthOhms:                 number("lead half-width", 0, 1),
		TemperatureCelsius:                number("temperature", -40, 140),
		ProbeHalfWidthKelvin:              number("probe", 0, 2),
		CoilDifferenceHalfWidthKelvin:     number("coil difference", 0, 5),
		AlphaPerKelvin:                    number("α", 0.0036, 0.0041),
		AlphaStandardUncertaintyPerKelvin: number("u(α)", 0, 0.0001),
	}
	if in.Readings > 1 {
		in.StandardDeviationOhms = number("deviation", 0, 5)
	}
	return in
}

func TestSensitivitiesAreDerivatives(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawInputs(t)
		reference := rapid.Float64Range(-40, 140).Draw(t, "reference")
		got, err := r20.At(in, reference)
		if err != nil {
			t.Fatal(err)
		}
		for source, step := range map[string]struct {
			size float64
			move func(*r20.Inputs, float64)
		}{
			"repeatability of the readings":       {in.ResistanceOhms * 1e-4, func(in *r20.Inputs, by float64) { in.ResistanceOhms += by }},
			"meter accuracy":                      {in.ResistanceOhms * 1e-4, func(in *r20.Inputs, by float64) { in.ResistanceOhms += by }},
			"drift during the window":             {in.ResistanceOhms * 1e-4, func(in *r20.Inputs, by float64) { in.ResistanceOhms += by }},
			"lead zero":                           {in.ResistanceOhms * 1e-4, func(in *r20.Inputs, by float64) { in.LeadOhms += by }},
			"probe accuracy":                      {0.01, func(in *r20.Inputs, by float64) { in.TemperatureCelsius += by }},
			"coil against probe":                  {0.01, func(in *r20.Inputs, by float64) { in.TemperatureCelsius += by }},
			"temperature coefficient of the wire": {1e-6, func(in *r20.Inputs, by float64) { in.AlphaPerKelvin += by }},
		} {
			value := func(by float64) float64 {
				moved := in
				step.move(&moved, by)
				p, err := r20.At(moved, reference)
				if err != nil {
					t.Fatal(err)
				}
				return p.ResistanceOhms
			}
			derivative := (value(step.size) - value(-step.size)) / (2 * step.size)
			c := component(t, got.Budget, source)
			// Central differences: relative 1e-6, and what rounding of the
			// resistance leaves of a difference.
			if tolerance := 1e-6*math.Abs(derivative) + 1e-13*in.ResistanceOhms/step.size; !near(c.Sensitivity, derivative, tolerance) {
				t.Fatalf("%s: sensitivity %g, derivative %g", source, c.Sensitivity, derivative)
			}
		}
	})
}

// The distribution of R20 by drawing its inputs as JCGM 101:2008 has it (6.4:
// rectangular, normal, and for a mean of n readings Student's t with n − 1
// degrees of freedom), against the law of propagation: the standard uncertainty
// agrees and U covers some 95 %. Where one rectangle dominates, 1.96 u covers
// all of it: too much is in order, too little is not.
func TestMonteCarlo(t *testing.T) {
	t.Parallel()
	balanced := typical()
	balanced.StandardDeviationOhms, balanced.Readings = 10, 10
	balanced.MeterPercent = 0.15
	noisy := typical()
	noisy.StandardDeviationOhms, noisy.Readings = 60, 5
	far := typical()
	far.TemperatureCelsius, far.CoilDifferenceHalfWidthKelvin = -30, 0.2
	for _, c := range []struct {
		name            string
		in              r20.Inputs
		least, greatest float64
	}{
		{"balanced", balanced, 0.945, 0.985},
		{"noise dominates", noisy, 0.94, 0.965},
		{"coil difference dominates", typical(), 0.945, 0.995},
		{"α dominates, far from 20 °C", far, 0.945, 0.96},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			const trials = 100_000
			random := rand.New(rand.NewPCG(20, 1))
			result := evaluate(t, c.in)
			sum, squares, covered := 0.0, 0.0, 0
			for range trials {
				off := draw(random, c.in) - result.R20Ohms
				sum += off
				squares += off * off
				if math.Abs(off) <= result.ExpandedUncertaintyOhms {
					covered++
				}
			}
			coverage := float64(covered) / trials
			t.Logf("U covers %.4f", coverage)
			if coverage < c.least || coverage > c.greatest {
				t.Errorf("U covers %.4f, want %g to %g", coverage, c.least, c.greatest)
			}
			// Student's t of ν degrees of freedom is √(ν/(ν−2)) wider than the
			// standard uncertainty the Guide gives a mean.
			repeatability := component(t, result.Budget, "repeatability of the readings")
			nu := repeatability.DegreesOfFreedom
			want := math.Sqrt(result.StandardUncertaintyOhms*result.StandardUncertaintyOhms +
				repeatability.ContributionOhms*repeatability.ContributionOhms*(nu/(nu-2)-1))
			if got := math.Sqrt(squares/trials - sum/trials*sum/trials); !near(got/want, 1, 0.02) {
				t.Errorf("drawn results scatter by %.4f Ω, want %.4f", got, want)
			}
			if bias := sum / trials; math.Abs(bias) > 0.02*result.StandardUncertaintyOhms {
				t.Errorf("drawn results lie %.4f Ω off, u = %.4f", bias, result.StandardUncertaintyOhms)
			}
		})
	}
}

// draw returns an R20 that inputs drawn about in would have, by the model
// written out once more.
func draw(random *rand.Rand, in r20.Inputs) float64 {
	within := func(halfWidth float64) float64 { return halfWidth * (2*random.Float64() - 1) }
	chiSquared := 0.0
	for range in.Readings - 1 {
		z := random.NormFloat64()
		chiSquared += z * z
	}
	studentT := random.NormFloat64() / math.Sqrt(chiSquared/float64(in.Readings-1))

	resistance := in.ResistanceOhms + studentT*in.StandardDeviationOhms/math.Sqrt(float64(in.Readings)) +
		within(in.ResistanceOhms*in.MeterPercent/100+in.MeterOhms) + within(in.DriftOhms/2)
	leads := in.LeadOhms + within(in.LeadHalfWidthOhms)
	celsius := in.TemperatureCelsius + within(in.ProbeHalfWidthKelvin) + within(in.CoilDifferenceHalfWidthKelvin)
	alpha := in.AlphaPerKelvin + in.AlphaStandardUncertaintyPerKelvin*random.NormFloat64()
	return (resistance*(1+in.CorrectionRatio) - leads) / (1 + alpha*(celsius-20))
}

func FuzzEvaluate(f *testing.F) {
	f.Add(8000.0, 8, 0.4, 0.1, 0.6, 0.05, 0.3, 0.0, 0.2, 0.05, 25.0, 0.3, 0.5, 0.00393, 0.00005)
	f.Add(9.9e37, 1, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 20.0, 0.0, 0.0, 0.00393, 0.0)
	f.Add(math.NaN(), -1, math.Inf(1), -0.1, 1e300, 100.0, -1.0, -1.0, 9000.0, 1e-300, 150.0, 101.0, 0.0, 0.0042, 0.0)
	f.Fuzz(func(t *testing.T, resistance float64, readings int, deviation, resolution, drift, percent, ohms, correction, lead, leadHalf,
		celsius, probe, difference, alpha, alphaU float64) {
		got, err := r20.Evaluate(r20.Inputs{
			ResistanceOhms: resistance, Readings: readings, StandardDeviationOhms: deviation, ResolutionOhms: resolution, DriftOhms: drift,
			MeterPercent: percent, MeterOhms: ohms, CorrectionRatio: correction, LeadOhms: lead, LeadHalfWidthOhms: leadHalf,
			TemperatureCelsius: celsius, ProbeHalfWidthKelvin: probe, CoilDifferenceHalfWidthKelvin: difference,
			AlphaPerKelvin: alpha, AlphaStandardUncertaintyPerKelvin: alphaU,
		})
		if err != nil {
			if got.R20Ohms != 0 || got.Budget != nil {
				t.Fatalf("a result came with the error %v", err)
			}
			return
		}
		if !(got.R20Ohms > 0) || math.IsInf(got.R20Ohms, 0) || !(got.ExpandedUncertaintyOhms >= got.StandardUncertaintyOhms) ||
			math.IsInf(got.ExpandedUncertaintyOhms, 0) {
			t.Fatalf("result %+v", got)
		}
		if _, err := json.Marshal(got); err != nil {
			t.Fatal(err)
		}
	})
}

// A capture evaluates its window at every reading.
func BenchmarkEvaluate(b *testing.B) {
	in := typical()
	for b.Loop() {
		if _, err := r20.Evaluate(in); err != nil {
			b.Fatal(err)
		}
	}
}

// told is a coil of which only the whole uncertainty is known.
func told() r20.Inputs {
	return r20.Inputs{ResistanceOhms: 8157.2, Readings: 1, ResolutionOhms: 0.1, TemperatureCelsius: 25,
		AlphaPerKelvin: 0.00393, AlphaStandardUncertaintyPerKelvin: 0.00002,
		ToldExpandedUncertaintyOhms: 12.3, ToldCoverageFactor: 2.1}
}

// JCGM 100:2008, 4.3.3: the standard uncertainty of a quoted U is U over its k.
func TestEvaluateTold(t *testing.T) {
	t.Parallel()
	got := evaluate(t, told())
	// 8157.2/(1 + 0.00393·5) = 8000, by hand.
	if !near(got.R20Ohms, 8000, 1e-9) || got.ExpandedUncertaintyOhms != 12.3 || got.CoverageFactor != 2.1 ||
		!near(got.StandardUncertaintyOhms, 12.3/2.1, 1e-12) {
		t.Errorf("got %+v, want 8000 Ω ± 12.3 Ω, k = 2.1", got)
	}
	if len(got.Budget) != 1 || got.Budget[0].Source != r20.ToldSource || got.Budget[0].Share != 1 {
		t.Errorf("budget %+v, want one component as told", got.Budget)
	}
	at30, err := r20.At(told(), 30)
	if err != nil {
		t.Fatal(err)
	}
	// F = 1.0393: u = √((1.0393·12.3/2.1)² + (8000·10·0.00002)²), by hand.
	want := 2.1 * math.Hypot(1.0393*12.3/2.1, 1.6)
	if !near(at30.ResistanceOhms, 8314.4, 1e-9) || !near(at30.ExpandedUncertaintyOhms, want, 1e-9) || at30.CoverageFactor != 2.1 {
		t.Errorf("at 30 °C %+v, want 8314.4 Ω ± %g Ω", at30, want)
	}
}
