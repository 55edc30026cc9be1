package drift

import (
	"fmt"
	"slices"

	"coilkeep/internal/control"
	"coilkeep/internal/statistics"
)

// analysis is the work on one report.
type analysis struct {
	coils   []Coil
	options Options
	scheme  control.Scheme
	// ohms are what the coils are compared by.
	ohms []float64
	// usual is the median standard uncertainty of all coils.
	usual float64
	// outlier and inBaseline have one entry a coil; kept lists those that are no
	// outliers.
	outlier, inBaseline []bool
	kept                []int
	// pieces describe the kept coils, at the price described, with left as sum of
	// squares about them; segments cut them.
	pieces          []piece
	described, left float64
	segments        *segmenter
	// roomAlone is the dependence on temperature, when it explains every step and
	// trend by itself.
	roomAlone *roomEffect
	report    Report
}

// Analyse looks for drift in coils, which are in the order of winding. It
// refuses, with an error that wraps [ErrInput] and names the coil, values that
// cannot be; too few coils are no error but said in the report's notes.
func Analyse(coils []Coil, options Options) (Report, error) {
	a := &analysis{coils: slices.Clone(coils), options: options, scheme: options.Scheme}
	if a.scheme == (control.Scheme{}) {
		a.scheme = control.StandardScheme()
	}
	if err := a.check(); err != nil {
		return Report{}, err
	}
	a.begin()
	if options.LeftOut {
		a.note("these are the newest %d coils; earlier ones are left out", len(a.coils))
	}
	a.tellOtherTargets()
	a.screen()
	for i := range a.coils {
		if !a.outlier[i] {
			a.kept = append(a.kept, i)
		}
	}
	a.setBaseline()
	if err := a.chart(); err != nil {
		return Report{}, fmt.Errorf("draw the charts: %w", err)
	}
	a.tellFalseAlarms()
	a.findChanges()
	a.trend()
	a.warnOfBaseline()
	a.watchCheckStandard()
	a.watchTemperature()
	a.compareFactors()
	a.attribute()
	a.capability()
	a.bookSpools()
	a.splitSpread()
	a.advise()
	a.points()
	a.report.Summary = a.summary()
	return a.report, nil
}

func (a *analysis) check() error {
	if len(a.coils) == 0 {
		return fmt.Errorf("no coils: %w", ErrInput)
	}
	for i := range a.coils {
		if a.coils[i].Sequence == 0 {
			a.coils[i].Sequence = i + 1
		}
		if err := a.coils[i].check(); err != nil {
			return fmt.Errorf("%s: %w", a.name(i), err)
		}
	}
	return a.options.check(a.scheme)
}

func (c Coil) check() error {
	switch {
	case !isResistance(c.R20Ohms):
		return fmt.Errorf("R20 of %g ohms: %w; it is a number from %g to %g", c.R20Ohms, ErrInput, leastOhms, mostOhms)
	case !(c.ExpandedUncertaintyOhms >= 0 && c.ExpandedUncertaintyOhms <= mostOhms):
		return fmt.Errorf("uncertainty of %g ohms: %w; it is a number from 0 to %g", c.ExpandedUncertaintyOhms, ErrInput, mostOhms)
	case c.ComparedBy != 0 && !(c.ComparedBy > 0 && isResistance(c.R20Ohms*c.ComparedBy)):
		return fmt.Errorf("compared by a factor of %g: %w; it is one target over another", c.ComparedBy, ErrInput)
	case c.CoverageFactor != 0 && !(c.CoverageFactor >= 1 && c.CoverageFactor < 100):
		return fmt.Errorf("coverage factor %g: %w; it is at least 1", c.CoverageFactor, ErrInput)
	case c.TemperatureCelsius != nil && !(*c.TemperatureCelsius >= -50 && *c.TemperatureCelsius <= 150):
		return fmt.Errorf("temperature %g °C: %w; copper is referred to 20 °C from -50 to 150 °C", *c.TemperatureCelsius, ErrInput)
	}
	for _, ohms := range c.CheckStandardOhms {
		if !isResistance(ohms) {
			return fmt.Errorf("check standard of %g ohms: %w; it is a number from %g to %g", ohms, ErrInput, leastOhms, mostOhms)
		}
	}
	return nil
}

// Resistances from leastOhms to mostOhms are taken: far beyond any coil, and far
// within what the sums below can hold.
const leastOhms, mostOhms = 1e-3, 1e12

func isResistance(ohms float64) bool { return ohms >= leastOhms && ohms <= mostOhms }

