package workshop

import (
	"context"

	"coilkeep/internal/record"
)

// Situation is what the history says about the coil to come at a bench.
type Situation struct {
	Batch  *record.Batch  // open; nil without one
	Design *record.Design // of the batch
	// Serial is the next one by the bench's pattern; empty without a pattern.
	Serial string
	// Calibrations and Leads are those of the bench, the newest first; see
	// [CalibrationInForce].
	Calibrations []record.Calibration
	Leads        []record.LeadZero
	Last         *record.Measurement
	// Deed is the id of the latest entry of the journal; empty without one.
	Deed string
	// Unrecorded is what left the bench without a record, the latest first.
	Unrecorded []record.Unrecorded
	// Soak is that of the coil SoakOf; nil without one.
	Soak   *record.Soak
	SoakOf string
}

// SituationStore is what a situation is made from.
type SituationStore interface {
	OpenBatchOf(ctx context.Context, bench string) (*record.Batch, error)
	DesignRevision(ctx context.Context, name string, revision int) (record.Design, error)
	NextSerial(ctx context.Context, pattern string) (string, error)
	OpenUnrecorded(ctx context.Context, bench string) ([]record.Unrecorded, error)
	SoakOf(ctx context.Context, bench, serial, batch string) (*record.Soak, error)
	InForceStore
	Measurements(ctx context.Context, f record.Filter) ([]record.Measurement, string, error)
	Journal(ctx context.Context, filter record.JournalFilter) ([]record.JournalEntry, error)
}

// InForceStore lists what may be in force for the instruments of a bench.
type InForceStore interface {
	Calibrations(ctx context.Context, bench string) ([]record.Calibration, error)
	LeadZeros(ctx context.Context, bench string) ([]record.LeadZero, error)
}

// Coming is the coil to come and its batch, by name, as far as a person has said
// which it is.
type Coming struct{ Serial, Batch string }

// SituationOf asks how a bench is situated: one whose serial numbers go by a
// pattern, empty for none, and where the next coil is to be the one told.
func SituationOf(ctx context.Context, store SituationStore, bench, pattern string, next Coming) (s Situation, err error) {
	if s.Batch, err = store.OpenBatchOf(ctx, bench); err != nil {
		return s, err
	}
	if s.Batch != nil {
		design, err := store.DesignRevision(ctx, s.Batch.Design, s.Batch.DesignRevision)
		if err != nil {
			return s, err
		}
		s.Design = &design
	}
	if pattern != "" {
		if s.Serial, err = store.NextSerial(ctx, pattern); err != nil {
			return s, err
		}
	}
	if s.Unrecorded, err = store.OpenUnrecorded(ctx, bench); err != nil {
		return s, err
	}
	if next.Serial == "" && s.Batch != nil { // a new coil is of the open batch
		next = Coming{s.Serial, s.Batch.Name}
	}
	s.SoakOf = next.Serial
	if next.Serial != "" {
		if s.Soak, err = store.SoakOf(ctx, bench, next.Serial, next.Batch); err != nil {
			return s, err
		}
	}
	if s.Calibrations, err = store.Calibrations(ctx, bench); err != nil {
		return s, err
	}
	if s.Leads, err = store.LeadZeros(ctx, bench); err != nil {
		return s, err
	}
	latest, _, err := store.Measurements(ctx, record.Filter{Bench: bench, Newest: true, Limit: 1})
	if err != nil {
		return s, err
	}
	if len(latest) == 1 {
		s.Last = &latest[0]
	}
	deeds, err := store.Journal(ctx, record.JournalFilter{Limit: 1})
	if err == nil && len(deeds) == 1 {
		s.Deed = deeds[0].ID
	}
	return s, err
}
