package drift

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"time"

	"coilkeep/internal/control"
	"coilkeep/internal/statistics"
	"coilkeep/internal/words"
)

// Baseline is the coils that set the limits. Frozen, it can be kept and handed
// to later analyses.
type Baseline struct {
	MeanOhms         float64 `json:"mean_ohms"`          // the centre, ohms
	SigmaWithinOhms  float64 `json:"sigma_within_ohms"`  // mean moving range over 1.128
	SigmaOverallOhms float64 `json:"sigma_overall_ohms"` // standard deviation
	MeanRangeOhms    float64 `json:"mean_range_ohms"`    // the mean moving range behind sigma within
	Count            int     `json:"count"`              // how many coils
	// The first of them; left out of a frozen one, whose coils are mostly others.
	FirstSequence int `json:"first_sequence,omitempty"`
	LastSequence  int `json:"last_sequence,omitempty"` // the last of them
	// The median standard uncertainty of its coils; 0 when not known.
	UsualErrorOhms float64 `json:"usual_standard_uncertainty_ohms"`
	// Whether it was kept from before and not made from these coils.
	Frozen bool `json:"frozen"`
	// True below 40 coils: limits are then uncertain and raise more false alarms
	// than stated.
	Short bool `json:"short"`
}

// check refuses a baseline that cannot be one.
func (b Baseline) check() error {
	if !isResistance(b.MeanOhms) || !(b.SigmaWithinOhms > 0 && b.SigmaWithinOhms <= mostOhms) || b.Count < control.LeastBaseline {
		return fmt.Errorf("frozen baseline of %d coils, mean %g and sigma %g ohms: %w; it needs %d coils that differ", b.Count, b.MeanOhms,
			b.SigmaWithinOhms, ErrInput, control.LeastBaseline)
	}
	return nil
}

// chosenBaseline is the baseline with the coils it was made of.
type chosenBaseline struct {
	Baseline
	// coils are the indices it was made of, ascending; none for a frozen one.
	coils []int
}

// holdsCoil says whether coil i is one of those the limits were made of.
func (b *chosenBaseline) holdsCoil(i int) bool {
	if b == nil {
		return false
	}
	_, found := slices.BinarySearch(b.coils, i)
	return found
}

// chooseBaseline takes the frozen baseline or makes one of the first good coils;
// nil when neither is to be had.
func chooseBaseline(s *series, o Options, said *notes) *chosenBaseline {
	var b *chosenBaseline
	if o.Frozen != nil {
		b = &chosenBaseline{Baseline: *o.Frozen}
		b.Frozen = true
	} else if b = baselineOf(s, goodCoils(s, o), said); b == nil {
		return nil
	}
	b.Short = b.Count < DefaultBaseline
	if b.Short {
		said.add("the limits come from %d coils only; below %d they raise more false alarms than stated", b.Count, DefaultBaseline)
	}
	return b
}

// goodCoils are those a baseline is made of: so many from the first on, or all of
// the period chosen.
func goodCoils(s *series, o Options) []int {
	most := cmp.Or(o.BaselineCount, DefaultBaseline)
	if !o.BaselineFrom.IsZero() || !o.BaselineTo.IsZero() {
		most = len(s.coils)
	}
	var good []int
	for _, i := range s.kept {
		if c := s.coils[i]; len(good) < most && c.Doubtful == "" && o.inBaselinePeriod(c.WoundAt()) {
			good = append(good, i)
		}
	}
	return good
}

// inBaselinePeriod says whether an instant lies in the period chosen for the
// baseline, if one was.
func (o Options) inBaselinePeriod(at time.Time) bool {
	from, to := o.BaselineFrom, o.BaselineTo
	if from.IsZero() && to.IsZero() {
		return true
	}
	return !at.IsZero() && !at.Before(from) && (to.IsZero() || at.Before(to))
}

// baselineOf makes a baseline of some coils; nil when they make none.
func baselineOf(s *series, indices []int, said *notes) *chosenBaseline {
	if len(indices) < control.LeastBaseline {
		said.add("too few good coils for control limits: %d of %d; mean, spread and what stands apart can be told, drift cannot",
			len(indices), control.LeastBaseline)
		return nil
	}
	values := valuesAt(s.ohms, indices)
	chart, err := control.ChartIndividuals(values)
	if err != nil {
		said.add("no control limits: %v", err)
		return nil
	}
	if chart.Sigma <= 1e-12*chart.Centre {
		said.add("the %d coils of the baseline do not differ at all, so there is no spread to judge by: "+
			"look whether the meter is stuck or far too coarse", len(indices))
		return nil
	}
	return &chosenBaseline{coils: indices, Baseline: Baseline{
		MeanOhms: chart.Centre, SigmaWithinOhms: chart.Sigma, MeanRangeOhms: chart.MeanRange,
		SigmaOverallOhms: statistics.MomentsOf(values).StandardDeviation(),
		Count:            len(indices),
		FirstSequence:    s.coils[indices[0]].Sequence, LastSequence: s.coils[indices[len(indices)-1]].Sequence,
		UsualErrorOhms: s.usualErrorOf(indices),
	}}
}

// warnOfBaseline says when the process moved while the limits were being made.
func warnOfBaseline(m *movement, b *chosenBaseline, said *notes) {
	var within []string
	for _, c := range m.steps {
		if b.holdsCoil(m.kept[c.k-1]) && b.holdsCoil(m.kept[c.k]) {
			within = append(within, strconv.Itoa(m.keptCoil(c.k).Sequence))
		}
	}
	const consequence = "so its limits are not those of a steady process: choose other coils for it"
	switch len(within) {
	case 0:
	case 1:
		said.add("the baseline holds the change at coil %s, %s", within[0], consequence)
	default:
		said.add("the baseline holds the changes at coils %s, %s", words.And(within), consequence)
	}
	for _, t := range m.trends() {
		n := 0
		for _, i := range m.kept[t.first:t.last] {
			if b.holdsCoil(i) {
				n++
			}
		}
		if n >= minSloped {
			said.add("the baseline holds %d coils of the slope from %s, %s", n, m.keptName(t.first), consequence)
		}
	}
}
