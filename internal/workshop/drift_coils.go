package workshop

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"coilkeep/internal/control"
	"coilkeep/internal/copper"
	"coilkeep/internal/drift"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// DriftStore is what the drift analysis needs of a history.
type DriftStore interface {
	Batch(ctx context.Context, name string) (record.Batch, error)
	Batches(ctx context.Context, f record.BatchFilter) ([]record.Batch, error)
	DesignRevision(ctx context.Context, name string, revision int) (record.Design, error)
	Measurements(ctx context.Context, f record.Filter) (page []record.Measurement, next string, err error)
	CheckMeasurements(ctx context.Context, f record.CheckFilter) ([]record.CheckMeasurement, error)
	Journal(ctx context.Context, f record.JournalFilter) ([]record.JournalEntry, error)
	CurrentBaseline(ctx context.Context, winder, design string, revision int) (*record.Baseline, error)
}

// ErrSeveralDesigns is returned for a winder that wound coils of several designs
// when none is chosen; the error names them.
var ErrSeveralDesigns = errors.New("coils of several designs cannot share one chart")

// ErrNoCoils is returned when no measurement counts.
var ErrNoCoils = errors.New("no measured coils")

// CoilsOfBatch returns the coils of a batch in order, with options that hold what its
// design says. Times are put into zone, whose hours the time of day is told by.
// The error wraps ErrNoCoils, or is one of the store's.
func CoilsOfBatch(ctx context.Context, store DriftStore, name string, zone *time.Location) ([]drift.Coil, drift.Options, error) {
	batch, err := store.Batch(ctx, name)
	if err != nil {
		return nil, drift.Options{}, err
	}
	coils, reference, err := coilsOfBatches(ctx, store, []record.Batch{batch}, zone)
	if err != nil {
		return nil, drift.Options{}, err
	}
	if len(coils) == 0 {
		return nil, drift.Options{}, fmt.Errorf("batch %s: %w", name, ErrNoCoils)
	}
	design, err := store.DesignRevision(ctx, batch.Design, batch.DesignRevision)
	if err != nil {
		return nil, drift.Options{}, err
	}
	options, err := optionsWithBaseline(ctx, store, batch.Winder, design)
	options.CheckReferenceOhms = reference
	if err == nil && batch.ClosedAt == nil {
		options.Next, err = nextCoil(ctx, store, batch, coils[len(coils)-1])
	}
	return coils, options, err
}

// CoilsOfWinder returns the newest [MostCoils] coils of one design that a winder wound,
// batch after batch and numbered through, with options of the design's newest
// revision among them. Coils wound to another target are compared by their ratio to
// it. design may be empty when the winder wound only one.
func CoilsOfWinder(ctx context.Context, store DriftStore, winder, design string, zone *time.Location) ([]drift.Coil, drift.Options, error) {
	batches, err := batchesOfWinder(ctx, store, winder, design)
	if err != nil {
		return nil, drift.Options{}, err
	}
	if designs := designsOf(batches.list); len(designs) > 1 {
		return nil, drift.Options{}, fmt.Errorf("winder %s wound %s: %w; choose one", winder, strings.Join(designs, ", "), ErrSeveralDesigns)
	}
	return coilsOfWinding(ctx, store, winder, batches, zone)
}

// CoilsOfRevision returns the coils that a winder wound to one revision of a design,
// batch after batch and numbered through: those that share a baseline.
func CoilsOfRevision(
	ctx context.Context, store DriftStore, winder, design string, revision int, zone *time.Location,
) ([]drift.Coil, drift.Options, error) {
	batches, err := batchesOfWinder(ctx, store, winder, design)
	if err != nil {
		return nil, drift.Options{}, err
	}
	batches.list = slices.DeleteFunc(batches.list, func(b record.Batch) bool { return b.DesignRevision != revision })
	return coilsOfWinding(ctx, store, winder, batches, zone)
}

// CoilsOfDesign returns the newest [MostCoils] coils of a design, whoever wound
// them, batch after batch and numbered through: the spools it was wound from are
// told apart by them.
func CoilsOfDesign(ctx context.Context, store DriftStore, design string, zone *time.Location) ([]drift.Coil, drift.Options, error) {
	batches, err := batchesInOrder(ctx, store, record.BatchFilter{Design: design})
	if err != nil {
		return nil, drift.Options{}, err
	}
	coils, options, err := coilsOfWinding(ctx, store, "", batches, zone)
	if errors.Is(err, ErrNoCoils) {
		err = fmt.Errorf("design %s: %w", design, ErrNoCoils)
	}
	options.Frozen = nil // a baseline is of one winder
	return coils, options, err
}

