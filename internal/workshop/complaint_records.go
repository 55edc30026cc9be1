package workshop

import (
	"context"
	"errors"
	"fmt"

	"coilkeep/internal/compare"
	"coilkeep/internal/record"
)

// Store is what is needed of a history.
type ComplaintStore interface {
	CoilStore
	Measurements(ctx context.Context, f record.Filter) (page []record.Measurement, next string, err error)
	DesignRevision(ctx context.Context, name string, revision int) (record.Design, error)
}

// ErrWithdrawn is returned for a coil that has no measurement that still counts.
var ErrWithdrawn = errors.New("no measurement that still counts; measure the coil again")

// CoilError says which of the coils that were told is at fault; it wraps the
// reason: ErrWithdrawn, or that of the store, such as its ErrNotFound.
type CoilError struct {
	// Field is "serial" or "mate", and Serial what was told there.
	Field, Serial string
	Err           error
}

func (e *CoilError) Error() string { return e.Err.Error() }

func (e *CoilError) Unwrap() error { return e.Err }

// Complete adds what the history knows: the coil and the measurement it is
// compared by, its mate, and the coils of the same batch, which are those it may
// have been swapped with. Serial numbers are spelled as recorded from then on. A
// question that names no coil of the history is complete, and asks the store
// nothing. A coil that is not known, or of which nothing stands, is a
// *CoilError, and a mate that is the coil itself a *record.FieldError.
func (q *Question) Complete(ctx context.Context, store ComplaintStore) error {
	if q.MateSerial != "" {
		mate, _, err := recordOf(ctx, store, "mate", q.MateSerial)
		if err != nil {
			return err
		}
		q.Mate, q.MateSerial = &mate, mate.Serial
	}
	if q.Serial == "" {
		return nil
	}
	ours, m, err := recordOf(ctx, store, "serial", q.Serial)
	if err != nil {
		return err
	}
	q.Ours, q.Serial, q.Measurement = ours, ours.Serial, m.ID
	q.Origin = record.Origin{Design: m.Design, Batch: m.Batch, Bench: m.Bench, Meter: m.Meter, Stands: true}
	if q.MateSerial == q.Serial {
		return record.Invalid("mate", "%s is the coil itself; tell the other one of the two", q.MateSerial)
	}
	if m.Batch != "" {
		q.Others, err = neighbours(ctx, store, m.Batch, q.Serial, q.MateSerial)
	}
	return err
}

// neighbours are the coils of a batch but for those named, the last ones
// measured when there are more than compare takes.
func neighbours(ctx context.Context, store ComplaintStore, batch string, but ...string) ([]compare.Record, error) {
	list, _, err := store.Measurements(ctx, record.Filter{Batch: batch, Newest: true, Limit: compare.MaxOthers})
	if err != nil {
		return nil, err
	}
	seen := map[string]bool{}
	for _, serial := range but {
		seen[serial] = true
	}
	var others []compare.Record
	for _, m := range list { // the newest first
		if !seen[m.Serial] && m.Stands() {
			seen[m.Serial] = true
			others = append(others, compare.Record{Serial: m.Serial, R20Ohms: m.R20Ohms, ExpandedUncertaintyOhms: m.ExpandedUncertaintyOhms})
		}
	}
	return others, nil
}

// recordOf is the newest measurement of a coil that stands; field is where its
// serial number was told.
func recordOf(ctx context.Context, store ComplaintStore, field, serial string) (compare.Record, record.Measurement, error) {
	coil, err := store.Coil(ctx, serial)
	if err != nil {
		return compare.Record{}, record.Measurement{}, &CoilError{field, serial, err}
	}
	standing := Standing(coil)
	if standing == nil {
		return compare.Record{}, record.Measurement{}, &CoilError{field, serial, fmt.Errorf("coil %s has %w", serial, ErrWithdrawn)}
	}
	m, _, err := store.Measurement(ctx, standing.ID)
	if err != nil {
		return compare.Record{}, m, err
	}
	r := compare.Record{
		Serial: coil.Serial, R20Ohms: m.R20Ohms, ExpandedUncertaintyOhms: m.ExpandedUncertaintyOhms,
		AlphaPerKelvin: m.AlphaPerKelvin, AlphaStandardUncertaintyPerKelvin: m.Inputs.AlphaStandardUncertaintyPerKelvin, Measured: &m.Inputs,
	}
	if m.Design == "" {
		return r, m, nil
	}
	design, err := store.DesignRevision(ctx, m.Design, m.DesignRevision)
	r.Turns = design.Turns
	return r, m, err
}
