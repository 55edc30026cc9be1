package history

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"math"

	"coilkeep/internal/record"
)

// AddStudyReading keeps a reading of a study and returns it as stored; ID, Time
// and R20Ohms are filled in. The error is a *FieldError when a value cannot be
// right or the study has another design, or ErrNotFound for the design.
func (s *Store) AddStudyReading(ctx context.Context, r record.StudyReading) (record.StudyReading, error) {
	r.Time = s.instantOr(r.Time)
	err := record.CompleteStudyReading(&r)
	if r.ID == "" && err == nil {
		r.ID, err = newID()
	}
	if err != nil {
		return record.StudyReading{}, fmt.Errorf("add study reading: %w", err)
	}
	err = s.write(ctx, "add study reading", func(tx *sql.Tx) error {
		if err := fitsStudy(ctx, tx, r); err != nil {
			return err
		}
		return takenID(insertStudyReading(ctx, tx, r), r.ID)
	})
	if err != nil {
		return record.StudyReading{}, err
	}
	return r, nil
}

// fitsStudy refuses a reading of another design than the study began with.
func fitsStudy(ctx context.Context, q querier, r record.StudyReading) error {
	if _, err := designRevision(ctx, q, r.Design, r.DesignRevision); err != nil {
		return err
	}
	first, err := listStudyReadings(ctx, q, `WHERE study = ?1 ORDER BY number LIMIT 1`, r.Study)
	if err != nil || len(first) == 0 {
		return err
	}
	if f := first[0]; f.Design != r.Design || f.DesignRevision != r.DesignRevision {
		return record.Invalid("design", "must be %s revision %d as in the rest of the study, not %s revision %d", f.Design, f.DesignRevision, r.Design, r.DesignRevision)
	}
	return nil
}

func insertStudyReading(ctx context.Context, tx *sql.Tx, r record.StudyReading) error {
	_, err := tx.ExecContext(ctx, `
		INSERT INTO study_readings (id, time_us, bench, study, design, design_revision, part, operator,
			resistance_ohms, temperature_celsius, alpha_per_kelvin, meter)
		VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)`,
		r.ID, r.Time.UnixMicro(), r.Bench, r.Study, r.Design, r.DesignRevision, r.Part, r.Operator,
		r.ResistanceOhms, r.TemperatureCelsius, r.AlphaPerKelvin, r.Meter)
	return err
}

func listStudyReadings(ctx context.Context, q querier, clause string, args ...any) ([]record.StudyReading, error) {
	list := []record.StudyReading{}
	err := rows(ctx, q, `
		SELECT id, time_us, bench, study, design, design_revision, part, operator,
			resistance_ohms, temperature_celsius, alpha_per_kelvin, meter
		FROM study_readings `+clause, args, func(row *sql.Rows) error {
		var r record.StudyReading
		var timeUS int64
		err := row.Scan(&r.ID, &timeUS, &r.Bench, &r.Study, &r.Design, &r.DesignRevision, &r.Part, &r.Operator,
			&r.ResistanceOhms, &r.TemperatureCelsius, &r.AlphaPerKelvin, &r.Meter)
		if err != nil {
			return err
		}
		r.Time = fromMicros(timeUS)
		if err := record.CompleteStudyReading(&r); err != nil {
			return fmt.Errorf("study reading %s: %w", r.ID, err)
		}
		list = append(list, r)
		return nil
	})
	return list, err
}

// StudyReadings returns the readings of a study in the order they were taken;
// none when there is no such study.
func (s *Store) StudyReadings(ctx context.Context, study string) ([]record.StudyReading, error) {
	list, err := listStudyReadings(ctx, s.readers, `WHERE study = ?1 ORDER BY number`, study)
	return list, explain(s.path, "list study readings", err)
}

// Studies lists the studies of the measuring, the newest first.
func (s *Store) Studies(ctx context.Context) ([]record.Study, error) {
	list := []record.Study{}
	err := rows(ctx, s.readers, `
		SELECT study, MIN(design), COUNT(*), MIN(time_us), MAX(time_us)
		FROM study_readings
		GROUP BY study
		ORDER BY MAX(number) DESC`, nil, func(r *sql.Rows) error {
		var study record.Study
		var firstUS, lastUS int64
		err := r.Scan(&study.Name, &study.Design, &study.Readings, &firstUS, &lastUS)
		study.First, study.Last = fromMicros(firstUS), fromMicros(lastUS)
		list = append(list, study)
		return err
	})
	return list, explain(s.path, "list studies", err)
}

func (j *importer) study(ctx context.Context, r record.StudyReading) error {
	r.Time = fromMicros(r.Time.UnixMicro())
	told := r.R20Ohms
	if err := cmp.Or(record.ValidateName("id", r.ID), record.CompleteStudyReading(&r)); err != nil {
		return err
	}
	if math.Abs(told-r.R20Ohms) > 1e-9*r.R20Ohms {
		return record.Invalid("r20_ohms", "must follow from resistance and temperature, which give %g Ω, not %g", r.R20Ohms, told)
	}
	if err := fitsStudy(ctx, j.tx, r); err != nil {
		return err
	}
	return add(j, "study reading "+r.ID, r,
		func() (record.StudyReading, error) {
			list, err := listStudyReadings(ctx, j.tx, `WHERE id = ?1`, r.ID)
			return only(list, err)
		},
		func() error { return insertStudyReading(ctx, j.tx, r) },
		&j.counts.StudyReadings)
}
