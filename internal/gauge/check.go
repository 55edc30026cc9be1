package gauge

import (
	"fmt"
	"math"

	"coilkeep/internal/control"
	"coilkeep/internal/statistics"
)

// CheckStandard is a check standard against its own limits, which come from the
// first occasions only. Indices count from 1.
type CheckStandard struct {
	Count, BaselineCount int
	Centre               float64
	// Sigma is the standard deviation of the baseline (not from moving ranges:
	// occasions are days apart).
	Sigma        float64
	Lower, Upper float64 // centre less and plus three sigma
	// Outside is the occasions beyond the limits, EWMAOutside those at which the EWMA
	// is. It starts from the centre at the first occasion after the baseline, or at
	// the first of all when all are baseline.
	Outside, EWMAOutside []int
}

// MinCheckBaseline is the least number of occasions limits are made of.
const MinCheckBaseline = 5

// mostCheckBaseline is how many occasions limits are made of at most: what comes
// after them is to be judged.
const mostCheckBaseline = 20

// CheckBaseline is how many of so many occasions set the limits: the first half of
// them, but enough for limits where there are as many.
func CheckBaseline(occasions int) int {
	return min(occasions, max(MinCheckBaseline, min(mostCheckBaseline, occasions/2)))
}

// WatchCheckStandard charts a check standard, measured on occasions in the order
// they are given. The first baseline of them set the limits, 0 for all. scheme gives
// the EWMA. (NIST/SEMATECH e-Handbook 2.2.2 and 2.3.5.)
func WatchCheckStandard(occasions []float64, baseline int, scheme control.Scheme) (CheckStandard, error) {
	if baseline == 0 || baseline > len(occasions) {
		baseline = len(occasions)
	}
	if baseline < MinCheckBaseline {
		return CheckStandard{}, fmt.Errorf("check standard measured %d of %d times: %w", baseline, MinCheckBaseline, ErrInput)
	}
	for i, v := range occasions {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return CheckStandard{}, fmt.Errorf("check standard, occasion %d: %w; %g is not a number to reckon with", i+1, ErrInput, v)
		}
	}
	m := statistics.MomentsOf(occasions[:baseline])
	c := CheckStandard{Count: len(occasions), BaselineCount: baseline, Centre: m.Mean, Sigma: m.StandardDeviation()}
	c.Lower, c.Upper = c.Centre-3*c.Sigma, c.Centre+3*c.Sigma
	if c.Sigma == 0 {
		return CheckStandard{}, fmt.Errorf("check standard: %w; its first %d values are all equal, which is no scatter to judge by",
			ErrInput, baseline)
	}
	monitor, err := control.NewMonitor(scheme)
	if err != nil {
		return CheckStandard{}, err
	}
	for i, v := range occasions {
		if v < c.Lower || v > c.Upper {
			c.Outside = append(c.Outside, i+1)
		}
		afterBaseline := i >= baseline || baseline == len(occasions)
		if afterBaseline && monitor.Add((v-c.Centre)/c.Sigma).EWMASignal {
			c.EWMAOutside = append(c.EWMAOutside, i+1)
		}
	}
	return c, nil
}
