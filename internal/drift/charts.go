package drift

import (
	"math"

	"coilkeep/internal/control"
)

// Charts are the control charts. Values and limits are in ohms but for the
// CUSUM. Every list has one entry a point; entries of coils left out are null.
type Charts struct {
	Individuals Chart  `json:"individuals"`
	MovingRange Chart  `json:"moving_range"`
	EWMA        Chart  `json:"ewma"`
	CUSUM       CUSUM  `json:"cusum"`
	Means       *Chart `json:"means,omitempty"`  // of subgroups
	Ranges      *Chart `json:"ranges,omitempty"` // of subgroups
}

// Chart is one control chart.
type Chart struct {
	Centre float64 `json:"centre"`
	// Lower and Upper are the limits for most points; LowerLimits and UpperLimits
	// are those of each, where they differ.
	Lower       float64    `json:"lower"`
	Upper       float64    `json:"upper"`
	LowerLimits []float64  `json:"lower_limits,omitempty"`
	UpperLimits []float64  `json:"upper_limits,omitempty"`
	Values      []*float64 `json:"values"`
	// Signals are the indices, from 1, of values beyond their limits.
	Signals []int `json:"signals"`
}

// CUSUM is the tabular CUSUM in sigma.
type CUSUM struct {
	Centre           float64    `json:"centre"` // in ohms
	SigmaOhms        float64    `json:"sigma_ohms"`
	Slack            float64    `json:"k_sigma"`
	DecisionInterval float64    `json:"h_sigma"`
	Limit            float64    `json:"upper"` // the same as h_sigma
	Lower            float64    `json:"lower"` // its negative, for Values
	Up               []*float64 `json:"up_sigma"`
	Down             []*float64 `json:"down_sigma"`
	// Values are both sums as one line in sigma: the larger of the two, negative
	// where that is Down.
	Values  []*float64 `json:"values"`
	Signals []int      `json:"signals"`
	// Started is, at each signal, the index of the first coil of the run that led
	// to it: an early guess at the start of the change.
	Started []int `json:"started"`
}

// add puts down the sums at one more coil, nil where it takes no part.
func (c *CUSUM) add(up, down *float64) {
	value := up
	if up != nil && *down > *up {
		value = new(-*down)
	}
	c.Up, c.Down, c.Values = append(c.Up, up), append(c.Down, down), append(c.Values, value)
}

// chart runs all charts over the coils.
func (a *analysis) chart() error {
	b := a.report.Baseline
	if b == nil {
		return nil
	}
	monitor, err := control.NewMonitor(a.scheme)
	if err != nil {
		return err
	}
	c := &Charts{
		Individuals: Chart{Centre: b.MeanOhms, Lower: b.MeanOhms - 3*b.SigmaWithinOhms, Upper: b.MeanOhms + 3*b.SigmaWithinOhms, Signals: []int{}},
		EWMA:        Chart{Centre: b.MeanOhms, Signals: []int{}},
		CUSUM:       CUSUM{Centre: b.MeanOhms, SigmaOhms: b.SigmaWithinOhms, Slack: a.scheme.Slack, DecisionInterval: a.scheme.DecisionInterval, Limit: a.scheme.DecisionInterval, Lower: -a.scheme.DecisionInterval, Signals: []int{}, Started: []int{}},
	}
	a.report.Charts = c
	step := control.Step{}
	used := 0
	for i := range a.coils {
		sigma := math.Hypot(b.SigmaWithinOhms, a.ownErrorOver(i, b.UsualErrorOhms))
		a.chartIndividual(c, i, sigma)
		if a.outlier[i] {
			c.EWMA.add(nil, 0)
			c.CUSUM.add(nil, nil)
			a.extendEWMALimits(c, step.EWMALimit)
			continue
		}
		used++
		step = monitor.Add((a.ohms[i] - b.MeanOhms) / sigma)
		a.chartStep(c, i, used, step)
	}
	half := b.SigmaWithinOhms * a.scheme.EWMALimit * math.Sqrt(a.scheme.Lambda/(2-a.scheme.Lambda))
	c.EWMA.Lower, c.EWMA.Upper = b.MeanOhms-half, b.MeanOhms+half
	c.MovingRange = a.movingRanges(b)
	// A lone coil beyond its limits at the end is named as such; what the
	// charts say as a whole is the last step.
	a.report.Signal = used > 0 && step.Signal()
	return a.chartSubgroups(c)
}

