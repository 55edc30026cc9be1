// Package copper holds the physics of copper conductors: how resistance follows
// temperature, what a length of wire of a gauge measures, and how many turns on
// a bobbin that is. It computes exact relations only; how well its inputs are
// known is the business of its callers.
package copper

import (
	"errors"
	"fmt"
	"math"
)

// ErrRange is wrapped by every error that is due to a value outside the range
// the physics here holds for, or that no coil can have.
var ErrRange = errors.New("out of range")

// The straight line between resistance and temperature is relied on from
// MinCelsius to MaxCelsius only; values outside are refused.
const (
	MinCelsius = -50.0
	MaxCelsius = 150.0
)

// ReferenceCelsius is the temperature R20 refers to.
const ReferenceCelsius = 20.0

// Alpha20 is the temperature coefficient of resistance at 20 °C and constant
// mass, per kelvin. It belongs to that reference temperature: see
// [Alpha20.At]. Every method refuses a coefficient no copper wire has, below
// 0.0035 or above 0.0042 per kelvin (89 to 107 % of the standard's
// conductivity), which is where a percentage or a slipped digit shows.
type Alpha20 float64

// Standard is annealed copper of 100 % conductivity (IEC 60028).
const Standard Alpha20 = 0.00393

// StandardUncertaintyPerKelvin is the standard uncertainty of the coefficient
// of a wire of which nothing is known but that it is annealed copper. Tables
// list such wire from 98 % of the standard conductivity (0.00385 per kelvin) to
// 58.5 MS/m, 100.9 % (0.00396); as a rectangular distribution of that
// half-width about [Standard] this is 0.00008/√3, rounded up. The half-width is
// a judgement, not a published value.
const StandardUncertaintyPerKelvin = 0.00005

const (
	minAlpha20 = 0.0035
	maxAlpha20 = 0.0042
)

// Alpha20Of returns the coefficient of copper whose conductivity is
// conductivityRatio times the standard's, 0.98 for 98 %: the product of the
// two, because impurities and cold work leave the slope in ohms per kelvin as
// it is (Matthiessen's rule; NBS Handbook 100 gives α in proportion to
// conductivity).
func Alpha20Of(conductivityRatio float64) (Alpha20, error) {
	alpha := Alpha20(conductivityRatio * float64(Standard))
	if alpha.Check() != nil {
		return 0, fmt.Errorf("conductivity %g: %w for copper; give a ratio such as 0.98 for 98 %%", conductivityRatio, ErrRange)
	}
	return alpha, nil
}

// Check returns an error wrapping [ErrRange] unless a is the coefficient of a
// copper wire.
func (a Alpha20) Check() error {
	if !(a >= minAlpha20 && a <= maxAlpha20) {
		return fmt.Errorf("temperature coefficient %g per kelvin: %w; copper has %g to %g at 20 °C",
			float64(a), ErrRange, minAlpha20, maxAlpha20)
	}
	return nil
}

// Factor returns the resistance at a temperature over that at 20 °C,
// 1 + α20·(t − 20) (IEC 60028). Referring to 20 °C divides by it; multiplying by
// 1 − α20·(t − 20) is not the same.
func (a Alpha20) Factor(celsius float64) (float64, error) {
	if err := a.Check(); err != nil {
		return 0, err
	}
	if err := checkCelsius(celsius); err != nil {
		return 0, err
	}
	return 1 + float64(a)*(celsius-ReferenceCelsius), nil
}

// R20 returns the resistance at 20 °C, in ohms, of what has the given
// resistance at the given temperature.
func (a Alpha20) R20(ohms, celsius float64) (float64, error) {
	return a.Convert(ohms, celsius, ReferenceCelsius)
}

// Convert returns the resistance at toCelsius, in ohms, of what has the given
// resistance at fromCelsius.
func (a Alpha20) Convert(ohms, fromCelsius, toCelsius float64) (float64, error) {
	if err := checkOhms(ohms); err != nil {
		return 0, err
	}
	from, err := a.Factor(fromCelsius)
	if err != nil {
		return 0, err
	}
	to, err := a.Factor(toCelsius)
	if err != nil {
		return 0, err
	}
	return ohms * to / from, nil
}

func checkCelsius(celsius float64) error {
	if !(celsius >= MinCelsius && celsius <= MaxCelsius) {
		return fmt.Errorf("%.6g °C: %w; copper is computed from %g to %g °C", celsius, ErrRange, MinCelsius, MaxCelsius)
	}
	return nil
}

func checkOhms(ohms float64) error {
	if !(ohms > 0) || math.IsInf(ohms, 0) {
		return fmt.Errorf("%g Ω: %w; a resistance is a positive number", ohms, ErrRange)
	}
	return nil
}
