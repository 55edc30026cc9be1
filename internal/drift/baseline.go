package drift

import (
	"fmt"
	"math"

	"coilkeep/internal/control"
	"coilkeep/internal/statistics"
)

// Baseline is the coils that set the limits. Frozen, it can be kept and handed
// to later analyses.
type Baseline struct {
	MeanOhms         float64 `json:"mean_ohms"`
	SigmaWithinOhms  float64 `json:"sigma_within_ohms"`
	SigmaOverallOhms float64 `json:"sigma_overall_ohms"`
	// MeanRangeOhms is the mean moving range behind sigma within.
	MeanRangeOhms float64 `json:"mean_range_ohms"`
	Count         int     `json:"count"`
	// FirstSequence and LastSequence are left out of a frozen one, whose coils are
	// mostly others.
	FirstSequence int `json:"first_sequence,omitempty"`
	LastSequence  int `json:"last_sequence,omitempty"`
	// UsualErrorOhms is the median standard uncertainty of its coils; 0 when
	// not known.
	UsualErrorOhms float64 `json:"usual_standard_uncertainty_ohms"`
	// Frozen is true when it was handed in and not made from these coils.
	Frozen bool `json:"frozen"`
	// Short is true below 40 coils: limits are then uncertain and raise more
	// false alarms than stated.
	Short bool `json:"short"`
}

// check refuses a baseline that cannot be one.
func (b Baseline) check() error {
	if !isResistance(b.MeanOhms) || !(b.SigmaWithinOhms > 0 && b.SigmaWithinOhms <= mostOhms) || b.Count < control.LeastBaseline {
		return fmt.Errorf("frozen baseline of %d coils, mean %g and sigma %g ohms: %w; it needs %d coils that differ", b.Count, b.MeanOhms, b.SigmaWithinOhms, ErrInput, control.LeastBaseline)
	}
	return nil
}

// setBaseline takes the frozen baseline or makes one of the first good coils.
func (a *analysis) setBaseline() {
	if a.options.Frozen != nil {
		b := *a.options.Frozen
		b.Frozen = true
		a.acceptBaseline(b)
		return
	}
	var indices []int
	for i, c := range a.coils {
		if !a.outlier[i] && c.Doubtful == "" && a.inPeriod(i) {
			indices = append(indices, i)
		}
		if len(indices) == a.baselineCount() {
			break
		}
	}
	if len(indices) < control.LeastBaseline {
		a.note("too few good coils for control limits: %d of %d; mean, spread and what stands apart can be told, drift cannot", len(indices), control.LeastBaseline)
		return
	}
	values := valuesAt(a.ohms, indices)
	chart, err := control.ChartIndividuals(values)
	if err != nil {
		a.note("no control limits: %v", err)
		return
	}
	if chart.Sigma <= 1e-12*chart.Centre {
		a.note("the %d coils of the baseline do not differ at all, so there is no spread to judge by: look whether the meter is stuck or far too coarse", len(indices))
		return
	}
	for _, i := range indices {
		a.inBaseline[i] = true
	}
	a.acceptBaseline(Baseline{
		MeanOhms: chart.Centre, SigmaWithinOhms: chart.Sigma, MeanRangeOhms: chart.MeanRange,
		SigmaOverallOhms: statistics.MomentsOf(values).StandardDeviation(),
		Count:            len(indices),
		FirstSequence:    a.coils[indices[0]].Sequence, LastSequence: a.coils[indices[len(indices)-1]].Sequence,
		UsualErrorOhms: a.usualError(indices),
	})
}

func (a *analysis) acceptBaseline(b Baseline) {
	b.Short = b.Count < DefaultBaseline
	if b.Short {
		a.note("the limits come from %d coils only; below %d they raise more false alarms than stated", b.Count, DefaultBaseline)
	}
	a.report.Baseline = &b
}

func (a *analysis) baselineCount() int {
	if !a.options.BaselineFrom.IsZero() || !a.options.BaselineTo.IsZero() {
		return len(a.coils)
	}
	if a.options.BaselineCount == 0 {
		return DefaultBaseline
	}
	return a.options.BaselineCount
}

// inPeriod says whether coil i lies in the period chosen for the baseline, if
// one was.
func (a *analysis) inPeriod(i int) bool {
	from, to, at := a.options.BaselineFrom, a.options.BaselineTo, a.coils[i].WoundAt()
	if from.IsZero() && to.IsZero() {
		return true
	}
	return !at.IsZero() && !at.Before(from) && (to.IsZero() || at.Before(to))
}

// usualError is the median standard uncertainty of some coils, 0 when none is
// known.
func (a *analysis) usualError(indices []int) float64 {
	var errors []float64
	for _, i := range indices {
		if e := a.coils[i].standardError(); e > 0 {
			errors = append(errors, e)
		}
	}
	if len(errors) == 0 {
		return 0
	}
	return statistics.MedianInPlace(errors)
}

// ownError is by how much coil i is less well known than is usual here: only
// that part is its own. The rest, meter and temperature, all coils share.
func (a *analysis) ownError(i int) float64 { return a.ownErrorOver(i, a.usual) }

// ownErrorOver is the same against another usual uncertainty, 0 if that is not
// known.
func (a *analysis) ownErrorOver(i int, usual float64) float64 {
	own := a.coils[i].standardError()
	if usual == 0 || own <= usual {
		return 0
	}
	return math.Sqrt(own*own - usual*usual)
}

// standardError is the standard uncertainty of what a coil is compared by, 0 when
// not known.
func (c Coil) standardError() float64 {
	k := c.CoverageFactor
	if k == 0 {
		k = 2
	}
	return c.ExpandedUncertaintyOhms / k * c.comparisonFactor()
}

func valuesAt(values []float64, indices []int) []float64 {
	picked := make([]float64, len(indices))
	for i, j := range indices {
		picked[i] = values[j]
	}
	return picked
}
