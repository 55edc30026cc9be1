package history

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"

	"coilkeep/internal/record"
)

// AddCoolingCurve stores a curve, with a line in the journal, and returns it as
// stored; ID and Time are filled in when empty. The error is a *FieldError, or
// ErrNotFound for the design.
func (s *Store) AddCoolingCurve(ctx context.Context, c record.CoolingCurve) (record.CoolingCurve, error) {
	c.Time = s.instantOr(c.Time)
	err := record.ValidateCoolingCurve(c)
	if c.ID == "" && err == nil {
		c.ID, err = newID()
	}
	if err != nil {
		return record.CoolingCurve{}, fmt.Errorf("add cooling curve: %w", err)
	}
	err = s.write(ctx, "add cooling curve", func(tx *sql.Tx) error {
		if _, err := latestDesign(ctx, tx, c.Design); err != nil {
			return err
		}
		if err := insertCoolingCurve(ctx, tx, c); err != nil {
			return takenID(err, c.ID)
		}
		return s.note(ctx, tx, record.JournalEntry{Bench: c.Bench, Action: "time constant", Subject: c.Serial, Detail: c.Words()})
	})
	if err != nil {
		return record.CoolingCurve{}, err
	}
	return c, nil
}

func insertCoolingCurve(ctx context.Context, tx *sql.Tx, c record.CoolingCurve) error {
	_, err := tx.ExecContext(ctx, `
		INSERT INTO cooling_curves (id, time_us, bench, serial, design, time_constant_seconds, time_constant_error_seconds,
			quick_share, quick_share_error, start_kelvin)
		VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)`,
		c.ID, c.Time.UnixMicro(), c.Bench, c.Serial, c.Design, c.TimeConstantSeconds, c.TimeConstantErrorSeconds,
		c.QuickShare, c.QuickShareError, c.StartKelvin)
	return err
}

func listCoolingCurves(ctx context.Context, q querier, clause string, args ...any) ([]record.CoolingCurve, error) {
	curves := []record.CoolingCurve{}
	err := rows(ctx, q, `
		SELECT id, time_us, bench, serial, design, time_constant_seconds, time_constant_error_seconds,
			quick_share, quick_share_error, start_kelvin
		FROM cooling_curves `+clause, args, func(r *sql.Rows) error {
		var c record.CoolingCurve
		var timeUS int64
		err := r.Scan(&c.ID, &timeUS, &c.Bench, &c.Serial, &c.Design, &c.TimeConstantSeconds, &c.TimeConstantErrorSeconds,
			&c.QuickShare, &c.QuickShareError, &c.StartKelvin)
		c.Time = fromMicros(timeUS)
		curves = append(curves, c)
		return err
	})
	return curves, err
}

// CoolingCurves returns the curves of a design's coils, newest first; of all
// designs when design is empty.
func (s *Store) CoolingCurves(ctx context.Context, design string) ([]record.CoolingCurve, error) {
	var c conditions
	c.equal("design", design)
	list, err := listCoolingCurves(ctx, s.readers, c.where()+` ORDER BY time_us DESC, number DESC`, c.args...)
	return list, explain(s.path, "list cooling curves", err)
}

func (j *importer) coolingCurve(ctx context.Context, c record.CoolingCurve) error {
	c.Time = fromMicros(c.Time.UnixMicro())
	if err := cmp.Or(record.ValidateName("id", c.ID), record.ValidateCoolingCurve(c)); err != nil {
		return err
	}
	if _, err := latestDesign(ctx, j.tx, c.Design); err != nil {
		return err
	}
	return add(j, "cooling curve "+c.ID, c,
		func() (record.CoolingCurve, error) {
			list, err := listCoolingCurves(ctx, j.tx, `WHERE id = ?1`, c.ID)
			return only(list, err)
		},
		func() error { return insertCoolingCurve(ctx, j.tx, c) },
		&j.counts.CoolingCurves)
}
