// Package statistics holds the arithmetic the drift analysis stands on: moments,
// straight lines, analysis of variance, autocorrelation and the distributions
// their tests need. Sums are taken about a value of the data, twice, because the
// textbook sum of squares gives negative variances on hard data.
//
// It knows nothing of coils; what a number means is for its callers to say.
package statistics

import (
	"errors"
	"math"
	"slices"
)

// ErrTooFew is returned when there are fewer values than a result needs.
var ErrTooFew = errors.New("too few values")

// Moments are the count, the mean and the sum of squared deviations from the
// mean of some values.
type Moments struct {
	Count        int
	Mean         float64
	SumOfSquares float64
}

// MomentsOf computes moments in two passes after subtracting the first value.
// Without values they are all zero.
func MomentsOf(values []float64) Moments {
	if len(values) == 0 {
		return Moments{}
	}
	origin, n := values[0], float64(len(values))
	offset := sumOfDifferences(values, origin) / n
	squares, rest := sumsAbout(values, origin, offset)
	// The rest is what rounding left in the mean (Chan, Golub and LeVeque 1983,
	// The American Statistician 37, 242-247).
	return Moments{len(values), origin + offset, math.Max(0, squares-rest*rest/n)}
}

// sumOfDifferences runs four sums side by side: additions that need not wait for
// each other are several times as fast, and lose fewer digits.
func sumOfDifferences(values []float64, origin float64) float64 {
	var a, b, c, d float64
	for ; len(values) >= 4; values = values[4:] {
		a += values[0] - origin
		b += values[1] - origin
		c += values[2] - origin
		d += values[3] - origin
	}
	for _, v := range values {
		a += v - origin
	}
	return (a + b) + (c + d)
}

// sumsAbout returns the sum of squares about origin + offset, and the sum
// itself, two side by side.
func sumsAbout(values []float64, origin, offset float64) (squares, rest float64) {
	var squaresA, restA, squaresB, restB float64
	for ; len(values) >= 2; values = values[2:] {
		a, b := values[0]-origin-offset, values[1]-origin-offset
		squaresA += a * a
		restA += a
		squaresB += b * b
		restB += b
	}
	for _, v := range values {
		a := v - origin - offset
		squaresA += a * a
		restA += a
	}
	return squaresA + squaresB, restA + restB
}

// Variance is the sample variance, with n − 1; NaN for fewer than two values.
func (m Moments) Variance() float64 {
	if m.Count < 2 {
		return math.NaN()
	}
	return m.SumOfSquares / float64(m.Count-1)
}

// StandardDeviation is the root of the variance; NaN for fewer than two values.
func (m Moments) StandardDeviation() float64 { return math.Sqrt(m.Variance()) }

// StandardError is that of the mean; NaN for fewer than two values.
func (m Moments) StandardError() float64 { return math.Sqrt(m.Variance() / float64(m.Count)) }

// Accumulator takes values one at a time and keeps their moments in constant
// memory (Welford 1962, Technometrics 4, 419-420, about the first value). The
// zero Accumulator is empty.
type Accumulator struct {
	count                 int
	origin, mean, squares float64
}

// Add takes one more value.
func (a *Accumulator) Add(value float64) {
	if a.count == 0 {
		a.origin = value
	}
	a.count++
	d := value - a.origin - a.mean
	a.mean += d / float64(a.count)
	a.squares += d * (value - a.origin - a.mean)
}

// Moments are those of all values so far.
func (a Accumulator) Moments() Moments { return Moments{a.count, a.origin + a.mean, a.squares} }

// Median is the middle value, or the mean of the two middle ones. It leaves
// values as they are and is NaN when there are none.
func Median(values []float64) float64 { return MedianInPlace(slices.Clone(values)) }

// MedianInPlace is Median, but sorts values.
func MedianInPlace(values []float64) float64 {
	n := len(values)
	if n == 0 {
		return math.NaN()
	}
	slices.Sort(values)
	return values[n/2]/2 + values[(n-1)/2]/2
}
