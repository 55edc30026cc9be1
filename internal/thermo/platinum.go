// Package thermo converts the resistance of a thermometer to temperature and
// back: industrial platinum sensors (IEC 60751) and thermistors
// (Steinhart–Hart). It measures nothing and subtracts no leads.
package thermo

import (
	"errors"
	"fmt"
	"math"
)

// ErrRange is wrapped by every error that is due to a value the sensor cannot
// have: a broken or shorted sensor, a wiring fault, or the wrong sensor set.
var ErrRange = errors.New("out of range")

// Platinum is an industrial platinum resistance thermometer; the number is its
// resistance at 0 °C in ohms.
type Platinum float64

// The platinum sensors in common use.
const (
	Pt100  Platinum = 100
	Pt1000 Platinum = 1000
)

// The range of IEC 60751, in degrees Celsius (ITS-90).
const (
	platinumMinCelsius = -200.0
	platinumMaxCelsius = 850.0
)

// The Callendar–Van Dusen coefficients of IEC 60751:2008, 4.2. Those of
// IEC 751:1983 differ, and tables made with them still circulate.
const (
	cvdA = 3.9083e-3  // 1/K
	cvdB = -5.775e-7  // 1/K²
	cvdC = -4.183e-12 // 1/K⁴, below 0 °C only
)

// Ohms returns the resistance at a temperature (IEC 60751:2008, 4.2):
//
//	R = R0·(1 + A·t + B·t²)                  from 0 to 850 °C
//	R = R0·(1 + A·t + B·t² + C·(t − 100)·t³) from −200 to 0 °C
func (p Platinum) Ohms(celsius float64) (float64, error) {
	if !(celsius >= platinumMinCelsius && celsius <= platinumMaxCelsius) {
		return 0, fmt.Errorf("%g °C: %w; platinum sensors are defined from %g to %g °C", celsius, ErrRange, platinumMinCelsius,
			platinumMaxCelsius)
	}
	ratio, _ := platinumRatio(celsius)
	return float64(p) * ratio, nil
}

// Celsius returns the temperature at a resistance, the inverse of
// [Platinum.Ohms] to better than 1e-9 K.
func (p Platinum) Celsius(ohms float64) (float64, error) {
	least, _ := platinumRatio(platinumMinCelsius)
	greatest, _ := platinumRatio(platinumMaxCelsius)
	ratio := ohms / float64(p)
	if !(ratio >= least && ratio <= greatest) {
		return 0, fmt.Errorf("%.6g Ω: %w; a sensor of %g Ω at 0 °C has %.2f to %.2f Ω: check the sensor, its wiring and the type set",
			ohms, ErrRange, float64(p), least*float64(p), greatest*float64(p))
	}
	// Exact from 0 °C on. Below, the quadratic is at most 2.4 K off and Newton's
	// method takes it from there; the curve is monotone and nearly straight.
	celsius := (-cvdA + math.Sqrt(cvdA*cvdA-4*cvdB*(1-ratio))) / (2 * cvdB)
	if ratio < 1 {
		for range 5 {
			at, slope := platinumRatio(celsius)
			celsius -= (at - ratio) / slope
		}
	}
	return celsius, nil
}

// platinumRatio returns R(t)/R0 and its derivative by t.
func platinumRatio(t float64) (ratio, slope float64) {
	ratio = 1 + t*(cvdA+t*cvdB)
	slope = cvdA + 2*cvdB*t
	if t < 0 {
		ratio += cvdC * (t - 100) * t * t * t
		slope += cvdC * (4*t - 300) * t * t
	}
	return ratio, slope
}