// MostCoils is how many coils of a winder or a design are looked at, the newest:
// years of a workshop, and few enough for a page to wait for.
const MostCoils = 5000

// mostBatches is how far back batches are looked through for them.
const mostBatches = 2000

// batches are some batches in the order they were opened; more is true when there
// are earlier ones.
type batches struct {
	list []record.Batch
	more bool
}

// newestBatches takes the newest of them that hold MostCoils together, and at least
// one.
func (b batches) newestBatches() batches {
	coils := 0
	for i := len(b.list) - 1; i >= 0; i-- {
		coils += b.list[i].LastSequence
		if coils > MostCoils && i < len(b.list)-1 {
			return batches{b.list[i+1:], true}
		}
	}
	return b
}

// batchesInOrder lists the newest of the batches that match, the oldest first.
func batchesInOrder(ctx context.Context, store DriftStore, f record.BatchFilter) (batches, error) {
	f.Limit = mostBatches + 1
	found, err := store.Batches(ctx, f)
	if err != nil {
		return batches{}, err
	}
	more := len(found) > mostBatches
	found = found[:min(len(found), mostBatches)]
	slices.SortStableFunc(found, func(a, b record.Batch) int { return a.OpenedAt.Compare(b.OpenedAt) })
	return batches{found, more}, nil
}

// batchesOfWinder lists the batches of a winder, those without one when it is empty; of
// all designs when design is empty.
func batchesOfWinder(ctx context.Context, store DriftStore, winder, design string) (batches, error) {
	found, err := batchesInOrder(ctx, store, record.BatchFilter{Design: design, Winder: winder})
	// A filter without a winder picks them all.
	found.list = slices.DeleteFunc(found.list, func(b record.Batch) bool { return b.Winder != winder })
	return found, err
}

// coilsOfWinding returns the newest coils of a winder's batches, numbered through.
func coilsOfWinding(
	ctx context.Context, store DriftStore, winder string, all batches, zone *time.Location,
) ([]drift.Coil, drift.Options, error) {
	of := all.newestBatches()
	coils, reference, err := coilsOfBatches(ctx, store, of.list, zone)
	if err != nil {
		return nil, drift.Options{}, err
	}
	if len(coils) == 0 {
		return nil, drift.Options{}, fmt.Errorf("winder %s: %w", winder, ErrNoCoils)
	}
	for i := range coils {
		coils[i].Sequence = i + 1
	}
	latest := slices.MaxFunc(of.list, func(a, b record.Batch) int { return cmp.Compare(a.DesignRevision, b.DesignRevision) })
	design, err := store.DesignRevision(ctx, latest.Design, latest.DesignRevision)
	if err != nil {
		return nil, drift.Options{}, err
	}
	if err := compareByTarget(ctx, store, design, of.list, coils); err != nil {
		return nil, drift.Options{}, err
	}
	options, err := optionsWithBaseline(ctx, store, winder, design)
	options.CheckReferenceOhms, options.LeftOut = reference, of.more
	return coils, options, err
}

// compareByTarget has coils that were wound to other revisions of a design stand beside
// its own by their ratio to their own target: a target that was changed on purpose
// is no drift.
func compareByTarget(ctx context.Context, store DriftStore, design record.Design, batches []record.Batch, coils []drift.Coil) error {
	revisions := map[int]record.Design{design.Revision: design}
	ofBatch := map[string]record.Design{}
	several := false
	for _, b := range batches {
		own, known := revisions[b.DesignRevision]
		if !known {
			var err error
			if own, err = store.DesignRevision(ctx, b.Design, b.DesignRevision); err != nil {
				return err
			}
			revisions[b.DesignRevision] = own
		}
		ofBatch[b.Name] = own
		several = several || own.TargetOhms != design.TargetOhms
	}
	for i := range coils {
		c, own := &coils[i], ofBatch[coils[i].Batch]
		if several {
			c.Target = words.Ohms(own.TargetOhms)
		}
		if own.TargetOhms != design.TargetOhms {
			c.ComparedBy = design.TargetOhms / own.TargetOhms
		}
		if own.Turns != design.Turns {
			c.Turns = float64(own.Turns)
		}
	}
	return nil
}

