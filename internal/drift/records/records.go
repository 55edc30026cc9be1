// Package records takes coils for the drift analysis out of a history: which
// measurements of a batch or a winder count, which check standard was measured
// beside them, and what the design says of target and turns. What they mean is
// for package drift to say.
package records

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"coilkeep/internal/copper"
	"coilkeep/internal/drift"
	"coilkeep/internal/history"
)

// Store is what is needed of a history.
type Store interface {
	Batch(ctx context.Context, name string) (history.Batch, error)
	Batches(ctx context.Context, f history.BatchFilter) ([]history.Batch, error)
	DesignRevision(ctx context.Context, name string, revision int) (history.Design, error)
	Measurements(ctx context.Context, f history.Filter) (page []history.Measurement, next string, err error)
	CheckMeasurements(ctx context.Context, bench string, limit int) ([]history.CheckMeasurement, error)
	CurrentBaseline(ctx context.Context, winder, design string, revision int) (*history.Baseline, error)
}

// ErrSeveralDesigns is returned for a winder that wound coils of several designs
// when none is chosen; the error names them.
var ErrSeveralDesigns = errors.New("coils of several designs cannot share one chart")

// ErrNothing is returned when no measurement counts.
var ErrNothing = errors.New("no measured coils")

// Batch returns the coils of a batch in order, with options that hold what its
// design says. Times are put into zone, whose hours the time of day is told by.
// The error wraps ErrNothing, or is one of the store's.
func Batch(ctx context.Context, store Store, name string, zone *time.Location) ([]drift.Coil, drift.Options, error) {
	batch, err := store.Batch(ctx, name)
	if err != nil {
		return nil, drift.Options{}, err
	}
	coils, err := coilsOf(ctx, store, []history.Batch{batch}, zone)
	if err != nil {
		return nil, drift.Options{}, err
	}
	if len(coils) == 0 {
		return nil, drift.Options{}, fmt.Errorf("batch %s: %w", name, ErrNothing)
	}
	design, err := store.DesignRevision(ctx, batch.Design, batch.DesignRevision)
	if err != nil {
		return nil, drift.Options{}, err
	}
	options, err := optionsOf(ctx, store, batch.Winder, design)
	return coils, options, err
}

// Winder returns the newest [MostCoils] coils of one design that a winder wound,
// batch after batch and numbered through, with options of the design's newest revision among them.
// design may be empty when the winder wound only one.
func Winder(ctx context.Context, store Store, winder, design string, zone *time.Location) ([]drift.Coil, drift.Options, error) {
	batches, err := batchesOf(ctx, store, winder, design)
	if err != nil {
		return nil, drift.Options{}, err
	}
	if designs := designsOf(batches); len(designs) > 1 {
		return nil, drift.Options{}, fmt.Errorf("winder %s wound %s: %w; choose one", winder, strings.Join(designs, ", "), ErrSeveralDesigns)
	}
	return wound(ctx, store, winder, batches, zone)
}

// Revision returns the coils that a winder wound to one revision of a design,
// batch after batch and numbered through: those that share a baseline.
func Revision(ctx context.Context, store Store, winder, design string, revision int, zone *time.Location) ([]drift.Coil, drift.Options, error) {
	batches, err := batchesOf(ctx, store, winder, design)
	if err != nil {
		return nil, drift.Options{}, err
	}
	batches = slices.DeleteFunc(batches, func(b history.Batch) bool { return b.DesignRevision != revision })
	return wound(ctx, store, winder, batches, zone)
}

// Design returns the newest [MostCoils] coils of a design, whoever wound them,
// batch after batch and numbered through: the spools it was wound from are told apart by them.
func Design(ctx context.Context, store Store, design string, zone *time.Location) ([]drift.Coil, drift.Options, error) {
	batches, err := store.Batches(ctx, history.BatchFilter{Design: design, Limit: mostBatches})
	if err != nil {
		return nil, drift.Options{}, err
	}
	slices.SortStableFunc(batches, func(a, b history.Batch) int { return a.OpenedAt.Compare(b.OpenedAt) })
	coils, options, err := wound(ctx, store, "", batches, zone)
	if errors.Is(err, ErrNothing) {
		err = fmt.Errorf("design %s: %w", design, ErrNothing)
	}
	options.Frozen = nil // a baseline is of one winder
	return coils, options, err
}

// MostCoils is how many coils of a winder or a design are looked at, the newest:
// years of a workshop, and few enough for a page to wait for.
const MostCoils = 5000

// mostBatches is how far back batches are looked through for them.
const mostBatches = 2000

