package drift

import (
	"fmt"
	"slices"

	"coilkeep/internal/control"
	"coilkeep/internal/words"
)

// Analyse looks for drift in coils, which are in the order of winding. It
// refuses, with an error that wraps [ErrInput] and names the coil, values that
// cannot be; too few coils are no error but said in the report's notes.
//
// It goes one way: from the coils to those that stand apart, to the limits and
// charts, to how the process moved, to what else moved with it, to the causes, to
// the advice and the summary.
func Analyse(coils []Coil, options Options) (Report, error) {
	if options.Scheme == (control.Scheme{}) {
		options.Scheme = control.StandardScheme()
	}
	s, err := newSeries(coils, options.TargetOhms)
	if err != nil {
		return Report{}, err
	}
	if err := options.check(); err != nil {
		return Report{}, err
	}
	r, said := newReport(options), notes{}
	tellWhichCoils(s, options.LeftOut, &said)
	r.Outliers = s.screen()
	baseline := chooseBaseline(s, options, &said)
	if baseline != nil {
		r.Baseline = &baseline.Baseline
		if err := drawCharts(&r, s, options, &said); err != nil {
			return Report{}, fmt.Errorf("draw the charts: %w", err)
		}
		r.FalseAlarms = falseAlarmRate(options, len(s.kept))
	}
	m := describeMovement(s, r.Baseline, &said)
	m.fitTrends(options.LowerOhms, options.UpperOhms, &said)
	warnOfBaseline(m, baseline, &said)
	r.CheckStandard = watchCheckStandard(s, options, &said)
	room := newRoomWatch(m)
	r.Temperature = room.watchTemperature(&said)
	r.Factors = compareFactors(m, &said)
	r.Attribution = causeSearch{m, r.CheckStandard, room}.findCauses()
	r.ChangePoints, r.Trend, r.EarlierTrends = m.steps, m.latest, m.ended
	r.InTurn, r.Autocorrelation = m.inTurn, m.dependence
	r.Capability = measureCapability(m, options, len(r.Outliers), &said)
	r.Spools = bookSpools(m, options)
	r.Spread = splitSpread(s, r.Baseline, options.Scheme, &said)
	r.Advice = adviser{m, options, r.CheckStandard, r.Outliers}.advise(&said)
	r.Points = listPoints(m, baseline, options.TargetOhms)
	r.Notes = said
	summarise(&r, m)
	return r, nil
}

// newReport is a report without anything found.
func newReport(o Options) Report {
	r := Report{Evidence: []string{}, Rules: []RuleSignal{}, Conventions: conventions}
	if o.TargetOhms != 0 {
		r.Target = &o.TargetOhms
	}
	if o.UpperOhms != 0 {
		r.Lower, r.Upper = &o.LowerOhms, &o.UpperOhms
	}
	return r
}

// tellWhichCoils says when earlier coils are left out, and that not all ohms are
// those measured.
func tellWhichCoils(s *series, leftOut bool, said *notes) {
	if leftOut {
		said.add("these are the newest %d coils; earlier ones are left out", len(s.coils))
	}
	n := 0
	var targets []string
	for _, c := range s.coils {
		if c.comparisonFactor() == 1 {
			continue
		}
		n++
		if c.Target != "" && !slices.Contains(targets, c.Target) {
			targets = append(targets, c.Target)
		}
	}
	if n > 0 {
		said.add("%s wound to another target (%s) stand here by their ratio to it, as ohms of the newest target",
			words.Count(n, "coil"), words.And(targets))
	}
}

// falseAlarmRate is how often the charts signal in n quiet coils.
func falseAlarmRate(o Options, n int) *FalseAlarmRate {
	if o.FalseAlarms == nil {
		o.FalseAlarms = new(o.Scheme.FalseAlarms())
	}
	f := *o.FalseAlarms
	return &FalseAlarmRate{f.RunLength, f.RulesRunLength, control.ShareWithFalseAlarm(f.RunLength, n),
		control.ShareWithFalseAlarm(f.RulesRunLength, n)}
}

// listPoints is every coil with all that is known about it.
func listPoints(m *movement, baseline *chosenBaseline, targetOhms float64) []Point {
	levels := m.levels()
	points := make([]Point, len(m.coils))
	for i, c := range m.coils {
		p := Point{
			Index: i + 1, Sequence: c.Sequence, Serial: c.Serial, MeasurementID: c.MeasurementID, R20Ohms: c.R20Ohms, ComparedOhms: m.ohms[i],
			Spool: c.Spool, Winder: c.Winder, Operator: c.Operator, Batch: c.Batch,
			LevelOhms: levels[i], Outlier: m.outlier[i], Verdict: c.Verdict, Doubtful: c.Doubtful, InBaseline: baseline.holdsCoil(i),
		}
		if !c.Time.IsZero() {
			p.Time = new(c.Time.UTC())
		}
		if c.ExpandedUncertaintyOhms > 0 {
			p.ExpandedUncertaintyOhms = new(c.ExpandedUncertaintyOhms)
		}
		if targetOhms != 0 {
			p.DeviationRatio = new(m.ohms[i]/targetOhms - 1)
		}
		points[i] = p
	}
	return points
}
