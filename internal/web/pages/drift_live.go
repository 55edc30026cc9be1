package pages

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"coilkeep/internal/chart"
	"coilkeep/internal/drift"
	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

// liveDrift is what the page of a bench shows of its batch: what moved and what
// to do, and whether it is news.
func (s driftPages) liveDrift(ctx context.Context, batch string) driftView {
	view := driftView{Batch: batch}
	d, err := s.Drift.Batch(ctx, batch)
	switch {
	case err == nil:
		view.Drift = &d
	case !errors.Is(err, workshop.ErrNoCoils):
		s.Logger.Warn("no drift analysis", "batch", batch, "err", err)
		view.Trouble = problem.Classify(err).Detail
	}
	return view
}

// glanceView is an analysis for somebody who looks up from the work: below the
// headline the one thing to do, and what speaks for and against it.
type glanceView struct {
	// Moved says what moved, since when and by how much, or that nothing did.
	Moved string
	// Act is false when the winder is to be left alone.
	Act bool
	// Do is what to do, with Why after it; Do is empty when nothing is advised.
	Do, Why string
	// Uncleared says that nothing has shown the meter to be right, while turns are
	// to be changed; empty otherwise.
	Uncleared string
	// Evidence is what must not be overlooked, in whole sentences.
	Evidence []string
}

// Glance is the analysis in short. What is left out of it is the sentence about
// all coils, which stands behind a disclosure.
func (v driftView) Glance() glanceView {
	d := v.Drift
	g := glanceView{Moved: d.Headline}
	if a := d.Advice; a != nil {
		g.Act = a.Act
		g.Do, g.Why = a.Do, a.Why
	}
	say := func(text string) { g.Evidence = append(g.Evidence, sentence(text)+".") }
	if len(d.Evidence) > 0 {
		say(strings.Join(d.Evidence, "; "))
	}
	if g.Act && d.Drifting && !d.MeterCleared {
		g.Uncleared = sentence(d.MeterSentence) + "."
	}
	if t := d.Trend; t != nil && t.Real && g.Act {
		say("the level is still moving: find the cause as well")
	}
	apart := lastApart(d.Report)
	switch {
	case apart != nil && !d.Drifting: // the signal is this coil's
		g.Moved = sentence(apart.Finding)
		say(apart.Suspicion)
	case apart != nil:
		say(apart.Sentence)
	case !d.Drifting && len(d.Standing) > 0:
		watching := "wind on and watch"
		if f := d.FalseAlarms; f != nil && f.RunLength > 0 {
			watching += fmt.Sprintf(": a quiet process raises some signal about every %.0f coils", f.RunLength)
		}
		say(watching)
	}
	for _, caution := range cautions(d.Report) {
		say(caution)
	}
	return g
}

// lastApart is the coil measured last when it stands apart from its neighbours, nil
// when it does not.
func lastApart(r drift.Report) *drift.Outlier {
	if n := len(r.Outliers); n > 0 && r.Outliers[n-1].Provisional {
		return &r.Outliers[n-1]
	}
	return nil
}

// cautions are what makes the instruments suspect, besides what is said of the
// step or trend itself.
func cautions(r drift.Report) []string {
	var list []string
	if t := r.Temperature; t != nil && t.Flagged {
		list = append(list, t.Sentence)
	}
	// Of a step or trend its own sentence says how far the check standard went along.
	if c := r.CheckStandard; c != nil && !r.Drifting && (len(c.Signals) > 0 || c.AwayRatio != nil || c.CameBack) {
		list = append(list, c.Sentence)
	}
	return list
}

// liveRun is the run of a batch with what the analysis found in it, nil for
// none. coils are the newest of its measurements, in any order, one at least;
// older coils are left out, for there is nothing to tell their verdict by.
func liveRun(report *drift.Report, coils []record.Measurement, spools []record.SpoolMark) chart.Run {
	oldest := slices.MinFunc(coils, func(a, b record.Measurement) int { return cmp.Compare(a.Sequence, b.Sequence) })
	plain := chart.Run{Measurements: coils, Spools: spoolsFrom(spools, oldest.Sequence)}
	if report == nil {
		return plain
	}
	measured := byID(coils)
	n := 0
	for _, p := range slices.Backward(report.Points) {
		if _, ok := measured[p.MeasurementID]; !ok {
			break
		}
		n++
	}
	if n == 0 { // the newest measurements are of coils potted since, or withdrawn
		return plain
	}
	run := latestRun(chart.Wander(*report, measured), n)
	first, analysed := run.Measurements[0].Sequence, map[string]bool{}
	for _, m := range run.Measurements {
		analysed[m.ID] = true
	}
	for _, m := range coils { // withdrawn ones and later stages are shown as well
		if !analysed[m.ID] && m.Sequence >= first {
			run.Measurements = append(run.Measurements, m)
		}
	}
	return run
}

// byID lists measurements by their ids.
func byID(measured []record.Measurement) map[string]record.Measurement {
	found := make(map[string]record.Measurement, len(measured))
	for _, m := range measured {
		found[m.ID] = m
	}
	return found
}

// latestRun is the run with its last n measurements, and with the name of the spool
// the first of them is from.
func latestRun(run chart.Run, n int) chart.Run {
	cut := run.Latest(n)
	if len(cut.Measurements) < len(run.Measurements) {
		cut.Spools = spoolsFrom(run.Spools, cut.Measurements[0].Sequence)
	}
	return cut
}

// spoolsFrom are the marks from a coil on. The first is moved to that coil when
// its spool was put on before.
func spoolsFrom(marks []record.SpoolMark, first int) []record.SpoolMark {
	var kept []record.SpoolMark
	for _, m := range marks {
		if m.FromSequence <= first {
			m.FromSequence, kept = first, nil
		}
		kept = append(kept, m)
	}
	return kept
}