// newest takes the newest of batches, which are in order, that hold MostCoils
// together, and at least one. more is true when there were others.
func newest(batches []history.Batch) (kept []history.Batch, more bool) {
	coils := 0
	for i := len(batches) - 1; i >= 0; i-- {
		coils += batches[i].LastSequence
		if coils > MostCoils && i < len(batches)-1 {
			return batches[i+1:], true
		}
	}
	return batches, false
}

// batchesOf lists the batches of a winder, the oldest first; of all designs when
// design is empty.
func batchesOf(ctx context.Context, store Store, winder, design string) ([]history.Batch, error) {
	found, err := store.Batches(ctx, history.BatchFilter{Design: design, Limit: mostBatches})
	if err != nil {
		return nil, err
	}
	batches := slices.DeleteFunc(found, func(b history.Batch) bool { return b.Winder != winder })
	slices.SortStableFunc(batches, func(a, b history.Batch) int { return a.OpenedAt.Compare(b.OpenedAt) })
	return batches, nil
}

// wound returns the newest coils of a winder's batches, numbered through.
func wound(ctx context.Context, store Store, winder string, batches []history.Batch, zone *time.Location) ([]drift.Coil, drift.Options, error) {
	batches, more := newest(batches)
	coils, err := coilsOf(ctx, store, batches, zone)
	if err != nil {
		return nil, drift.Options{}, err
	}
	if len(coils) == 0 {
		return nil, drift.Options{}, fmt.Errorf("winder %s: %w", winder, ErrNothing)
	}
	for i := range coils {
		coils[i].Sequence = i + 1
	}
	latest := slices.MaxFunc(batches, func(a, b history.Batch) int { return cmp.Compare(a.DesignRevision, b.DesignRevision) })
	design, err := store.DesignRevision(ctx, latest.Design, latest.DesignRevision)
	if err != nil {
		return nil, drift.Options{}, err
	}
	options, err := optionsOf(ctx, store, winder, design)
	options.LeftOut = more
	return coils, options, err
}

func designsOf(batches []history.Batch) []string {
	var names []string
	for _, b := range batches {
		if !slices.Contains(names, b.Design) {
			names = append(names, b.Design)
		}
	}
	return names
}

// optionsOf is what a design tells the analysis, with the baseline that was kept
// for it on a winder.
func optionsOf(ctx context.Context, store Store, winder string, design history.Design) (drift.Options, error) {
	options := OptionsOf(design)
	kept, err := store.CurrentBaseline(ctx, winder, design.Name, design.Revision)
	if err == nil && kept != nil {
		options.Frozen = &drift.Baseline{
			MeanOhms: kept.MeanOhms, SigmaWithinOhms: kept.SigmaWithinOhms, SigmaOverallOhms: kept.SigmaOverallOhms,
			MeanRangeOhms: kept.MeanRangeOhms, UsualErrorOhms: kept.UsualStandardUncertaintyOhms, Count: kept.Count,
		}
	}
	return options, err
}

// OptionsOf is what a design tells the analysis.
func OptionsOf(d history.Design) drift.Options {
	o := drift.Options{TargetOhms: d.TargetOhms, LowerOhms: d.LowerOhms, UpperOhms: d.UpperOhms}
	o.Winding.Turns = float64(d.Turns)
	if d.Bobbin == nil {
		return o
	}
	bobbin := copper.Bobbin{StraightMM: d.Bobbin.StraightMM, CoreRadiusMM: d.Bobbin.CoreRadiusMM, BuildMM: d.Bobbin.BuildMM}
	if bobbin.Check() != nil {
		return o // a design kept before bobbins were checked: turns alone are of use
	}
	o.Winding.OutermostOverMean = bobbin.OutermostTurnMM() / bobbin.MeanTurnMM()
	if wire, err := copper.GeometricAWG(d.GaugeAWG); err == nil {
		if winding, err := copper.NewWinding(wire, bobbin); err == nil {
			o.Winding = drift.WindingOf(winding, bobbin, d.Turns)
		}
	}
	return o
}

// coilsOf are the coils of batches, one batch after the other, with the checks
// of the benches they were measured at.
func coilsOf(ctx context.Context, store Store, batches []history.Batch, zone *time.Location) ([]drift.Coil, error) {
	var coils []drift.Coil
	byBench := map[string][]int{}
	for _, b := range batches {
		more, err := coilsOfBatch(ctx, store, b.Name, zone)
		if err != nil {
			return nil, err
		}
		for i := range more {
			byBench[b.Bench] = append(byBench[b.Bench], len(coils)+i)
		}
		coils = append(coils, more...)
	}
	return coils, addChecks(ctx, store, coils, byBench)
}

