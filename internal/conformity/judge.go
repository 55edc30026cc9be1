package conformity

import (
	"errors"
	"fmt"
	"math"
)

// ErrTolerance is wrapped by every error that is due to a tolerance nobody can
// be judged by.
var ErrTolerance = errors.New("unusable tolerance")

// Validate returns an error wrapping [ErrTolerance] unless both limits are
// finite and positive, the lower one is below the upper one, and the guard
// factor is 0 to 1.
func (t Tolerance) Validate() error {
	switch {
	case !positive(t.LowerOhms):
		return fmt.Errorf("%w: the lower limit is %g Ω; give a positive number of ohms", ErrTolerance, t.LowerOhms)
	case !positive(t.UpperOhms):
		return fmt.Errorf("%w: the upper limit is %g Ω; give a positive number of ohms", ErrTolerance, t.UpperOhms)
	case t.LowerOhms >= t.UpperOhms:
		return fmt.Errorf("%w: the lower limit %g Ω is not below the upper limit %g Ω", ErrTolerance, t.LowerOhms, t.UpperOhms)
	case !(t.GuardFactor >= 0 && t.GuardFactor <= 1):
		return fmt.Errorf("%w: the guard factor is %g; give a number from 0 (no guard band) to 1", ErrTolerance, t.GuardFactor)
	}
	return nil
}

// Judge sets a value with its standard and its expanded uncertainty, all in
// ohms, against a tolerance (JCGM 106:2012, 8.2 and 8.3). With the guard band
// w = GuardFactor · expanded uncertainty the verdict is
//
//	in         lower + w ≤ value ≤ upper − w
//	low        value < lower − w
//	high       value > upper + w
//	undecided  otherwise
//
// so a value exactly on a limit belongs to the better side of it, a guard band
// wider than half the tolerance leaves no room for in, and with GuardFactor 0
// nothing is undecided. The probability of conformity takes the true value as
// normally distributed about the measured one (7.2); with no uncertainty at all
// it is 0 or 1.
//
// It returns an error, and no judgement, for a value that is not a positive
// finite number, for an uncertainty that is negative or not finite, for an
// expanded uncertainty below the standard one, and for an unusable tolerance.
func Judge(valueOhms, standardUncertaintyOhms, expandedUncertaintyOhms float64, t Tolerance) (Judgement, error) {
	if err := t.Validate(); err != nil {
		return Judgement{}, fmt.Errorf("judge %g Ω: %w", valueOhms, err)
	}
	switch {
	case !positive(valueOhms):
		return Judgement{}, fmt.Errorf("judge %g Ω: not a positive number of ohms", valueOhms)
	case standardUncertaintyOhms != 0 && !positive(standardUncertaintyOhms):
		return Judgement{}, fmt.Errorf("judge %g Ω: the standard uncertainty is %g Ω; it must be a number not below 0", valueOhms,
			standardUncertaintyOhms)
	case !(expandedUncertaintyOhms >= standardUncertaintyOhms) || math.IsInf(expandedUncertaintyOhms, 0):
		return Judgement{}, fmt.Errorf("judge %g Ω: the expanded uncertainty is %g Ω; it must be a number not below the standard "+
			"uncertainty %g Ω",
			valueOhms, expandedUncertaintyOhms, standardUncertaintyOhms)
	}
	return Judgement{
		Verdict:     t.verdict(valueOhms, t.GuardFactor*expandedUncertaintyOhms),
		Probability: probability(valueOhms, standardUncertaintyOhms, t.LowerOhms, t.UpperOhms),
	}, nil
}

func (t Tolerance) verdict(value, guard float64) Verdict {
	switch {
	case value >= t.LowerOhms+guard && value <= t.UpperOhms-guard:
		return In
	case value < t.LowerOhms-guard:
		return Low
	case value > t.UpperOhms+guard:
		return High
	}
	return Undecided
}

// probability returns the probability that a normally distributed quantity lies
// between lower and upper (JCGM 106:2012, 7.4; one limit may be infinite, 7.3).
func probability(mean, standardDeviation, lower, upper float64) float64 {
	if standardDeviation == 0 {
		if mean >= lower && mean <= upper {
			return 1
		}
		return 0
	}
	fromLower := (lower - mean) / standardDeviation
	fromUpper := (upper - mean) / standardDeviation
	// Differences are taken in the lower tail, where they keep their digits.
	if fromLower > 0 {
		fromLower, fromUpper = -fromUpper, -fromLower
	}
	return phi(fromUpper) - phi(fromLower)
}

// phi is the standard normal distribution function.
func phi(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

func positive(v float64) bool { return v > 0 && !math.IsInf(v, 0) }
