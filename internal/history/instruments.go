package history

import (
	"context"
	"database/sql"
	"fmt"

	"coilkeep/internal/record"
)

// Instruments returns the instruments a bench has measured with, the first one
// first; of all benches when bench is empty.
func (s instrumentRecords) Instruments(ctx context.Context, bench string) ([]record.Instrument, error) {
	instruments := []record.Instrument{}
	var c conditions
	c.equal("bench", bench)
	err := rows(ctx, s.readers, `SELECT bench, role, identity, first_us FROM instruments `+c.where()+
		` ORDER BY first_us, bench, role, identity`, c.args, func(r *sql.Rows) error {
		var i record.Instrument
		var firstUS int64
		err := r.Scan(&i.Bench, &i.Role, &i.Identity, &firstUS)
		i.FirstAt = fromMicros(firstUS)
		instruments = append(instruments, i)
		return err
	})
	return instruments, explain(s.path, "list instruments", err)
}

// AddCalibration stores a statement about an instrument and returns it as
// stored; ID and Time are filled in when empty. The error is a *FieldError
// when a value cannot be right.
func (s instrumentRecords) AddCalibration(ctx context.Context, c record.Calibration) (record.Calibration, error) {
	return calibrations.add(ctx, s.file, c, func(c record.Calibration) record.JournalEntry {
		return record.JournalEntry{Bench: c.Bench, Who: c.By, Action: "calibration", Subject: c.Instrument,
			Detail: fmt.Sprintf("%s, certificate %q, correction ratio %g", c.Role, c.Certificate, c.CorrectionRatio)}
	})
}

// takenID turns a violated uniqueness constraint into ErrDuplicate.
func takenID(err error, id string) error {
	if isUnique(err) {
		return fmt.Errorf("id %q %w", id, record.ErrDuplicate)
	}
	return err
}

// Calibrations returns the calibrations of a bench, newest first; of all
// benches when bench is empty.
func (s instrumentRecords) Calibrations(ctx context.Context, bench string) ([]record.Calibration, error) {
	var c conditions
	c.equal("bench", bench)
	return calibrations.pick(ctx, s.file, c.where()+newestFirst, c.args...)
}

// AddCheckMeasurement stores a measurement of a check standard and returns it
// as stored; ID and Time are filled in when empty. The error is a *FieldError
// when a value cannot be right.
func (s instrumentRecords) AddCheckMeasurement(ctx context.Context, c record.CheckMeasurement) (record.CheckMeasurement, error) {
	return checks.add(ctx, s.file, c, nil)
}

// CheckMeasurements returns the measurements of check standards that match, newest
// first.
func (s instrumentRecords) CheckMeasurements(ctx context.Context, f record.CheckFilter) ([]record.CheckMeasurement, error) {
	limit := f.Limit
	if limit <= 0 {
		limit = record.DefaultPage
	}
	var c conditions
	c.equal("bench", f.Bench)
	c.between("time_us", f.From, f.To)
	return checks.pick(ctx, s.file, c.where()+newestFirst+` LIMIT `+c.bind(limit), c.args...)
}
