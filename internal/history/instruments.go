package history

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"coilkeep/internal/record"
)

func insertInstrument(ctx context.Context, tx *sql.Tx, i record.Instrument) error {
	_, err := tx.ExecContext(ctx, `
		INSERT INTO instruments (bench, role, identity, first_us)
		VALUES (?1, ?2, ?3, ?4)
		ON CONFLICT DO NOTHING`, i.Bench, i.Role, i.Identity, i.FirstAt.UnixMicro())
	return err
}

// Instruments returns the instruments a bench has measured with, the first one
// first; of all benches when bench is empty.
func (s *Store) Instruments(ctx context.Context, bench string) ([]record.Instrument, error) {
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
func (s *Store) AddCalibration(ctx context.Context, c record.Calibration) (record.Calibration, error) {
	c.Time = s.instantOr(c.Time)
	if !c.DueAt.IsZero() {
		c.DueAt = fromMicros(c.DueAt.UnixMicro())
	}
	err := record.ValidateCalibration(c)
	if c.ID == "" && err == nil {
		c.ID, err = newID()
	}
	if err != nil {
		return record.Calibration{}, fmt.Errorf("add calibration: %w", err)
	}
	err = s.write(ctx, "add calibration", func(tx *sql.Tx) error {
		if err := insertCalibration(ctx, tx, c); err != nil {
			return takenID(err, c.ID)
		}
		return s.note(ctx, tx, record.JournalEntry{Bench: c.Bench, Who: c.By, Action: "calibration", Subject: c.Instrument,
			Detail: fmt.Sprintf("%s, certificate %q, correction ratio %g", c.Role, c.Certificate, c.CorrectionRatio)})
	})
	if err != nil {
		return record.Calibration{}, err
	}
	return c, nil
}

func insertCalibration(ctx context.Context, tx *sql.Tx, c record.Calibration) error {
	_, err := tx.ExecContext(ctx, `
		INSERT INTO calibrations (id, time_us, bench, role, instrument, certificate, due_us, correction_ratio, note, by)
		VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)`,
		c.ID, c.Time.UnixMicro(), c.Bench, c.Role, c.Instrument, c.Certificate, nullMicros(c.DueAt), c.CorrectionRatio, c.Note, c.By)
	return err
}

// takenID turns a violated uniqueness constraint into ErrDuplicate.
func takenID(err error, id string) error {
	if isUnique(err) {
		return fmt.Errorf("id %q %w", id, record.ErrDuplicate)
	}
	return err
}

func listCalibrations(ctx context.Context, q querier, clause string, args ...any) ([]record.Calibration, error) {
	calibrations := []record.Calibration{}
	err := rows(ctx, q, `
		SELECT id, time_us, bench, role, instrument, certificate, due_us, correction_ratio, note, by
		FROM calibrations `+clause, args, func(r *sql.Rows) error {
		var c record.Calibration
		var timeUS int64
		var dueUS sql.NullInt64
		err := r.Scan(&c.ID, &timeUS, &c.Bench, &c.Role, &c.Instrument, &c.Certificate, &dueUS, &c.CorrectionRatio, &c.Note, &c.By)
		c.Time, c.DueAt = fromMicros(timeUS), fromNullMicros(dueUS)
		calibrations = append(calibrations, c)
		return err
	})
	return calibrations, err
}

// Calibrations returns the calibrations of a bench, newest first; of all
// benches when bench is empty.
func (s *Store) Calibrations(ctx context.Context, bench string) ([]record.Calibration, error) {
	var c conditions
	c.equal("bench", bench)
	list, err := listCalibrations(ctx, s.readers, c.where()+` ORDER BY time_us DESC, number DESC`, c.args...)
	return list, explain(s.path, "list calibrations", err)
}

// CurrentCalibration returns the newest calibration of a bench's meter or
// probe that is not in the future, nil when there is none.
func (s *Store) CurrentCalibration(ctx context.Context, bench string, role record.Role) (*record.Calibration, error) {
	list, err := listCalibrations(ctx, s.readers, `
		WHERE bench = ?1 AND role = ?2 AND time_us <= ?3
		ORDER BY time_us DESC, number DESC
		LIMIT 1`, bench, role, s.instant().UnixMicro())
	if err != nil || len(list) == 0 {
		return nil, explain(s.path, "read calibration", err)
	}
	return &list[0], nil
}

// AddCheckMeasurement stores a measurement of a check standard and returns it
// as stored; ID and Time are filled in when empty. The error is a *FieldError
// when a value cannot be right.
func (s *Store) AddCheckMeasurement(ctx context.Context, c record.CheckMeasurement) (record.CheckMeasurement, error) {
	c.Time = s.instantOr(c.Time)
	err := record.ValidateCheck(c)
	if c.ID == "" && err == nil {
		c.ID, err = newID()
	}
	if err != nil {
		return record.CheckMeasurement{}, fmt.Errorf("add check measurement: %w", err)
	}
	c.DeviationRatio = c.MeasuredOhms/c.NominalOhms - 1
	err = s.write(ctx, "add check measurement", func(tx *sql.Tx) error {
		return takenID(insertCheck(ctx, tx, c), c.ID)
	})
	if err != nil {
		return record.CheckMeasurement{}, err
	}
	return c, nil
}

func insertCheck(ctx context.Context, tx *sql.Tx, c record.CheckMeasurement) error {
	_, err := tx.ExecContext(ctx, `
		INSERT INTO check_measurements (id, time_us, bench, standard, nominal_ohms, measured_ohms, temperature_celsius, meter, by, note)
		VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)`,
		c.ID, c.Time.UnixMicro(), c.Bench, c.Standard, c.NominalOhms, c.MeasuredOhms, c.TemperatureCelsius, c.Meter, c.By, c.Note)
	return err
}

func listChecks(ctx context.Context, q querier, clause string, args ...any) ([]record.CheckMeasurement, error) {
	checks := []record.CheckMeasurement{}
	err := rows(ctx, q, `
		SELECT id, time_us, bench, standard, nominal_ohms, measured_ohms, temperature_celsius, meter, by, note
		FROM check_measurements `+clause, args, func(r *sql.Rows) error {
		var c record.CheckMeasurement
		var timeUS int64
		err := r.Scan(&c.ID, &timeUS, &c.Bench, &c.Standard, &c.NominalOhms, &c.MeasuredOhms, &c.TemperatureCelsius, &c.Meter, &c.By, &c.Note)
		if err != nil {
			return err
		}
		c.Time = fromMicros(timeUS)
		c.DeviationRatio = c.MeasuredOhms/c.NominalOhms - 1
		checks = append(checks, c)
		return nil
	})
	return checks, err
}

// CheckFilter picks measurements of check standards; a zero field picks all.
type CheckFilter struct {
	Bench string
	// From is the earliest time, To the first one that is too late.
	From, To time.Time
	// Limit is how many at most; 0 means DefaultPage.
	Limit int
}

// CheckMeasurements returns the measurements of check standards that match, newest
// first.
func (s *Store) CheckMeasurements(ctx context.Context, f CheckFilter) ([]record.CheckMeasurement, error) {
	limit := f.Limit
	if limit <= 0 {
		limit = DefaultPage
	}
	var c conditions
	c.equal("bench", f.Bench)
	c.between("time_us", f.From, f.To)
	clause := c.where() + ` ORDER BY time_us DESC, number DESC LIMIT ` + c.bind(limit)
	checks, err := listChecks(ctx, s.readers, clause, c.args...)
	return checks, explain(s.path, "list check measurements", err)
}
