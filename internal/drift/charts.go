package drift

import (
	"math"
	"slices"

	"coilkeep/internal/control"
)

// Charts are the control charts. Values and limits are in ohms but for the
// CUSUM. Every list has one entry a point; entries of coils left out are null.
type Charts struct {
	Individuals Chart  `json:"individuals"`      // of the coils one by one
	MovingRange Chart  `json:"moving_range"`     // of the difference between neighbours
	EWMA        Chart  `json:"ewma"`             // the exponentially weighted moving average
	CUSUM       CUSUM  `json:"cusum"`            // the cumulative sums
	Means       *Chart `json:"means,omitempty"`  // of subgroups
	Ranges      *Chart `json:"ranges,omitempty"` // of subgroups
}

// Chart is one control chart.
type Chart struct {
	Centre      float64    `json:"centre"`                 // ohms
	Lower       float64    `json:"lower"`                  // the limit for most points, ohms
	Upper       float64    `json:"upper"`                  // the limit for most points, ohms
	LowerLimits []float64  `json:"lower_limits,omitempty"` // those of each point, where they differ
	UpperLimits []float64  `json:"upper_limits,omitempty"` // those of each point, where they differ
	Values      []*float64 `json:"values"`                 // one for each point, ohms; null for coils left out
	Signals     []int      `json:"signals"`                // the indices, from 1, of values beyond their limits
}

// CUSUM is the tabular CUSUM in sigma.
type CUSUM struct {
	Centre           float64    `json:"centre"`     // ohms
	SigmaOhms        float64    `json:"sigma_ohms"` // what a sigma is here
	Slack            float64    `json:"k_sigma"`    // the slack k, in sigma
	DecisionInterval float64    `json:"h_sigma"`    // the decision interval h, in sigma
	Limit            float64    `json:"upper"`      // the same as h_sigma
	Lower            float64    `json:"lower"`      // its negative, for values
	Up               []*float64 `json:"up_sigma"`   // the upper sum, in sigma; null for coils left out
	Down             []*float64 `json:"down_sigma"` // the lower sum, in sigma
	// Both sums as one line in sigma: the larger of the two, negative where that is
	// the lower.
	Values  []*float64 `json:"values"`
	Signals []int      `json:"signals"` // the indices, from 1, of sums beyond h
	// At each signal, the index of the first coil of the run that led to it: an
	// early guess at the start of the change.
	Started []int `json:"started"`
}

// charting is the control charts as they are drawn, coil by coil.
type charting struct {
	*series
	baseline *Baseline
	scheme   control.Scheme
	charts   *Charts
	rules    []RuleSignal
}

// drawCharts runs all charts over the coils, by the baseline of the report, and
// puts them, the rules that fired and whether something signals at the end into it.
func drawCharts(r *Report, s *series, o Options, said *notes) error {
	monitor, err := control.NewMonitor(o.Scheme)
	if err != nil {
		return err
	}
	c := charting{series: s, baseline: r.Baseline, scheme: o.Scheme, charts: emptyCharts(r.Baseline, o.Scheme), rules: r.Rules}
	step := control.Step{}
	for i := range s.coils {
		sigma := math.Hypot(c.baseline.SigmaWithinOhms, s.ownError(i, c.baseline.UsualErrorOhms))
		c.chartIndividual(i, sigma)
		if !s.outlier[i] {
			step = monitor.Add((s.ohms[i] - c.baseline.MeanOhms) / sigma)
		}
		c.chartEWMA(i, step)
		c.chartCUSUM(i, step)
		if !s.outlier[i] {
			c.addRules(step.Fired, i)
		}
	}
	c.charts.MovingRange = c.chartMovingRanges()
	c.charts.Means, c.charts.Ranges, err = chartSubgroups(s.keptOhms(), c.baseline, o.Subgroup, said)
	// A lone coil beyond its limits at the end is named as such; what the
	// charts say as a whole is the last step.
	r.Charts, r.Rules, r.Signal = c.charts, c.rules, step.Signal()
	return err
}

// emptyCharts have their lines, and no coil as yet.
func emptyCharts(b *Baseline, s control.Scheme) *Charts {
	half := b.SigmaWithinOhms * s.EWMALimit * math.Sqrt(s.Lambda/(2-s.Lambda))
	return &Charts{
		Individuals: Chart{Centre: b.MeanOhms, Lower: b.MeanOhms - 3*b.SigmaWithinOhms, Upper: b.MeanOhms + 3*b.SigmaWithinOhms,
			Signals: []int{}},
		EWMA: Chart{Centre: b.MeanOhms, Lower: b.MeanOhms - half, Upper: b.MeanOhms + half, Signals: []int{}},
		CUSUM: CUSUM{Centre: b.MeanOhms, SigmaOhms: b.SigmaWithinOhms, Slack: s.Slack, DecisionInterval: s.DecisionInterval,
			Limit: s.DecisionInterval, Lower: -s.DecisionInterval, Signals: []int{}, Started: []int{}},
	}
}

