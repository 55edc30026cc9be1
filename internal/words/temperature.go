package words

import (
	"math"
)

// Celsius writes a temperature to a tenth of a degree: "21.4 °C". A value that is
// not finite is "no value".
func Celsius(celsius float64) string { return CelsiusToStep(celsius, 0.1) }

// CelsiusToStep writes a temperature to the digit of a step in kelvin, at most to
// whole degrees: 21.44 to 0.01 is "21.44 °C", to 1 "21 °C". Without a step it is
// Celsius.
func CelsiusToStep(celsius, stepKelvin float64) string {
	if math.IsNaN(celsius) || math.IsInf(celsius, 0) {
		return noValue
	}
	decimals := 1
	if finitePositive(stepKelvin) {
		decimals = max(0, -exponent10(stepKelvin))
	}
	return Fixed(celsius, decimals) + " °C"
}

// CelsiusLive writes what a probe shows at the moment: "21.44 °C". The script of
// the pages does the same: celsius in numbers.js.
func CelsiusLive(celsius float64) string { return CelsiusToStep(celsius, 0.01) }

// KelvinWithin writes a difference of temperature that is known within
// ±withinKelvin, with as many decimals as that leaves meaning: "3.4 K", "−12 K".
func KelvinWithin(kelvin, withinKelvin float64) string {
	decimals := 1
	switch {
	case withinKelvin >= 10:
		decimals = 0
	case withinKelvin < 0.1:
		decimals = 2
	}
	return Fixed(kelvin, decimals) + " K"
}

// KelvinInPassing writes the size of a difference in a sentence at the bench:
// tenths below one kelvin, whole kelvins above: "0.4 K", "12 K".
func KelvinInPassing(kelvin float64) string {
	if kelvin < 1 {
		return Fixed(kelvin, 1) + " K"
	}
	return Fixed(kelvin, 0) + " K"
}

// KelvinSigned writes a difference with its direction: "+3.4 K", "−0.2 K".
func KelvinSigned(kelvin float64) string { return Signed(kelvin, 1) + " K" }
