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

type ntc struct {
	Fit struct {
		A, B, C     float64
		CheckPoints [][3]float64 `json:"check_points"` // °C, Ω, °C by the equation
	} `json:"steinhart_hart_fit"`
	Table struct {
		Points [][2]float64 `json:"points_c_ohm"`
	} `json:"table_10k"`
	Common struct {
		A, B, C float64
		Expect  [][2]float64 // Ω, °C
	} `json:"common_10k_coefficients"`
	Beta struct {
		R1, T1  float64
		Kelvin  float64 `json:"beta_k"`
		At12262 float64 `json:"t_at_12262_ohm"`
	}
}

func loadNTC(t *testing.T) ntc {
	t.Helper()
	var n ntc
	published.JSON(t, "thermo/ntc.json", &n)
	if len(n.Fit.CheckPoints) == 0 || len(n.Table.Points) == 0 || len(n.Common.Expect) == 0 || n.Beta.Kelvin == 0 {
		t.Fatal("ntc.json lacks an example")
	}
	return n
}

// A printed 10 kΩ table and the coefficients fitted to three of its points; see
// the README beside it.
func TestThermistorTable(t *testing.T) {
	t.Parallel()
	n := loadNTC(t)
	sensor := thermo.Thermistor{A: n.Fit.A, B: n.Fit.B, C: n.Fit.C}
	for _, p := range n.Fit.CheckPoints {
		got := must(t)(sensor.Celsius(p[1]))
		if !near(got, p[2], 0.0001) || !near(got, p[0], 0.01) {
			t.Errorf("%g Ω: %.5f °C, want %.4f, in the table %g", p[1], got, p[2], p[0])
		}
	}
	for _, p := range n.Table.Points {
		// 0.01 K on a sensor of some 4.5 % per kelvin.
		if got := must(t)(sensor.Ohms(p[0])); math.Abs(got/p[1]-1) > 0.0005 {
			t.Errorf("%g °C: %.2f Ω, want %g", p[0], got, p[1])
		}
	}
}

func TestThermistorCommonCoefficients(t *testing.T) {
	t.Parallel()
	n := loadNTC(t)
	sensor := thermo.Thermistor{A: n.Common.A, B: n.Common.B, C: n.Common.C}
	for _, p := range n.Common.Expect {
		got := must(t)(sensor.Celsius(p[0]))
		if !near(got, p[1], 0.0001) {
			t.Errorf("%g Ω: %.5f °C, want %.4f", p[0], got, p[1])
		}
		if back := must(t)(sensor.Ohms(got)); math.Abs(back/p[0]-1) > 1e-11 {
			t.Errorf("%g Ω there and back is %.9f", p[0], back)
		}
	}
}

// With C = 0 the equation is that of a single β.
func TestThermistorBeta(t *testing.T) {
	t.Parallel()
	beta := loadNTC(t).Beta
	sensor := thermo.Thermistor{A: 1/(beta.T1+273.15) - math.Log(beta.R1)/beta.Kelvin, B: 1 / beta.Kelvin}
	if got := must(t)(sensor.Celsius(12262)); !near(got, beta.At12262, 0.0001) {
		t.Errorf("12262 Ω: %.5f °C, want %.4f", got, beta.At12262)
	}
	if got := must(t)(sensor.Ohms(beta.T1)); math.Abs(got/beta.R1-1) > 1e-12 {
		t.Errorf("%g °C: %.6f Ω, want %g", beta.T1, got, beta.R1)
	}
}

func TestThermistorRefuses(t *testing.T) {
	t.Parallel()
	n := loadNTC(t)
	sensor := thermo.Thermistor{A: n.Common.A, B: n.Common.B, C: n.Common.C}
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		name     string
		do       func() (float64, error)
		want     string
		outRange bool
	}{
		{"shorted", func() (float64, error) { return sensor.Celsius(0) }, "thermistor of 0 Ω", true},
		{"nearly shorted", func() (float64, error) { return sensor.Celsius(0.5) }, "thermistor of 0.5 Ω", true},
		{"negative", func() (float64, error) { return sensor.Celsius(-10000) }, "thermistor of -10000 Ω", true},
		{"broken", func() (float64, error) { return sensor.Celsius(inf) }, "+Inf Ω", true},
		{"nearly broken", func() (float64, error) { return sensor.Celsius(5e6) }, "check the sensor, its wiring and the coefficients", true},
		{"not a number", func() (float64, error) { return sensor.Celsius(nan) }, "NaN Ω", true},
		{"too cold", func() (float64, error) { return sensor.Ohms(-51) }, "-51 °C", true},
		{"too hot", func() (float64, error) { return sensor.Ohms(151) }, "151 °C", true},
		{"temperature not a number", func() (float64, error) { return sensor.Ohms(nan) }, "NaN °C", true},
		{"no coefficients", func() (float64, error) { return thermo.Thermistor{}.Celsius(10000) }, "coefficient b is 0", false},
		{"a not a number", func() (float64, error) { return thermo.Thermistor{A: nan, B: 1, C: 1}.Celsius(1) }, "coefficient a is NaN", false},
		{"negative c", func() (float64, error) { return thermo.Thermistor{A: 1e-3, B: 2e-4, C: -1e-7}.Ohms(20) }, "coefficient c is -1e-07",
			false},
		{"exponent lost", func() (float64, error) {
			return thermo.Thermistor{A: 1.129148, B: 2.34125e-4, C: 8.76741e-8}.Celsius(10000)
		}, "check their order and exponents", false},
		{"resistance that falls too little", func() (float64, error) { return thermo.Thermistor{A: -0.0046, B: 1e-3}.Celsius(3000) },
			"β = 1e+03 K", false},
		{"order lost", func() (float64, error) {
			return thermo.Thermistor{A: 8.76741e-8, B: 2.34125e-4, C: 1.129148e-3}.Ohms(20)
		}, "check their order and exponents", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, err := c.do()
			if err == nil || !strings.Contains(err.Error(), c.want) || got != 0 {
				t.Fatalf("got %g, error %v; want 0 and an error with %q", got, err, c.want)
			}
			if errors.Is(err, thermo.ErrRange) != c.outRange {
				t.Errorf("errors.Is(%q, ErrRange) is %t", err, !c.outRange)
			}
		})
	}
}

func TestThermistorBackAndForth(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		// Coefficients of sensors from some 1 kΩ to 1 MΩ, C down to nothing.
		sensor := thermo.Thermistor{
			A: rapid.Float64Range(5e-4, 1.5e-3).Draw(t, "a"),
			B: rapid.Float64Range(2e-4, 2.6e-4).Draw(t, "b"),
			C: rapid.SampledFrom([]float64{0, 1e-30, 1e-15, 1e-10, 5e-8, 2e-7}).Draw(t, "c"),
		}
		if sensor.Check() != nil {
			t.Skip("no sensor")
		}
		celsius := rapid.Float64Range(-49.999, 149.999).Draw(t, "celsius")
		back := must(t)(sensor.Celsius(must(t)(sensor.Ohms(celsius))))
		if !near(back, celsius, 1e-9) {
			t.Fatalf("%.12g °C there and back is %.12g", celsius, back)
		}
	})
}
