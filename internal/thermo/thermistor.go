package thermo

import (
	"fmt"
	"math"
)

const zeroCelsiusKelvin = 273.15

// Thermistors are converted from thermistorMinCelsius to thermistorMaxCelsius,
// about as far as one set of coefficients reaches.
const (
	thermistorMinCelsius = -50.0
	thermistorMaxCelsius = 150.0
)

// Thermistor holds the coefficients of the Steinhart–Hart equation
//
//	1/T = A + B·ln R + C·(ln R)³
//
// for T in kelvin and R in ohms (J. S. Steinhart and S. R. Hart, Deep-Sea
// Research 15 (1968) 497, doi:10.1016/0011-7471(68)90057-0). C may be 0, which
// leaves the equation of a single β: A = 1/T0 − ln R0/β, B = 1/β.
type Thermistor struct {
	A, B, C float64 // 1/K
}

// Check returns an error that says what is wrong unless the equation describes
// a sensor on the market: its resistance falls as it warms, is 100 Ω to 10 MΩ at
// 25 °C, and falls there by about 2 to 7 % per kelvin (β from 1500 to 6500 K).
// These bounds are wide on purpose; they find coefficients in the wrong order
// or with a lost exponent.
func (th Thermistor) Check() error {
	switch {
	case math.IsNaN(th.A) || math.IsInf(th.A, 0):
		return fmt.Errorf("thermistor coefficient a is %g; it must be a number", th.A)
	case !(th.B > 0) || math.IsInf(th.B, 0):
		return fmt.Errorf("thermistor coefficient b is %g; it must be above 0, as in 2.4e-4", th.B)
	case !(th.C >= 0) || math.IsInf(th.C, 0):
		return fmt.Errorf("thermistor coefficient c is %g; it must be 0 or above, as in 9e-8", th.C)
	}
	log := th.logOhms(25)
	ohms, betaKelvin := math.Exp(log), 1/(th.B+3*th.C*log*log)
	if !(ohms >= 100 && ohms <= 10e6 && betaKelvin >= 1500 && betaKelvin <= 6500) {
		return fmt.Errorf("thermistor coefficients a = %g, b = %g, c = %g describe no sensor (%.3g Ω and β = %.3g K at 25 °C): check their "+
			"order and exponents",
			th.A, th.B, th.C, ohms, betaKelvin)
	}
	return nil
}

// Celsius returns the temperature at a resistance. It returns an error wrapping
// [ErrRange] when the resistance is not positive or belongs to a temperature
// outside −50 to 150 °C, and the error of [Thermistor.Check] for coefficients
// that describe no sensor.
func (th Thermistor) Celsius(ohms float64) (float64, error) {
	if err := th.Check(); err != nil {
		return 0, err
	}
	if !(ohms > 0) || math.IsInf(ohms, 0) {
		return 0, fmt.Errorf("thermistor of %g Ω: %w; a resistance is a positive number", ohms, ErrRange)
	}
	log := math.Log(ohms)
	celsius := 1/(th.A+log*(th.B+th.C*log*log)) - zeroCelsiusKelvin
	if !(celsius >= thermistorMinCelsius && celsius <= thermistorMaxCelsius) {
		return 0, fmt.Errorf("thermistor of %.6g Ω: %w; these coefficients hold from %.4g Ω at %g °C to %.4g Ω at %g °C: check the sensor, "+
			"its wiring and the coefficients",
			ohms, ErrRange, math.Exp(th.logOhms(thermistorMinCelsius)), thermistorMinCelsius, math.Exp(th.logOhms(thermistorMaxCelsius)),
			thermistorMaxCelsius)
	}
	return celsius, nil
}

// Ohms returns the resistance at a temperature, the inverse of
// [Thermistor.Celsius]. Errors are the same.
func (th Thermistor) Ohms(celsius float64) (float64, error) {
	if err := th.Check(); err != nil {
		return 0, err
	}
	if !(celsius >= thermistorMinCelsius && celsius <= thermistorMaxCelsius) {
		return 0, fmt.Errorf("%g °C: %w; thermistors are converted from %g to %g °C", celsius, ErrRange, thermistorMinCelsius,
			thermistorMaxCelsius)
	}
	return math.Exp(th.logOhms(celsius)), nil
}

// logOhms solves A + B·x + C·x³ = 1/T for x = ln R. With p = B/C and
// q = (A − 1/T)/C the one real root is −2·√(p/3)·sinh(asinh(3q/(2p)·√(3/p))/3)
// (the cubic x³ + p·x + q with p > 0), which unlike Cardano's formula loses no
// digits when C is small.
func (th Thermistor) logOhms(celsius float64) float64 {
	rest := th.A - 1/(celsius+zeroCelsiusKelvin)
	if th.C == 0 {
		return -rest / th.B
	}
	root := math.Sqrt(th.B / th.C / 3)
	return -2 * root * math.Sinh(math.Asinh(1.5*rest/th.B/root)/3)
}
