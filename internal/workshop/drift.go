package workshop

import (
	"context"
	"fmt"
	"sync"
	"time"

	"coilkeep/internal/control"
	"coilkeep/internal/drift"
	"coilkeep/internal/record"
)

// Drift is the drift report of a batch or a winder. Indices count from 1 in the
// list of points, sequences are the coils' own numbers; what cannot be said is null,
// and the notes say why.
type Drift struct {
	drift.Report
	// The signals that stand: run rules WE1 to WE4, ewma, cusum, step, trend.
	Standing []string `json:"standing"`
	// Whether one of them was not taken note of; false for a winder, whose batches
	// have their own.
	News bool `json:"news"`
	// The latest note about signals of the batch; null when there is none.
	Note *record.JournalEntry `json:"acknowledged"`
}

// DriftOfBatch says how a batch fares. The error wraps [ErrNoCoils] when no coil of it
// counts yet, and record.ErrNotFound when there is no such batch.
func DriftOfBatch(ctx context.Context, store DriftStore, name string, zone *time.Location) (Drift, error) {
	coils, options, err := CoilsOfBatch(ctx, store, name, zone)
	if err != nil {
		return Drift{}, err
	}
	d, err := analyseCoils(coils, options)
	if err != nil {
		return Drift{}, fmt.Errorf("batch %s: %w", name, err)
	}
	d.News = len(d.Standing) > 0
	notes, err := store.Journal(ctx, record.JournalFilter{Action: Acknowledged, Subject: name, Limit: 1})
	if err != nil || len(notes) == 0 {
		return d, err
	}
	d.Note = &notes[0]
	then, err := reportAt(notes[0].Time, coils, options)
	if err != nil {
		return Drift{}, fmt.Errorf("batch %s as it was: %w", name, err)
	}
	d.News = RaisesNews(d.Report, then)
	return d, nil
}

// DriftOfWinder says how the coils of one design that a winder wound fare, over all
// batches. design may be empty when there is only one; otherwise the error wraps
// [ErrSeveralDesigns].
func DriftOfWinder(ctx context.Context, store DriftStore, winder, design string, zone *time.Location) (Drift, error) {
	coils, options, err := CoilsOfWinder(ctx, store, winder, design, zone)
	if err != nil {
		return Drift{}, err
	}
	d, err := analyseCoils(coils, options)
	if err != nil {
		return Drift{}, fmt.Errorf("winder %s: %w", winder, err)
	}
	return d, nil
}

// falseAlarms of the charts that are used throughout; reckoning them takes
// longer than an analysis.
var falseAlarms = sync.OnceValue(func() control.FalseAlarms { return control.StandardScheme().FalseAlarms() })

func analyseCoils(coils []drift.Coil, options drift.Options) (Drift, error) {
	alarms := falseAlarms()
	options.FalseAlarms = &alarms
	report, err := drift.Analyse(coils, options)
	if err != nil {
		return Drift{}, err
	}
	return Drift{Report: report, Standing: StandingSignals(report)}, nil
}

// reportAt is the report that a person had before them at an instant.
func reportAt(at time.Time, coils []drift.Coil, options drift.Options) (drift.Report, error) {
	var known []drift.Coil
	for _, c := range coils {
		if !c.WoundAt().After(at) {
			known = append(known, c)
		}
	}
	if len(known) == 0 {
		return drift.Report{}, nil
	}
	d, err := analyseCoils(known, options)
	return d.Report, err
}
