package gauge

import (
	"fmt"
	"math"

	"coilkeep/internal/control"
	"coilkeep/internal/statistics"
)

// Occasion is one measurement of a check standard.
type Occasion struct {
	// Value is the mean of the repetitions.
	Value float64
	// StandardDeviation is that of the repetitions, with DegreesOfFreedom; both 0
	// when it was measured once.
	StandardDeviation float64
	DegreesOfFreedom  int
}

// CheckStandard is a check standard against its own limits, which come from the
// first occasions only. Indices count from 1.
type CheckStandard struct {
	Count         int     `json:"count"`
	BaselineCount int     `json:"baseline_count"`
	Centre        float64 `json:"centre"`
	// Sigma is the standard deviation of the baseline (not from moving ranges:
	// occasions are days apart).
	Sigma float64 `json:"sigma"`
	Lower float64 `json:"lower"` // centre less and plus three sigma
	Upper float64 `json:"upper"`
	// Outside is the occasions beyond the limits.
	Outside []int `json:"outside"`
	// EWMA starts from the centre at the first occasion after the baseline, or at
	// the first of all when all are baseline; EWMAOutside is those beyond limits.
	EWMA        []float64 `json:"ewma"`
	EWMAFrom    int       `json:"ewma_from"`
	EWMAOutside []int     `json:"ewma_outside"`
	CUSUMUp     []int     `json:"cusum_up"` // occasions at which the CUSUM signals a rise
	CUSUMDown   []int     `json:"cusum_down"`
	// Repeatability is pooled over the baseline; a repetition scatter above
	// RepeatabilityLimit (99 %, one-sided, F) is unusual. Nil without repetitions.
	Repeatability      *float64 `json:"repeatability,omitempty"`
	RepeatabilityLimit *float64 `json:"repeatability_limit,omitempty"`
	RepeatabilityHigh  []int    `json:"repeatability_high,omitempty"`
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

// WatchCheckStandard charts the occasions in the order they are given. The
// first baseline of them set the limits, 0 for all. scheme gives EWMA and CUSUM.
// (NIST/SEMATECH e-Handbook 2.2.2 and 2.3.5.)
func WatchCheckStandard(occasions []Occasion, baseline int, scheme control.Scheme) (CheckStandard, error) {
	if baseline == 0 || baseline > len(occasions) {
		baseline = len(occasions)
	}
	if baseline < MinCheckBaseline {
		return CheckStandard{}, fmt.Errorf("check standard measured %d of %d times: %w", baseline, MinCheckBaseline, ErrInput)
	}
	first := make([]float64, baseline)
	for i, o := range occasions {
		if math.IsNaN(o.Value) || math.IsInf(o.Value, 0) {
			return CheckStandard{}, fmt.Errorf("check standard, occasion %d: %w; %g is not a number to reckon with", i+1, ErrInput, o.Value)
		}
		if i < baseline {
			first[i] = o.Value
		}
	}
	m := statistics.MomentsOf(first)
	c := CheckStandard{Count: len(occasions), BaselineCount: baseline, Centre: m.Mean, Sigma: m.StandardDeviation()}
	c.Lower, c.Upper = c.Centre-3*c.Sigma, c.Centre+3*c.Sigma
	if c.Sigma == 0 {
		return CheckStandard{}, fmt.Errorf("check standard: %w; its first %d values are all equal, which is no scatter to judge by",
			ErrInput, baseline)
	}
	for i, o := range occasions {
		if o.Value < c.Lower || o.Value > c.Upper {
			c.Outside = append(c.Outside, i+1)
		}
	}
	if err := c.follow(occasions, scheme); err != nil {
		return CheckStandard{}, err
	}
	c.precision(occasions)
	return c, nil
}

// follow runs EWMA and CUSUM over what came after the baseline.
func (c *CheckStandard) follow(occasions []Occasion, scheme control.Scheme) error {
	monitor, err := control.NewMonitor(scheme)
	if err != nil {
		return err
	}
	from := c.BaselineCount
	if from == len(occasions) {
		from = 0
	}
	c.EWMAFrom = from + 1
	for i, o := range occasions[from:] {
		step := monitor.Add((o.Value - c.Centre) / c.Sigma)
		c.EWMA = append(c.EWMA, c.Centre+c.Sigma*step.EWMA)
		if step.EWMASignal {
			c.EWMAOutside = append(c.EWMAOutside, from+i+1)
		}
		if step.CUSUMSignal && step.Up > step.Down {
			c.CUSUMUp = append(c.CUSUMUp, from+i+1)
		} else if step.CUSUMSignal {
			c.CUSUMDown = append(c.CUSUMDown, from+i+1)
		}
	}
	return nil
}

// precision watches the scatter of repetitions.
func (c *CheckStandard) precision(occasions []Occasion) {
	squares, df := 0.0, 0
	for _, o := range occasions[:c.BaselineCount] {
		squares += float64(o.DegreesOfFreedom) * o.StandardDeviation * o.StandardDeviation
		df += o.DegreesOfFreedom
	}
	if df == 0 {
		return
	}
	pooled := math.Sqrt(squares / float64(df))
	c.Repeatability = &pooled
	limits := map[int]float64{}
	for i, o := range occasions {
		if o.DegreesOfFreedom == 0 {
			continue
		}
		limit, ok := limits[o.DegreesOfFreedom]
		if !ok {
			limit = pooled * math.Sqrt(statistics.FisherQuantile(0.99, float64(o.DegreesOfFreedom), float64(df)))
			limits[o.DegreesOfFreedom] = limit
		}
		c.RepeatabilityLimit = &limit
		if o.StandardDeviation > limit {
			c.RepeatabilityHigh = append(c.RepeatabilityHigh, i+1)
		}
	}
}
