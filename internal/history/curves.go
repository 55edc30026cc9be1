package history

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"time"
)

// CoolingCurve is what a coil that was left on the clips showed of its cooling or
// warming.
type CoolingCurve struct {
	ID    string    `json:"id"`
	Time  time.Time `json:"time"`
	Bench string    `json:"bench"`
	// Serial is the coil's; empty when it was not known. Design is what the coil
	// is of, in whatever revision.
	Serial string `json:"serial,omitempty"`
	Design string `json:"design"`
	// TimeConstantSeconds is how fast the finished coil relaxes, and
	// TimeConstantErrorSeconds its standard error.
	TimeConstantSeconds      float64 `json:"time_constant_seconds"`
	TimeConstantErrorSeconds float64 `json:"time_constant_error_seconds"`
	// QuickShare is the part of the coil's warmth that was in its wire alone, 0 to
	// 1, with its standard error; an error of 0 means that the curve does not tell
	// it.
	QuickShare      float64 `json:"quick_share"`
	QuickShareError float64 `json:"quick_share_error"`
	// StartKelvin is how far the coil was from where it settled when the curve
	// begins.
	StartKelvin float64 `json:"start_kelvin"`
}

// Words says the curve in a sentence for the journal.
func (c CoolingCurve) Words() string {
	return fmt.Sprintf("left on the clips it settled with a time constant of %.1f ± %.1f min from %.1f K away",
		c.TimeConstantSeconds/60, c.TimeConstantErrorSeconds/60, c.StartKelvin)
}

// AddCoolingCurve stores a curve, with a line in the journal, and returns it as
// stored; ID and Time are filled in when empty. The error is a *FieldError, or
// ErrNotFound for the design.
func (s *Store) AddCoolingCurve(ctx context.Context, c CoolingCurve) (CoolingCurve, error) {
	c.Time = s.instantOr(c.Time)
	err := validCoolingCurve(c)
	if c.ID == "" && err == nil {
		c.ID, err = newID()
	}
	if err != nil {
		return CoolingCurve{}, fmt.Errorf("add cooling curve: %w", err)
	}
	err = s.write(ctx, "add cooling curve", func(tx *sql.Tx) error {
		if _, err := latestDesign(ctx, tx, c.Design); err != nil {
			return err
		}
		if err := insertCoolingCurve(ctx, tx, c); err != nil {
			return takenID(err, c.ID)
		}
		return s.note(ctx, tx, JournalEntry{Bench: c.Bench, Action: "time constant", Subject: c.Serial, Detail: c.Words()})
	})
	if err != nil {
		return CoolingCurve{}, err
	}
	return c, nil
}

// maxTimeConstantSeconds is a day, far beyond any coil.
const maxTimeConstantSeconds = 86400

func validCoolingCurve(c CoolingCurve) error {
	for _, n := range []struct {
		field      string
		value      float64
		least, max float64
		unit       string
	}{
		{"time_constant_seconds", c.TimeConstantSeconds, 0.001, maxTimeConstantSeconds, " s"},
		{"time_constant_error_seconds", c.TimeConstantErrorSeconds, 1e-6, maxTimeConstantSeconds, " s"},
		{"quick_share", c.QuickShare, 0, 1, ""},
		{"quick_share_error", c.QuickShareError, 0, 1, ""},
		{"start_kelvin", c.StartKelvin, -1000, 1000, " K"},
	} {
		if !(n.value >= n.least && n.value <= n.max) {
			return invalid(n.field, "must be %g to %g%s, not %g", n.least, n.max, n.unit, n.value)
		}
	}
	return cmp.Or(validName("bench", c.Bench), validName("design", c.Design), validText("serial", c.Serial, 0, maxSerial))
}

func insertCoolingCurve(ctx context.Context, tx *sql.Tx, c CoolingCurve) error {
	_, err := tx.ExecContext(ctx, `
		INSERT INTO cooling_curves (id, time_us, bench, serial, design, time_constant_seconds, time_constant_error_seconds,
			quick_share, quick_share_error, start_kelvin)
		VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)`,
		c.ID, c.Time.UnixMicro(), c.Bench, c.Serial, c.Design, c.TimeConstantSeconds, c.TimeConstantErrorSeconds,
		c.QuickShare, c.QuickShareError, c.StartKelvin)
	return err
}

func listCoolingCurves(ctx context.Context, q querier, clause string, args ...any) ([]CoolingCurve, error) {
	curves := []CoolingCurve{}
	err := rows(ctx, q, `
		SELECT id, time_us, bench, serial, design, time_constant_seconds, time_constant_error_seconds,
			quick_share, quick_share_error, start_kelvin
		FROM cooling_curves `+clause, args, func(r *sql.Rows) error {
		var c CoolingCurve
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
func (s *Store) CoolingCurves(ctx context.Context, design string) ([]CoolingCurve, error) {
	var c conditions
	c.equal("design", design)
	list, err := listCoolingCurves(ctx, s.readers, c.where()+` ORDER BY time_us DESC, number DESC`, c.args...)
	return list, explain(s.path, "list cooling curves", err)
}

func (j *importer) coolingCurve(ctx context.Context, c CoolingCurve) error {
	c.Time = fromMicros(c.Time.UnixMicro())
	if err := cmp.Or(validName("id", c.ID), validCoolingCurve(c)); err != nil {
		return err
	}
	if _, err := latestDesign(ctx, j.tx, c.Design); err != nil {
		return err
	}
	return add(j, "cooling curve "+c.ID, c,
		func() (CoolingCurve, error) {
			list, err := listCoolingCurves(ctx, j.tx, `WHERE id = ?1`, c.ID)
			return only(list, err)
		},
		func() error { return insertCoolingCurve(ctx, j.tx, c) },
		&j.counts.CoolingCurves)
}