func (c *charting) chartIndividual(i int, sigma float64) {
	mean, chart := c.baseline.MeanOhms, &c.charts.Individuals
	chart.Values = append(chart.Values, &c.ohms[i])
	chart.LowerLimits = append(chart.LowerLimits, mean-3*sigma)
	chart.UpperLimits = append(chart.UpperLimits, mean+3*sigma)
	if control.Beyond(math.Abs(c.ohms[i]-mean), 3*sigma) {
		chart.Signals = append(chart.Signals, i+1)
		if c.outlier[i] { // not part of any run, but beyond the limits all the same
			c.addRules((1<<control.WE1|1<<control.N1)&c.scheme.Rules, i)
		}
	}
}

// chartEWMA adds coil i; an outlier has no value, and the limits of the coil
// before.
func (c *charting) chartEWMA(i int, step control.Step) {
	mean, sigma, chart := c.baseline.MeanOhms, c.baseline.SigmaWithinOhms, &c.charts.EWMA
	chart.LowerLimits = append(chart.LowerLimits, mean-sigma*step.EWMALimit)
	chart.UpperLimits = append(chart.UpperLimits, mean+sigma*step.EWMALimit)
	if c.outlier[i] {
		chart.Values = append(chart.Values, nil)
		return
	}
	chart.Values = append(chart.Values, new(mean+sigma*step.EWMA))
	if step.EWMASignal {
		chart.Signals = append(chart.Signals, i+1)
	}
}

// chartCUSUM adds coil i; an outlier takes no part.
func (c *charting) chartCUSUM(i int, step control.Step) {
	chart := &c.charts.CUSUM
	if c.outlier[i] {
		chart.Up, chart.Down, chart.Values = append(chart.Up, nil), append(chart.Down, nil), append(chart.Values, nil)
		return
	}
	larger, run := step.Up, step.UpRun
	if step.Down > step.Up {
		larger, run = -step.Down, step.DownRun
	}
	chart.Up, chart.Down, chart.Values = append(chart.Up, &step.Up), append(chart.Down, &step.Down), append(chart.Values, &larger)
	if step.CUSUMSignal {
		last, _ := slices.BinarySearch(c.kept, i)
		chart.Signals = append(chart.Signals, i+1)
		chart.Started = append(chart.Started, c.kept[last+1-run]+1)
	}
}

func (c *charting) addRules(fired control.RuleSet, i int) {
	for _, rule := range fired.Rules() {
		c.rules = append(c.rules, RuleSignal{rule.String(), c.coils[i].Sequence, i + 1, rule.Meaning()})
	}
}

// chartMovingRanges charts the differences of neighbours, outliers left out.
func (c *charting) chartMovingRanges() Chart {
	mean := c.baseline.MeanRangeOhms
	chart := Chart{Centre: mean, Upper: control.RangeLimit(mean), Signals: []int{}, Values: make([]*float64, len(c.coils))}
	for k, r := range control.MovingRanges(c.keptOhms()) {
		i := c.kept[k+1]
		chart.Values[i] = &r
		if control.Beyond(r, chart.Upper) {
			chart.Signals = append(chart.Signals, i+1)
		}
	}
	return chart
}

// chartSubgroups charts means and ranges of n values in a row; nil for n below 2
// and for too few values. Limits come from the baseline's sigma; what is left at
// the end makes no subgroup.
func chartSubgroups(ohms []float64, b *Baseline, n int, said *notes) (means, ranges *Chart, err error) {
	if n < 2 {
		return nil, nil, nil
	}
	if len(ohms) < n {
		said.add("%d coils make no subgroup of %d", len(ohms), n)
		return nil, nil, nil
	}
	s, err := control.ChartSubgroups(slices.Collect(slices.Chunk(ohms[:len(ohms)/n*n], n)))
	if err != nil {
		return nil, nil, err
	}
	s.Centre, s.Sigma = b.MeanOhms, b.SigmaWithinOhms
	k, err := control.ConstantsFor(n)
	if err != nil {
		return nil, nil, err
	}
	means, ranges = &Chart{Centre: b.MeanOhms, Signals: []int{}}, &Chart{Centre: k.MeanRange * b.SigmaWithinOhms, Signals: []int{}}
	means.Lower, means.Upper = s.MeanLimits(n)
	if ranges.Lower, ranges.Upper, err = s.RangeLimits(n); err != nil {
		return nil, nil, err
	}
	for g := range s.Means {
		means.addJudged(&s.Means[g])
		ranges.addJudged(&s.Ranges[g])
	}
	return means, ranges, nil
}

// addJudged appends a value and judges it by the chart's limits.
func (c *Chart) addJudged(value *float64) {
	c.Values = append(c.Values, value)
	half := (c.Upper - c.Lower) / 2
	if control.Beyond(math.Abs(*value-(c.Lower+half)), half) {
		c.Signals = append(c.Signals, len(c.Values))
	}
}
