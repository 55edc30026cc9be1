// Package control holds control charts: what they plot, their limits, and the
// rules that read them. Everything that runs along a series works in sigma
// units, z = (value − centre)/sigma, so that it does not care what is measured.
//
// Where limits come from, which values belong into them and what a signal means
// at the bench is for the drift analysis to say.
package control

import (
	"errors"
	"fmt"
)

// ErrInput is returned for data or settings a chart cannot be made of.
var ErrInput = errors.New("no chart from this")

// D2 is the mean range of two values in sigma, 2/√π = 1.12838, as charts of
// individuals round it (NIST/SEMATECH e-Handbook 6.3.2.2, and the tables of
// ISO 7870-2). Rounding makes sigma 0.03 % larger.
const D2 = 1.128

// LeastBaseline is the least number of values limits are made of. Ten moving
// ranges give sigma within about a quarter.
const LeastBaseline = 10

// MaxSubgroup is the largest subgroup the constants below are known for.
const MaxSubgroup = 25

// meanRange and rangeSD are d2 and d3: mean and standard deviation of the range
// of n normal values in sigma, n from 2. Computed by numerical integration; they
// agree with the printed tables.
var (
	meanRange = [...]float64{
		1.128379167, 1.692568751, 2.058750746, 2.325928947, 2.534412721, 2.704356751,
		2.847200612, 2.970026324, 3.077505462, 3.172872704, 3.258455280, 3.335980354,
		3.406763108, 3.471826890, 3.531982786, 3.587883962, 3.640063758, 3.688963023,
		3.734950120, 3.778335830, 3.819384643, 3.858323423, 3.895348148, 3.930629220,
	}
	rangeSD = [...]float64{
		0.852502466, 0.888368004, 0.879808203, 0.864081941, 0.848039686, 0.833205336,
		0.819831490, 0.807834275, 0.797050674, 0.787314621, 0.778478341, 0.770416202,
		0.763023096, 0.756211430, 0.749908089, 0.744051784, 0.738590853, 0.733481496,
		0.728686346, 0.724173341, 0.719914808, 0.715886735, 0.712068175, 0.708440766,
	}
)

// Constants of charts of subgroups of n values, with limits at three sigma.
type Constants struct {
	// MeanRange is d2 and RangeSD d3.
	MeanRange, RangeSD float64
	// D3 and D4 times the mean range are its limits.
	D3, D4 float64
}

// ConstantsFor returns the constants for subgroups of n, 2 to [MaxSubgroup]
// (formulas: ASTM MNL 7, NIST/SEMATECH e-Handbook 6.3.2.1).
func ConstantsFor(n int) (Constants, error) {
	if n < 2 || n > MaxSubgroup {
		return Constants{}, fmt.Errorf("subgroups of %d: %w; they hold 2 to %d values", n, ErrInput, MaxSubgroup)
	}
	c := Constants{MeanRange: meanRange[n-2], RangeSD: rangeSD[n-2]}
	spread := 3 * c.RangeSD / c.MeanRange
	c.D3, c.D4 = max(0, 1-spread), 1+spread
	return c, nil
}
