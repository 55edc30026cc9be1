package chart

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/drift"
	"coilkeep/internal/record"
)

// Wander is the run of coils with what the drift analysis found in them: the
// level of the process, control limits, outliers, and what it speaks up for.
// measured holds measurements behind the coils by their ids, as far as they are at
// hand; a coil without one is drawn from its point alone.
func Wander(report drift.Report, measured map[string]record.Measurement) Run {
	run := Run{Axis: "coil", Level: levelStretches(report.Points), ComparedBy: map[string]float64{}}
	if c := report.Charts; c != nil {
		run.Limits = &Limits{CentreOhms: c.Individuals.Centre, LowerOhms: c.Individuals.Lower, UpperOhms: c.Individuals.Upper}
	}
	if report.Target != nil && report.Lower != nil {
		run.Design = &record.Design{TargetOhms: *report.Target, LowerOhms: *report.Lower, UpperOhms: *report.Upper}
	}
	for i, p := range report.Points {
		m := measurementAt(p, measured)
		run.Measurements = append(run.Measurements, m)
		if p.ComparedOhms != p.R20Ohms {
			run.ComparedBy[m.ID] = p.ComparedOhms / p.R20Ohms
		}
		if p.Spool != "" && (i == 0 || p.Spool != report.Points[i-1].Spool) {
			run.Spools = append(run.Spools, record.SpoolMark{FromSequence: p.Sequence, Spool: p.Spool})
		}
		if p.Batch != "" && (i == 0 || p.Batch != report.Points[i-1].Batch) {
			mark := BatchMark{FromSequence: p.Sequence, Name: p.Batch}
			if p.Time != nil {
				mark.Day = p.Time.Format(time.DateOnly)
			}
			run.Batches = append(run.Batches, mark)
		}
	}
	at := func(index int) string { return run.Measurements[index-1].ID }
	for _, o := range report.Outliers {
		run.Outliers = append(run.Outliers, Remark{at(o.Index), o.Sentence})
	}
	for _, c := range report.ChangePoints {
		run.Signals = append(run.Signals, Remark{at(c.LastBeforeIndex + 1), c.Sentence})
	}
	// The rules at the last coil: earlier ones are told by the level, or passed.
	for _, rule := range report.Rules {
		if rule.Index == len(report.Points) {
			run.Signals = append(run.Signals, Remark{at(rule.Index), fmt.Sprintf("rule %s, %s", rule.Rule, rule.Meaning)})
		}
	}
	return run
}

// Latest is the run with its last n measurements only, and what concerns them.
func (r Run) Latest(n int) Run {
	if len(r.Measurements) <= n {
		return r
	}
	r.Measurements = r.Measurements[len(r.Measurements)-n:]
	first := r.Measurements[0].Sequence
	kept := map[string]bool{}
	for _, m := range r.Measurements {
		kept[m.ID] = true
	}
	gone := func(remark Remark) bool { return !kept[remark.MeasurementID] }
	r.Outliers = slices.DeleteFunc(slices.Clone(r.Outliers), gone)
	r.Signals = slices.DeleteFunc(slices.Clone(r.Signals), gone)
	r.ComparedBy = maps.Clone(r.ComparedBy)
	maps.DeleteFunc(r.ComparedBy, func(id string, _ float64) bool { return !kept[id] })
	r.Spools = slices.DeleteFunc(slices.Clone(r.Spools), func(s record.SpoolMark) bool { return s.FromSequence < first })
	r.Batches = batchesFrom(r.Batches, first)
	var level []Stretch
	for _, s := range r.Level {
		if s.ToSequence < first {
			continue
		}
		if cut := float64(first - s.FromSequence); cut > 0 {
			s.FromOhms += (s.ToOhms - s.FromOhms) * cut / float64(s.ToSequence-s.FromSequence)
			s.FromSequence = first
		}
		level = append(level, s)
	}
	r.Level = level
	return r
}