func designsOf(batches []record.Batch) []string {
	var names []string
	for _, b := range batches {
		if !slices.Contains(names, b.Design) {
			names = append(names, b.Design)
		}
	}
	return names
}

// optionsWithBaseline is what a design tells the analysis, with the baseline that
// was kept for it on a winder.
func optionsWithBaseline(ctx context.Context, store DriftStore, winder string, design record.Design) (drift.Options, error) {
	options := optionsOfDesign(design)
	kept, err := store.CurrentBaseline(ctx, winder, design.Name, design.Revision)
	// One of fewer coils is from before there was a rule for it, and makes no limits.
	if err == nil && kept != nil && kept.Count >= control.LeastBaseline {
		options.Frozen = &drift.Baseline{
			MeanOhms: kept.MeanOhms, SigmaWithinOhms: kept.SigmaWithinOhms, SigmaOverallOhms: kept.SigmaOverallOhms,
			MeanRangeOhms: kept.MeanRangeOhms, UsualErrorOhms: kept.UsualStandardUncertaintyOhms, Count: kept.Count,
		}
	}
	return options, err
}

// optionsOfDesign is what a design tells the analysis.
func optionsOfDesign(d record.Design) drift.Options {
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

// coilsOfBatches are the coils of batches, one batch after the other, with the checks
// of the benches they were measured at.
func coilsOfBatches(
	ctx context.Context, store DriftStore, batches []record.Batch, zone *time.Location,
) (coils []drift.Coil, referenceOhms float64, err error) {
	byBench := map[string][]int{}
	for _, b := range batches {
		more, err := standingCoils(ctx, store, b.Name, zone)
		if err == nil {
			err = addNotes(ctx, store, b.Name, more)
		}
		if err != nil {
			return nil, 0, err
		}
		for i := range more {
			byBench[b.Bench] = append(byBench[b.Bench], len(coils)+i)
		}
		coils = append(coils, more...)
	}
	referenceOhms, err = addChecks(ctx, store, coils, byBench)
	return coils, referenceOhms, err
}

// standingCoils takes each coil once, by its standing measurement at the stage the
// batch was first measured at: potting and assembly change a coil's value, and
// would look like drift.
func standingCoils(ctx context.Context, store DriftStore, batch string, zone *time.Location) ([]drift.Coil, error) {
	var coils []drift.Coil
	stage := ""
	// A coil keeps its number in the batch however often it is measured, so its
	// first measurement tells when it was wound, also one that was withdrawn.
	firstMeasured := map[string]time.Time{}
	err := eachMeasurement(ctx, store, batch, func(m record.Measurement) {
		if _, known := firstMeasured[m.Serial]; !known {
			firstMeasured[m.Serial] = m.Time
		}
		if !m.Stands() {
			return
		}
		if len(coils) == 0 {
			stage = m.Stage
		}
		if m.Stage == stage {
			coils = append(coils, coilOf(m, firstMeasured[m.Serial], zone))
		}
	})
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(coils, func(a, b drift.Coil) int { return cmp.Compare(a.Sequence, b.Sequence) })
	return coils, nil
}

func coilOf(m record.Measurement, firstMeasured time.Time, zone *time.Location) drift.Coil {
	celsius := m.TemperatureCelsius
	c := drift.Coil{
		Sequence: m.Sequence, Time: m.Time.In(zone), FirstMeasured: firstMeasured.In(zone), Serial: m.Serial, MeasurementID: m.ID,
		R20Ohms: m.R20Ohms, ExpandedUncertaintyOhms: m.ExpandedUncertaintyOhms, CoverageFactor: m.CoverageFactor,
		Batch: m.Batch, Spool: m.Spool, Winder: m.Winder, Operator: m.Operator,
		TemperatureCelsius: &celsius, Verdict: string(m.Verdict),
	}
	if m.Status == record.Forced {
		c.Doubtful = "forced"
	}
	return c
}

// eachMeasurement calls fn with every measurement of a batch in the order of time,
// those withdrawn too.
func eachMeasurement(ctx context.Context, store DriftStore, batch string, fn func(record.Measurement)) error {
	filter := record.Filter{Batch: batch, Limit: record.MaxPage}
	for {
		page, next, err := store.Measurements(ctx, filter)
		if err != nil {
			return err
		}
		for _, m := range page {
			fn(m)
		}
		if next == "" {
			return nil
		}
		filter.After = next
	}
}