func (a *analysis) chartIndividual(c *Charts, i int, sigma float64) {
	b := a.report.Baseline
	c.Individuals.add(&a.ohms[i], 0)
	c.Individuals.LowerLimits = append(c.Individuals.LowerLimits, b.MeanOhms-3*sigma)
	c.Individuals.UpperLimits = append(c.Individuals.UpperLimits, b.MeanOhms+3*sigma)
	if control.Beyond(math.Abs(a.ohms[i]-b.MeanOhms), 3*sigma) {
		c.Individuals.Signals = append(c.Individuals.Signals, i+1)
		if a.outlier[i] { // not part of any run, but beyond the limits all the same
			a.addRules((1<<control.WE1|1<<control.N1)&a.scheme.Rules, i)
		}
	}
}

func (a *analysis) chartStep(c *Charts, i, used int, step control.Step) {
	b := a.report.Baseline
	ewma, up, down := b.MeanOhms+b.SigmaWithinOhms*step.EWMA, step.Up, step.Down
	c.EWMA.add(&ewma, 0)
	a.extendEWMALimits(c, step.EWMALimit)
	if step.EWMASignal {
		c.EWMA.Signals = append(c.EWMA.Signals, i+1)
	}
	c.CUSUM.add(&up, &down)
	if step.CUSUMSignal {
		run := step.UpRun
		if step.Down > step.Up {
			run = step.DownRun
		}
		c.CUSUM.Signals = append(c.CUSUM.Signals, i+1)
		c.CUSUM.Started = append(c.CUSUM.Started, a.kept[used-run]+1)
	}
	a.addRules(step.Fired, i)
}

func (a *analysis) addRules(fired control.RuleSet, i int) {
	for _, rule := range fired.Rules() {
		a.report.Rules = append(a.report.Rules, RuleSignal{rule.String(), a.coils[i].Sequence, i + 1, rule.Meaning()})
	}
}

func (a *analysis) extendEWMALimits(c *Charts, limit float64) {
	b := a.report.Baseline
	c.EWMA.LowerLimits = append(c.EWMA.LowerLimits, b.MeanOhms-b.SigmaWithinOhms*limit)
	c.EWMA.UpperLimits = append(c.EWMA.UpperLimits, b.MeanOhms+b.SigmaWithinOhms*limit)
}

// movingRanges charts the differences of neighbours, outliers left out.
func (a *analysis) movingRanges(b *Baseline) Chart {
	c := Chart{Centre: b.MeanRangeOhms, Upper: control.RangeLimit(b.MeanRangeOhms), Signals: []int{}, Values: make([]*float64, len(a.coils))}
	for k := 1; k < len(a.kept); k++ {
		i := a.kept[k]
		r := math.Abs(a.ohms[i] - a.ohms[a.kept[k-1]])
		c.Values[i] = &r
		if control.Beyond(r, c.Upper) {
			c.Signals = append(c.Signals, i+1)
		}
	}
	return c
}

// chartSubgroups charts means and ranges of so many kept coils in a row. Limits
// come from the baseline's sigma; what is left at the end makes no subgroup.
func (a *analysis) chartSubgroups(c *Charts) error {
	n, b := a.options.Subgroup, a.report.Baseline
	if n < 2 {
		return nil
	}
	var groups [][]float64
	for k := 0; k+n <= len(a.kept); k += n {
		groups = append(groups, valuesAt(a.ohms, a.kept[k:k+n]))
	}
	if len(groups) == 0 {
		a.note("%d coils make no subgroup of %d", len(a.kept), n)
		return nil
	}
	s, err := control.ChartSubgroups(groups)
	if err != nil {
		return err
	}
	s.Centre, s.Sigma = b.MeanOhms, b.SigmaWithinOhms
	k, err := control.ConstantsFor(n)
	if err != nil {
		return err
	}
	means, ranges := &Chart{Centre: b.MeanOhms, Signals: []int{}}, &Chart{Centre: k.MeanRange * b.SigmaWithinOhms, Signals: []int{}}
	means.Lower, means.Upper = s.MeanLimits(n)
	if ranges.Lower, ranges.Upper, err = s.RangeLimits(n); err != nil {
		return err
	}
	for g := range groups {
		means.add(&s.Means[g], g+1)
		ranges.add(&s.Ranges[g], g+1)
	}
	c.Means, c.Ranges = means, ranges
	return nil
}

// add appends a value; given its index, it is judged by the chart's limits.
func (c *Chart) add(value *float64, index int) {
	c.Values = append(c.Values, value)
	if index == 0 || value == nil {
		return
	}
	half := (c.Upper - c.Lower) / 2
	middle := c.Lower + half
	if control.Beyond(math.Abs(*value-middle), half) {
		c.Signals = append(c.Signals, index)
	}
}