// measurementAt is what to draw of a point.
func measurementAt(p drift.Point, measured map[string]record.Measurement) record.Measurement {
	m, ok := measured[p.MeasurementID]
	if !ok {
		m = record.Measurement{ID: cmp.Or(p.MeasurementID, strconv.Itoa(p.Index)), Serial: p.Serial, R20Ohms: p.R20Ohms,
			Verdict: conformity.Verdict(p.Verdict), Status: cmp.Or(record.Status(p.Doubtful), record.Recorded)}
		if p.ExpandedUncertaintyOhms != nil {
			m.ExpandedUncertaintyOhms = *p.ExpandedUncertaintyOhms
		}
		if p.Time != nil {
			m.Time = *p.Time
		}
		if m.Serial == "" {
			m.Serial = "coil " + strconv.Itoa(p.Sequence)
		}
	}
	m.Sequence = p.Sequence
	return m
}

// levelStretches joins the levels of the points to stretches: a jump in level, or a
// level that begins or ends to slope, starts another.
func levelStretches(points []drift.Point) []Stretch {
	var stretches []Stretch
	for i, p := range points {
		last := len(stretches) - 1
		if i > 0 && onLine(stretches[last], p) {
			stretches[last].ToSequence, stretches[last].ToOhms = p.Sequence, p.LevelOhms
			continue
		}
		stretches = append(stretches, Stretch{p.Sequence, p.Sequence, p.LevelOhms, p.LevelOhms})
	}
	return stretches
}

// onLine says whether a point carries on a stretch in the same direction; after
// a single coil any direction that is no jump will do.
func onLine(s Stretch, p drift.Point) bool {
	if p.Sequence <= s.ToSequence {
		return false
	}
	const nothing, jump = 1e-9, 1e-3 // of the level
	step := (p.LevelOhms - s.ToOhms) / float64(p.Sequence-s.ToSequence)
	if s.FromSequence == s.ToSequence {
		return step < jump*s.ToOhms && step > -jump*s.ToOhms
	}
	before := (s.ToOhms - s.FromOhms) / float64(s.ToSequence-s.FromSequence)
	difference := step - before
	return difference < nothing*s.ToOhms && difference > -nothing*s.ToOhms
}

// Controls are the charts behind the signals, with the last n coils:
// coils one by one, EWMA, CUSUM and moving ranges; none without limits.
func Controls(r drift.Report, n int) []Control {
	if r.Charts == nil {
		return nil
	}
	cut := max(0, len(r.Points)-n)
	var sequences []int
	for _, p := range r.Points[cut:] {
		sequences = append(sequences, p.Sequence)
	}
	latest := func(signals []int) []int {
		var kept []int
		for _, i := range signals {
			if i > cut {
				kept = append(kept, i-cut)
			}
		}
		return kept
	}
	down := make([]*float64, len(r.Points))
	for i, v := range r.Charts.CUSUM.Down {
		if v != nil {
			negative := -*v
			down[i] = &negative
		}
	}
	values := make([]*float64, len(r.Points))
	for i := range r.Points {
		values[i] = &r.Points[i].ComparedOhms
	}
	o, e, m, c := r.Charts.Individuals, r.Charts.EWMA, r.Charts.MovingRange, r.Charts.CUSUM
	return []Control{
		{Title: "Coil by coil, with control limits", Name: "R20", Ohms: true, Sequences: sequences, Values: values[cut:], Centre: o.Centre,
			Lower: []float64{o.Lower}, Upper: []float64{o.Upper}, Signals: latest(o.Signals)},
		{Title: "EWMA, a running mean", Name: "EWMA", Ohms: true, Sequences: sequences, Values: e.Values[cut:], Centre: e.Centre,
			Lower: e.LowerLimits[cut:], Upper: e.UpperLimits[cut:], Signals: latest(e.Signals)},
		{Title: "CUSUM, sums of what is above and below", Name: "sums, in sigma", Sequences: sequences, Values: c.Up[cut:], Below: down[cut:],
			Lower: []float64{-c.Limit}, Upper: []float64{c.Limit}, Signals: latest(c.Signals)},
		{Title: "Moving range, from coil to coil", Name: "range", Ohms: true, Sequences: sequences, Values: m.Values[cut:], Centre: m.Centre,
			Upper: []float64{m.Upper}, Signals: latest(m.Signals)},
	}
}