func (o Options) check(scheme control.Scheme) error {
	for _, v := range []struct {
		name string
		ohms float64
	}{{"target", o.TargetOhms}, {"lower limit", o.LowerOhms}, {"upper limit", o.UpperOhms}} {
		if v.ohms != 0 && !isResistance(v.ohms) {
			return fmt.Errorf("%s of %g ohms: %w; it is a number from %g to %g", v.name, v.ohms, ErrInput, leastOhms, mostOhms)
		}
	}
	switch {
	case (o.LowerOhms == 0) != (o.UpperOhms == 0):
		return fmt.Errorf("one limit of the tolerance only: %w; give both", ErrInput)
	case o.UpperOhms < o.LowerOhms || o.UpperOhms != 0 && o.UpperOhms == o.LowerOhms:
		return fmt.Errorf("tolerance from %g to %g ohms: %w; the upper limit is above the lower", o.LowerOhms, o.UpperOhms, ErrInput)
	case o.TargetOhms != 0 && o.UpperOhms != 0 && (o.TargetOhms < o.LowerOhms || o.TargetOhms > o.UpperOhms):
		return fmt.Errorf("target of %g ohms: %w; it lies outside the tolerance of %g to %g", o.TargetOhms, ErrInput, o.LowerOhms, o.UpperOhms)
	case o.BaselineCount != 0 && o.BaselineCount < control.LeastBaseline:
		return fmt.Errorf("baseline of %d coils: %w; it takes %d at least, and %d are better", o.BaselineCount, ErrInput, control.LeastBaseline, DefaultBaseline)
	case o.Subgroup < 0 || o.Subgroup > control.MaxSubgroup:
		return fmt.Errorf("subgroups of %d: %w; they hold 2 to %d coils", o.Subgroup, ErrInput, control.MaxSubgroup)
	}
	if o.Frozen != nil {
		if err := o.Frozen.check(); err != nil {
			return err
		}
	}
	if err := scheme.Check(); err != nil {
		return err
	}
	return o.Winding.check()
}

// begin fills in what everything else starts from.
func (a *analysis) begin() {
	n := len(a.coils)
	a.ohms = make([]float64, n)
	all := make([]int, n)
	for i, c := range a.coils {
		a.ohms[i], all[i] = c.R20Ohms*c.comparisonFactor(), i
	}
	a.usual = a.usualError(all)
	a.outlier, a.inBaseline = make([]bool, n), make([]bool, n)
	a.report = Report{
		Evidence: []string{}, Rules: []RuleSignal{}, Outliers: []Outlier{}, ChangePoints: []ChangePoint{}, EarlierTrends: []Trend{}, Attribution: []Attribution{},
		Factors: []Factor{}, Spools: []SpoolEntry{}, Notes: []string{}, Conventions: conventions,
	}
	if o := a.options; o.TargetOhms != 0 {
		a.report.Target = &o.TargetOhms
	}
	if o := a.options; o.UpperOhms != 0 {
		a.report.Lower, a.report.Upper = &o.LowerOhms, &o.UpperOhms
	}
}

// comparisonFactor is the factor between R20 of a coil and what it is compared by.
func (c Coil) comparisonFactor() float64 {
	if c.ComparedBy == 0 {
		return 1
	}
	return c.ComparedBy
}

// tellOtherTargets says that not all ohms are those measured.
func (a *analysis) tellOtherTargets() {
	n := 0
	var targets []string
	for _, c := range a.coils {
		if c.comparisonFactor() == 1 {
			continue
		}
		n++
		if c.Target != "" && !slices.Contains(targets, c.Target) {
			targets = append(targets, c.Target)
		}
	}
	if n > 0 {
		a.note("%s wound to another target (%s) stand here by their ratio to it, as ohms of the newest target", countOf(n, "coil"), joinWithAnd(targets))
	}
}

func (a *analysis) tellFalseAlarms() {
	if a.report.Baseline == nil {
		return
	}
	var f control.FalseAlarms
	if a.options.FalseAlarms != nil {
		f = *a.options.FalseAlarms
	} else {
		f = a.scheme.FalseAlarms()
	}
	n := len(a.kept)
	a.report.FalseAlarms = &FalseAlarmRate{f.RunLength, f.RulesRunLength, control.Within(f.RunLength, n), control.Within(f.RulesRunLength, n)}
}

// points writes the list of points, last, when all about them is known.
func (a *analysis) points() {
	levels := a.levels()
	a.report.Points = make([]Point, len(a.coils))
	for i, c := range a.coils {
		p := Point{
			Index: i + 1, Sequence: c.Sequence, Serial: c.Serial, MeasurementID: c.MeasurementID, R20Ohms: c.R20Ohms, ComparedOhms: a.ohms[i],
			Spool: c.Spool, Winder: c.Winder, Operator: c.Operator, Batch: c.Batch,
			LevelOhms: levels[i], Outlier: a.outlier[i], Doubtful: c.Doubtful, InBaseline: a.inBaseline[i],
		}
		if !c.Time.IsZero() {
			at := c.Time.UTC()
			p.Time = &at
		}
		if c.ExpandedUncertaintyOhms > 0 {
			u := c.ExpandedUncertaintyOhms
			p.ExpandedUncertaintyOhms = &u
		}
		if target := a.options.TargetOhms; target != 0 {
			d := a.ohms[i]/target - 1
			p.DeviationRatio = &d
		}
		a.report.Points[i] = p
	}
}

// reference is what shifts are told relative to, in ohms: the target, or the
// middle of the coils.
func (a *analysis) reference() float64 {
	if a.options.TargetOhms != 0 {
		return a.options.TargetOhms
	}
	return statistics.Median(a.ohms)
}

func (a *analysis) note(format string, args ...any) {
	a.report.Notes = append(a.report.Notes, fmt.Sprintf(format, args...))
}
