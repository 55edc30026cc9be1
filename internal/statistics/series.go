package statistics

import (
	"fmt"
	"math"
	"slices"
)

// Autocorrelation returns the coefficients of lags 1 to lags, with the mean of
// the whole series and the divisor n (Box and Jenkins). A series that does not
// vary has zeros. It needs more values than lags.
func Autocorrelation(values []float64, lags int) ([]float64, error) {
	if lags < 1 || len(values) <= lags {
		return nil, fmt.Errorf("autocorrelation to lag %d of %d values: %w", lags, len(values), ErrTooFew)
	}
	shifted := make([]float64, len(values))
	for i, v := range values {
		shifted[i] = v - values[0]
	}
	m := MomentsOf(shifted)
	r := make([]float64, lags)
	if m.SumOfSquares == 0 {
		return r, nil
	}
	for lag := 1; lag <= lags; lag++ {
		sum := 0.0
		for i := range len(shifted) - lag {
			sum += (shifted[i] - m.Mean) * (shifted[i+lag] - m.Mean)
		}
		r[lag-1] = sum / m.SumOfSquares
	}
	return r, nil
}

// LjungBox tests coefficients of n values together against none at all
// (Ljung and Box 1978, Biometrika 65, 297-303).
func LjungBox(coefficients []float64, n int) (q, p float64) {
	for i, r := range coefficients {
		q += r * r / float64(n-i-1)
	}
	q *= float64(n) * float64(n+2)
	return q, ChiSquareP(q, float64(len(coefficients)))
}

// NormalityP is the probability of a sample this far from normal by chance, by
// the statistic of Anderson and Darling with mean and deviation estimated
// (Stephens 1986, in D'Agostino and Stephens, Goodness-of-Fit Techniques, table
// 4.9; the polynomials from memory). It needs eight values that vary.
func NormalityP(values []float64) (p float64, err error) {
	m := MomentsOf(values)
	if m.Count < 8 || m.SumOfSquares == 0 {
		return 0, fmt.Errorf("test %d values for normality: %w; eight that differ are needed", m.Count, ErrTooFew)
	}
	sorted := slices.Sorted(slices.Values(values))
	sd, n := m.StandardDeviation(), float64(m.Count)
	sum := 0.0
	for i := range sorted {
		below := NormalCDF((sorted[i] - m.Mean) / sd)
		above := NormalCDF(-(sorted[m.Count-1-i] - m.Mean) / sd)
		// A tail too far out for float64 must not become a logarithm of zero.
		sum += float64(2*i+1) * (math.Log(max(below, 1e-300)) + math.Log(max(above, 1e-300)))
	}
	a := (-n - sum/n) * (1 + 0.75/n + 2.25/(n*n))
	switch {
	case a < 0.2:
		p = 1 - math.Exp(-13.436+101.14*a-223.73*a*a)
	case a < 0.34:
		p = 1 - math.Exp(-8.318+42.796*a-59.938*a*a)
	case a < 0.6:
		p = math.Exp(0.9177 - 4.279*a - 1.38*a*a)
	case a < 13:
		p = math.Exp(1.2937 - 5.709*a + 0.0186*a*a)
	}
	return p, nil
}

// AnyChangeP is the probability that the largest standardised difference |z|
// between the values before and after any place in a series reaches z by
// chance, when at least the share edge of the series lies on either side. The
// ordinary quantiles hold for a place chosen beforehand and not for the best of
// all: this is the tail of the standardised Brownian bridge (Csörgő and Horváth
// 1997, Limit Theorems in Change-Point Analysis, section 1.3, after Vostrikova
// 1981; formula from memory), which errs on the safe side for short series.
func AnyChangeP(z, edge float64) float64 {
	if !(edge > 0 && edge < 0.5) {
		return 1
	}
	if z < 1.5 {
		return 1 // the tail formula holds for large z only
	}
	t := 2 * math.Log((1-edge)/edge)
	p := z * math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) * (t - t/(z*z) + 4/(z*z))
	return min(1, p)
}

// NormalEquivalent is the z that is as improbable as |t| with df degrees of
// freedom.
func NormalEquivalent(t, df float64) float64 {
	p := StudentP(t, df)
	if p < 1e-300 {
		return 37 // beyond what float64 can express
	}
	return -NormalQuantile(p / 2)
}
