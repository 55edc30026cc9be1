package workshop

import (
	"context"
	"errors"

	"coilkeep/internal/record"
)

// CoilStore is where a coil is found with what was measured on it.
type CoilStore interface {
	Coil(ctx context.Context, serial string) (record.Coil, error)
	Measurement(ctx context.Context, id string) (record.Measurement, []record.Reading, error)
}

// Standing is the measurement of a coil that stands: of those neither void nor
// superseded the newest. It is nil when there is none.
func Standing(coil record.Coil) *record.Measurement {
	for i := range coil.Measurements { // the newest first
		if coil.Measurements[i].Stands() {
			return &coil.Measurements[i]
		}
	}
	return nil
}

// Shown is the measurement of a coil that is shown of it: the one of an id, or
// without one that which stands, and the newest when none does. It is nil when the
// coil has none of that id.
func Shown(coil record.Coil, id string) *record.Measurement {
	if id == "" {
		if m := Standing(coil); m != nil {
			return m
		}
		return &coil.Measurements[0]
	}
	for i := range coil.Measurements {
		if coil.Measurements[i].ID == id {
			return &coil.Measurements[i]
		}
	}
	return nil
}

// StandingMeasurement is the measurement of a coil that stands, with all its
// details; nil when none does, or the coil was never measured.
func StandingMeasurement(ctx context.Context, store CoilStore, serial string) (*record.Measurement, error) {
	coil, err := store.Coil(ctx, serial)
	if errors.Is(err, record.ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	m := Standing(coil)
	if m == nil {
		return nil, nil
	}
	whole, _, err := store.Measurement(ctx, m.ID)
	return &whole, err
}

// StandingOfEach picks from measurements, the oldest first, those that stand: of
// each coil the newest, whatever its stage.
func StandingOfEach(list []record.Measurement) (picked []record.Measurement) {
	newest := map[string]string{}
	for _, m := range list {
		if m.Stands() {
			newest[m.Serial] = m.ID
		}
	}
	for _, m := range list {
		if newest[m.Serial] == m.ID {
			picked = append(picked, m)
		}
	}
	return picked
}
