package control

import (
	"fmt"
	"math"
	"slices"

	"coilkeep/internal/statistics"
)

// Subgroups is a chart of means with a chart of ranges.
type Subgroups struct {
	Means, Ranges []float64
	// Centre is the mean of all values, Sigma that within subgroups: the mean of
	// range/d2.
	Centre, Sigma float64
}

// ChartSubgroups makes the chart; each subgroup holds 2 to [MaxSubgroup]
// values, and they need not be equal in size (NIST/SEMATECH e-Handbook 6.3.2.1).
func ChartSubgroups(groups [][]float64) (Subgroups, error) {
	if len(groups) == 0 {
		return Subgroups{}, fmt.Errorf("chart of subgroups: %w; there are none", ErrInput)
	}
	var c Subgroups
	for i, g := range groups {
		k, err := ConstantsFor(len(g))
		if err != nil {
			return Subgroups{}, fmt.Errorf("subgroup %d: %w", i+1, err)
		}
		r := slices.Max(g) - slices.Min(g)
		c.Means, c.Ranges = append(c.Means, statistics.MomentsOf(g).Mean), append(c.Ranges, r)
		c.Sigma += r / k.MeanRange / float64(len(groups))
	}
	c.Centre = statistics.MomentsOf(slices.Concat(groups...)).Mean
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
