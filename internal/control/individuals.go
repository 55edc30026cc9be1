package control

import (
	"fmt"
	"math"

	"coilkeep/internal/statistics"
)

// Individuals is a chart of single values.
type Individuals struct {
	Centre float64
	// Sigma is MeanRange/1.128, see [D2]; MeanRange the mean of the moving ranges.
	Sigma, MeanRange float64
}

// ChartIndividuals makes the chart of two values or more (NIST/SEMATECH
// e-Handbook 6.3.2.2).
func ChartIndividuals(values []float64) (Individuals, error) {
	if len(values) < 2 {
		return Individuals{}, fmt.Errorf("individuals chart of %d values: %w; two are needed", len(values), ErrInput)
	}
	meanRange := statistics.MomentsOf(MovingRanges(values)).Mean
	return Individuals{Centre: statistics.MomentsOf(values).Mean, Sigma: meanRange / D2, MeanRange: meanRange}, nil
}

// MovingRanges are the absolute differences of neighbours, one fewer than the
// values.
func MovingRanges(values []float64) []float64 {
	ranges := make([]float64, max(0, len(values)-1))
	for i := range ranges {
		ranges[i] = math.Abs(values[i+1] - values[i])
	}
	return ranges
}

// RangeLimit is the upper limit of moving ranges of two: D4 = 1 + 3·d3/d2 =
// 3.267 times their mean. The lower is 0.
func RangeLimit(meanRange float64) float64 {
	d2, d3 := 2/math.Sqrt(math.Pi), math.Sqrt(2-4/math.Pi)
	return (1 + 3*d3/d2) * meanRange
}

// RobustSigma is sigma from the median of the moving ranges, median/0.9539: the
// median of |difference of two normal values| is 0.6745·√2 sigma. Steps and
// single bad values hardly move it. It is NaN for fewer than two values.
func RobustSigma(values []float64) float64 {
	const medianRange = 0.6744897501960817 * math.Sqrt2
	return statistics.MedianInPlace(MovingRanges(values)) / medianRange
}
