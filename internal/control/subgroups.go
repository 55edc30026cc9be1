package control

import (
	"fmt"
	"math"
	"slices"

	"coilkeep/internal/statistics"
)

// Spread is how the scatter within subgroups is summed up.
type Spread int

// The ways to get sigma from subgroups.
const (
	ByRange    Spread = iota // mean of range/d2
	ByStandard               // mean of standard deviation/c4
	Pooled                   // root of the pooled variance
)

// Subgroups is a chart of means with a chart of ranges or standard deviations.
type Subgroups struct {
	Means, Ranges, StandardDeviations []float64
	// Centre is the mean of all values, Sigma that within subgroups.
	Centre, Sigma float64
	// MeanRange and MeanStandardDeviation are plain means over the subgroups.
	MeanRange, MeanStandardDeviation float64
	DegreesOfFreedom                 int

	sizes []int
}

// ChartSubgroups makes the chart; each subgroup holds 2 to [MaxSubgroup]
// values, and they need not be equal in size (NIST/SEMATECH e-Handbook 6.3.2.1).
func ChartSubgroups(groups [][]float64, spread Spread) (Subgroups, error) {
	if len(groups) == 0 {
		return Subgroups{}, fmt.Errorf("chart of subgroups: %w; there are none", ErrInput)
	}
	var c Subgroups
	var sigma, squares float64
	for i, g := range groups {
		k, err := ConstantsFor(len(g))
		if err != nil {
			return Subgroups{}, fmt.Errorf("subgroup %d: %w", i+1, err)
		}
		m := statistics.MomentsOf(g)
		r, sd := slices.Max(g)-slices.Min(g), m.StandardDeviation()
		c.Means, c.Ranges, c.StandardDeviations = append(c.Means, m.Mean), append(c.Ranges, r), append(c.StandardDeviations, sd)
		c.sizes = append(c.sizes, len(g))
		c.DegreesOfFreedom += len(g) - 1
		squares += m.SumOfSquares
		if spread == ByRange {
			sigma += r / k.MeanRange
		} else {
			sigma += sd / k.MeanSD
		}
	}
	c.Centre = statistics.MomentsOf(slices.Concat(groups...)).Mean
	c.MeanRange, c.MeanStandardDeviation = statistics.MomentsOf(c.Ranges).Mean, statistics.MomentsOf(c.StandardDeviations).Mean
	c.Sigma = sigma / float64(len(groups))
	if spread == Pooled {
		c.Sigma = math.Sqrt(squares / float64(c.DegreesOfFreedom))
	}
	return c, nil
}

// MeanLimits are those of the mean of a subgroup of n values, at three sigma.
func (c Subgroups) MeanLimits(n int) (lower, upper float64) {
	half := 3 * c.Sigma / math.Sqrt(float64(n))
	return c.Centre - half, c.Centre + half
}

// RangeLimits are those of the range of a subgroup of n values.
func (c Subgroups) RangeLimits(n int) (lower, upper float64, err error) {
	k, err := ConstantsFor(n)
	return k.D3 * k.MeanRange * c.Sigma, k.D4 * k.MeanRange * c.Sigma, err
}

// StandardDeviationLimits are those of the standard deviation of n values.
func (c Subgroups) StandardDeviationLimits(n int) (lower, upper float64, err error) {
	k, err := ConstantsFor(n)
	return k.B3 * k.MeanSD * c.Sigma, k.B4 * k.MeanSD * c.Sigma, err
}

// Outside lists the subgroups, from 1, whose means lie beyond their limits.
func (c Subgroups) Outside() []int {
	var outside []int
	for i, mean := range c.Means {
		if Beyond(math.Abs(mean-c.Centre), 3*c.Sigma/math.Sqrt(float64(c.sizes[i]))) {
			outside = append(outside, i+1)
		}
	}
	return outside
}
