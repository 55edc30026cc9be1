package thermo_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"coilkeep/internal/published"
	"coilkeep/internal/thermo"
)

func near(got, want, tolerance float64) bool { return math.Abs(got-want) <= tolerance }

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

// IEC 60751 tables of a Pt100, −50 to 100 °C.
func TestPlatinumTable(t *testing.T) {
	t.Parallel()
	for _, row := range published.Table(t, "thermo/pt100_table.csv") {
		celsius := row.Number("temp_c")
		got := must(t)(thermo.Pt100.Ohms(celsius))
		if want := row.Number("r_cvd_ohm"); !near(got, want, 1e-6) {
			t.Errorf("%g °C: %.7f Ω, want %.6f", celsius, got, want)
		}
		if row.Text("r_printed_ohm") != "" {
			if want := row.Number("r_printed_ohm"); !near(got, want, 0.00501) {
				t.Errorf("%g °C: %.4f Ω, printed %.2f", celsius, got, want)
			}
		}
		if back := must(t)(thermo.Pt100.Celsius(got)); !near(back, celsius, 1e-9) {
			t.Errorf("%g °C there and back is %.12g", celsius, back)
		}
		if ten := must(t)(thermo.Pt1000.Ohms(celsius)); !near(ten, 10*got, 1e-9) {
			t.Errorf("%g °C: Pt1000 %.6f Ω, Pt100 %.6f", celsius, ten, got)
		}
	}
}

func TestPlatinumInverse(t *testing.T) {
	t.Parallel()
	for _, row := range published.Table(t, "thermo/pt100_inverse.csv") {
		ohms, want := row.Number("r_ohm"), row.Number("temp_c")
		if got := must(t)(thermo.Pt100.Celsius(ohms)); !near(got, want, 6e-6) {
			t.Errorf("%g Ω: %.6f °C, want %.5f", ohms, got, want)
		}
		if got := must(t)(thermo.Pt1000.Celsius(10 * ohms)); !near(got, want, 6e-6) {
			t.Errorf("Pt1000 of %g Ω: %.6f °C, want %.5f", 10*ohms, got, want)
		}
	}
}

// The curve of IEC 751:1983 still circulates: its resistances must come out as
// far off as the table says, which at 100 °C and above shows in the second decimal.
func TestPlatinumIsNotTheOldCurve(t *testing.T) {
	t.Parallel()
	for _, row := range published.Table(t, "thermo/pt100_old_curve_trap.csv") {
		celsius := row.Number("temp_c")
		if got, want := must(t)(thermo.Pt100.Ohms(celsius)), row.Number("r_iec60751_ohm"); !near(got, want, 0.00006) {
			t.Errorf("%g °C: %.5f Ω, want %.4f", celsius, got, want)
		}
		off := must(t)(thermo.Pt100.Celsius(row.Number("r_printed_ohm"))) - celsius
		if want := row.Number("error_c_if_mixed"); !near(off, want, 0.0006) {
			t.Errorf("%g °C: the old table is %.4f K off, want %.3f", celsius, off, want)
		}
	}
}

// The tolerances of IEC 60751:2008, table 3, in ohms and in kelvin: how steep the
// curve is.
func TestSlope(t *testing.T) {
	t.Parallel()
	for _, row := range published.Table(t, "thermo/pt100_tolerance.csv") {
		celsius, kelvin := row.Number("temp_c"), row.Number("tolerance_c")
		ohms := must(t)(thermo.Pt100.Ohms(celsius+kelvin)) - must(t)(thermo.Pt100.Ohms(celsius-kelvin))
		if want := row.Number("tolerance_ohm_pt100"); !near(ohms/2, want, 0.0001) {
			t.Errorf("%g K at %g °C: %.5f Ω, want %g", kelvin, celsius, ohms/2, want)
		}
	}
}

func TestPlatinumRefuses(t *testing.T) {
	t.Parallel()
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		name string
		do   func() (float64, error)
		want string
	}{
		{"shorted", func() (float64, error) { return thermo.Pt100.Celsius(0.2) },
			"0.2 Ω: out of range; a sensor of 100 Ω at 0 °C has 18.52 to 390.48 Ω"},
		{"broken", func() (float64, error) { return thermo.Pt100.Celsius(inf) }, "+Inf Ω"},
		{"a Pt1000 set as Pt100", func() (float64, error) { return thermo.Pt100.Celsius(1077.9) },
			"check the sensor, its wiring and the type set"},
		{"a Pt100 set as Pt1000", func() (float64, error) { return thermo.Pt1000.Celsius(107.79) },
			"a sensor of 1000 Ω at 0 °C has 185.20 to 3904.81 Ω"},
		{"negative", func() (float64, error) { return thermo.Pt100.Celsius(-100) }, "-100 Ω"},
		{"not a number", func() (float64, error) { return thermo.Pt100.Celsius(nan) }, "NaN Ω"},
		{"no sensor", func() (float64, error) { return thermo.Platinum(0).Celsius(100) }, "a sensor of 0 Ω"},
		{"too cold", func() (float64, error) { return thermo.Pt100.Ohms(-200.1) }, "-200.1 °C"},
		{"too hot", func() (float64, error) { return thermo.Pt100.Ohms(850.1) }, "850.1 °C"},
		{"temperature not a number", func() (float64, error) { return thermo.Pt100.Ohms(nan) }, "NaN °C"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, err := c.do()
			if !errors.Is(err, thermo.ErrRange) || !strings.Contains(err.Error(), c.want) || got != 0 {
				t.Errorf("got %g, error %v; want 0 and an ErrRange with %q", got, err, c.want)
			}
		})
	}
}

func TestPlatinumBackAndForth(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		celsius := rapid.Float64Range(-200, 850).Draw(t, "celsius")
		sensor := rapid.SampledFrom([]thermo.Platinum{thermo.Pt100, thermo.Pt1000}).Draw(t, "sensor")
		// At the ends of the range rounding may push the resistance outside.
		ohms := must(t)(sensor.Ohms(celsius))
		back, err := sensor.Celsius(ohms)
		if err != nil {
			if celsius < -199.999 || celsius > 849.999 {
				return
			}
			t.Fatal(err)
		}
		if !near(back, celsius, 1e-9) {
			t.Fatalf("%.12g °C there and back is %.12g", celsius, back)
		}
	})
}
