package history

import (
	"context"
	"database/sql"
	"errors"

	"coilkeep/internal/record"
)

// AddStudyReading keeps a reading of a study and returns it as stored; ID, Time
// and R20Ohms are filled in. The error is a *FieldError when a value cannot be
// right or the study has another design, or ErrNotFound for the design.
func (s studyRecords) AddStudyReading(ctx context.Context, r record.StudyReading) (record.StudyReading, error) {
	return studyReadings.add(ctx, s.file, r, nil)
}

// fitsStudy refuses a reading of another design than the study began with.
func fitsStudy(ctx context.Context, tx *transaction, r *record.StudyReading) error {
	if _, err := designRevision(ctx, tx, r.Design, r.DesignRevision); err != nil {
		return err
	}
	var design string
	var revision int
	err := tx.QueryRowContext(ctx, `SELECT design, design_revision FROM study_readings WHERE study = ?1 ORDER BY number LIMIT 1`,
		r.Study).Scan(&design, &revision)
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	if err != nil {
		return err
	}
	if design != r.Design || revision != r.DesignRevision {
		return record.Invalid("design", "must be %s revision %d as in the rest of the study, not %s revision %d",
			design, revision, r.Design, r.DesignRevision)
	}
	return nil
}

// StudyReadings returns the readings of a study in the order they were taken;
// none when there is no such study.
func (s studyRecords) StudyReadings(ctx context.Context, study string) ([]record.StudyReading, error) {
	return studyReadings.pick(ctx, s.file, `WHERE study = ?1 ORDER BY number`, study)
}

// Studies lists the studies of the measuring, the newest first.
func (s studyRecords) Studies(ctx context.Context) ([]record.Study, error) {
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