// coilsOfBatch takes each coil once, by its standing measurement at the stage the
// batch was first measured at: potting and assembly change a coil's value, and
// would look like drift.
func coilsOfBatch(ctx context.Context, store Store, batch string, zone *time.Location) ([]drift.Coil, error) {
	var coils []drift.Coil
	stage := ""
	err := eachMeasurement(ctx, store, batch, func(m history.Measurement) {
		if len(coils) == 0 {
			stage = m.Stage
		}
		if m.Stage == stage {
			coils = append(coils, coilOf(m, zone))
		}
	})
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(coils, func(a, b drift.Coil) int { return cmp.Compare(a.Sequence, b.Sequence) })
	return coils, nil
}

func coilOf(m history.Measurement, zone *time.Location) drift.Coil {
	celsius := m.TemperatureCelsius
	c := drift.Coil{
		Sequence: m.Sequence, Time: m.Time.In(zone), Serial: m.Serial,
		R20Ohms: m.R20Ohms, ExpandedUncertaintyOhms: m.ExpandedUncertaintyOhms, CoverageFactor: m.CoverageFactor,
		Batch: m.Batch, Spool: m.Spool, Winder: m.Winder, Operator: m.Operator,
		TemperatureCelsius: &celsius,
	}
	if m.Status == history.Forced {
		c.Doubtful = "forced"
	}
	return c
}

// around is how long before the first and after the last coil a check standard
// still tells of the meter.
const around = 12 * time.Hour

// addChecks gives each measurement of the check standard to the coil measured
// next at the same bench, the last one to the last coil. Of several standards the
// one measured most counts, so that a change of standard does not look like a
// drift. byBench lists the coils of each bench.
func addChecks(ctx context.Context, store Store, coils []drift.Coil, byBench map[string][]int) error {
	const everyCheck = 1_000_000
	var checks []history.CheckMeasurement
	for bench, indices := range byBench {
		found, err := store.CheckMeasurements(ctx, bench, everyCheck)
		if err != nil {
			return err
		}
		first, last := span(coils, indices)
		for _, c := range found {
			if !c.Time.Before(first.Add(-around)) && !c.Time.After(last.Add(around)) {
				checks = append(checks, c)
			}
		}
	}
	slices.SortStableFunc(checks, func(a, b history.CheckMeasurement) int { return a.Time.Compare(b.Time) })
	standard := mostMeasured(checks)
	for _, check := range checks {
		if check.Standard != standard {
			continue
		}
		indices := byBench[check.Bench]
		at := slices.IndexFunc(indices, func(i int) bool { return !coils[i].Time.Before(check.Time) })
		if at < 0 {
			at = len(indices) - 1
		}
		ohms := check.MeasuredOhms
		coils[indices[at]].CheckStandardOhms = &ohms
	}
	return nil
}

// Measured returns the measurements behind the points of a report, by serial
// number: of each coil the one whose value was analysed.
func Measured(ctx context.Context, store MeasurementStore, points []drift.Point) (map[string]history.Measurement, error) {
	value := make(map[string]float64, len(points))
	var batches []string
	for _, c := range points {
		value[c.Serial] = c.R20Ohms
		if c.Batch != "" && !slices.Contains(batches, c.Batch) {
			batches = append(batches, c.Batch)
		}
	}
	found := map[string]history.Measurement{}
	for _, batch := range batches {
		err := eachMeasurement(ctx, store, batch, func(m history.Measurement) {
			if v, ok := value[m.Serial]; ok && v == m.R20Ohms {
				found[m.Serial] = m
			}
		})
		if err != nil {
			return nil, err
		}
	}
	return found, nil
}

// MeasurementStore is what [Measured] needs of a history.
type MeasurementStore interface {
	Measurements(ctx context.Context, f history.Filter) (page []history.Measurement, next string, err error)
}

// eachMeasurement calls fn with every measurement of a batch that stands.
func eachMeasurement(ctx context.Context, store MeasurementStore, batch string, fn func(history.Measurement)) error {
	filter := history.Filter{Batch: batch, Limit: history.MaxPage}
	for {
		page, next, err := store.Measurements(ctx, filter)
		if err != nil {
			return err
		}
		for _, m := range page {
			if m.Status != history.Void && m.Status != history.Superseded {
				fn(m)
			}
		}
		if next == "" {
			return nil
		}
		filter.After = next
	}
}

// span is the first and the last time of some coils, one at least.
func span(coils []drift.Coil, indices []int) (first, last time.Time) {
	first, last = coils[indices[0]].Time, coils[indices[0]].Time
	for _, i := range indices {
		if t := coils[i].Time; t.Before(first) {
			first = t
		} else if t.After(last) {
			last = t
		}
	}
	return first, last
}

func mostMeasured(checks []history.CheckMeasurement) string {
	counts := map[string]int{}
	best := ""
	for _, c := range checks {
		counts[c.Standard]++
		if n := counts[c.Standard]; n > counts[best] || best == "" {
			best = c.Standard
		}
	}
	return best
}
