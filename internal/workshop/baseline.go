package workshop

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"coilkeep/internal/drift"
	"coilkeep/internal/record"
)

// ErrNoBaseline is returned when the coils chosen do not make a baseline; the
// text says why.
var ErrNoBaseline = errors.New("these coils make no baseline")

// BaselineStore is what is needed of a history to keep a baseline.
type BaselineStore interface {
	DriftStore
	AddBaseline(ctx context.Context, b record.Baseline) (record.Baseline, error)
	AddFirstBaseline(ctx context.Context, b record.Baseline) (kept record.Baseline, err error)
}

// KeepFirstBaseline keeps the first baseline of a design's revision on a winder
// when there are enough steady coils for one and none is kept.
func KeepFirstBaseline(
	ctx context.Context, store BaselineStore, zone *time.Location, winder, design string, revision int,
) error {
	kept, err := store.CurrentBaseline(ctx, winder, design, revision)
	if err != nil || kept != nil {
		return err
	}
	coils, options, err := CoilsOfRevision(ctx, store, winder, design, revision, zone)
	if err != nil {
		return err
	}
	if len(coils) < drift.DefaultBaseline {
		return nil
	}
	d, err := analyseCoils(coils, options)
	if err != nil || !isSteadyBaseline(d.Report) {
		return err
	}
	b := recordOfBaseline(d.Report)
	b.Winder, b.Design, b.DesignRevision = winder, design, revision
	b.Reason, b.By = fmt.Sprintf("the first %d good coils", b.Count), "coilkeep"
	// A person may have revised it since the look above.
	_, err = store.AddFirstBaseline(ctx, b)
	return err
}

// isSteadyBaseline says whether a report's baseline is whole and holds neither a
// step nor a trend.
func isSteadyBaseline(r drift.Report) bool {
	if r.Baseline == nil || r.Baseline.Short {
		return false
	}
	last := 0
	for _, p := range r.Points {
		if p.InBaseline {
			last = p.Index
		}
	}
	if slices.ContainsFunc(r.ChangePoints, func(c drift.ChangePoint) bool { return c.LastBeforeIndex < last }) {
		return false
	}
	return !slices.ContainsFunc(r.RealTrends(), func(t drift.Trend) bool { return t.FromSequence <= r.Points[last-1].Sequence })
}

// recordOfBaseline is what is kept of a report's baseline, which was made of its own
// coils.
func recordOfBaseline(r drift.Report) record.Baseline {
	b := record.Baseline{
		Count: r.Baseline.Count, MeanOhms: r.Baseline.MeanOhms,
		SigmaWithinOhms: r.Baseline.SigmaWithinOhms, SigmaOverallOhms: r.Baseline.SigmaOverallOhms,
		MeanRangeOhms: r.Baseline.MeanRangeOhms, UsualStandardUncertaintyOhms: r.Baseline.UsualErrorOhms,
	}
	for _, p := range r.Points {
		if p.InBaseline {
			if b.FirstCoil == "" {
				b.FirstCoil = p.Serial
			}
			b.LastCoil = p.Serial
		}
	}
	return b
}

// BaselineChoice is which coils of a batch are to set the limits from now on.
type BaselineChoice struct {
	Batch string
	// From is the number in the batch of the first coil, Count how many good ones
	// from there on; 0 is drift.DefaultBaseline.
	From, Count int
	Reason, Who string
}

// ReviseBaseline makes a baseline of some coils of a batch and keeps it; it holds for
// the design's revision on the batch's winder. The error wraps [ErrNoBaseline]
// when there are not so many good coils, drift.ErrInput when so few make none, or
// is a *record.FieldError.
func ReviseBaseline(ctx context.Context, store BaselineStore, zone *time.Location, c BaselineChoice) (record.Baseline, error) {
	if strings.TrimSpace(c.Reason) == "" {
		return record.Baseline{}, &record.FieldError{Field: "reason", Problem: "must say why the baseline is revised; it is kept in the journal"}
	}
	batch, err := store.Batch(ctx, c.Batch)
	if err != nil {
		return record.Baseline{}, err
	}
	coils, options, err := CoilsOfBatch(ctx, store, c.Batch, zone)
	if err != nil {
		return record.Baseline{}, err
	}
	if c.Count == 0 {
		c.Count = drift.DefaultBaseline
	}
	for len(coils) > 0 && coils[0].Sequence < c.From {
		coils = coils[1:]
	}
	if len(coils) < c.Count {
		return record.Baseline{}, fmt.Errorf("%w: batch %s has %d coils from number %d on, not %d", ErrNoBaseline, c.Batch, len(coils),
			c.From, c.Count)
	}
	options.Frozen, options.BaselineCount = nil, c.Count
	d, err := analyseCoils(coils, options)
	if err != nil {
		return record.Baseline{}, err
	}
	switch {
	case d.Baseline == nil:
		return record.Baseline{}, fmt.Errorf("%w: %s", ErrNoBaseline, strings.Join(d.Notes, "; "))
	case d.Baseline.Count < c.Count:
		return record.Baseline{}, fmt.Errorf("%w: only %d of the coils from number %d on are good ones (no outlier, not forced)",
			ErrNoBaseline, d.Baseline.Count, c.From)
	}
	b := recordOfBaseline(d.Report)
	b.Winder, b.Design, b.DesignRevision = batch.Winder, batch.Design, batch.DesignRevision
	b.Reason, b.By = strings.TrimSpace(c.Reason), c.Who
	return store.AddBaseline(ctx, b)
}
