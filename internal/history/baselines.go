package history

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"time"

	"coilkeep/internal/control"
	"coilkeep/internal/record"
)

// AddBaseline keeps a baseline, which from then on takes the place of the one
// before, and returns it as stored; ID and Time are filled in when empty. The
// error is a *FieldError when a value cannot be right, or ErrNotFound for the
// design.
func (s *Store) AddBaseline(ctx context.Context, b record.Baseline) (record.Baseline, error) {
	return s.addBaseline(ctx, b, func(*sql.Tx) (*record.Baseline, error) { return nil, nil })
}

// AddFirstBaseline is [Store.AddBaseline] for a design's revision on a winder
// that has none: one that is kept by then stays, and is returned instead.
func (s *Store) AddFirstBaseline(ctx context.Context, b record.Baseline) (kept record.Baseline, err error) {
	return s.addBaseline(ctx, b, func(tx *sql.Tx) (*record.Baseline, error) {
		return currentBaseline(ctx, tx, b.Winder, b.Design, b.DesignRevision, s.instant())
	})
}

// addBaseline adds b, or returns what kept gives in the same transaction.
func (s *Store) addBaseline(ctx context.Context, b record.Baseline, kept func(*sql.Tx) (*record.Baseline, error)) (record.Baseline, error) {
	b.Time = s.instantOr(b.Time)
	err := record.ValidateBaseline(b, control.LeastBaseline)
	if b.ID == "" && err == nil {
		b.ID, err = newID()
	}
	if err != nil {
		return record.Baseline{}, fmt.Errorf("add baseline: %w", err)
	}
	err = s.write(ctx, "add baseline", func(tx *sql.Tx) error {
		if before, err := kept(tx); before != nil || err != nil {
			if before != nil {
				b = *before
			}
			return err
		}
		if _, err := designRevision(ctx, tx, b.Design, b.DesignRevision); err != nil {
			return err
		}
		if err := insertBaseline(ctx, tx, b); err != nil {
			return takenID(err, b.ID)
		}
		return s.note(ctx, tx, record.JournalEntry{Who: b.By, Action: "baseline", Subject: b.Design,
			Detail: fmt.Sprintf("winder %s, revision %d: %d coils, %s to %s, mean %.6g Ω, sigma %.3g Ω: %s",
				cmp.Or(b.Winder, "not told"), b.DesignRevision, b.Count, b.FirstCoil, b.LastCoil, b.MeanOhms, b.SigmaWithinOhms, b.Reason)})
	})
	if err != nil {
		return record.Baseline{}, err
	}
	return b, nil
}

// leastKept is how many coils a baseline had at least before there was a rule for
// it; records of then are imported as they are.
const leastKept = 2

func insertBaseline(ctx context.Context, tx *sql.Tx, b record.Baseline) error {
	_, err := tx.ExecContext(ctx, `
		INSERT INTO baselines (id, time_us, winder, design, design_revision, first_coil, last_coil, count,
			mean_ohms, sigma_within_ohms, sigma_overall_ohms, mean_range_ohms, usual_standard_uncertainty_ohms, reason, by)
		VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15)`,
		b.ID, b.Time.UnixMicro(), b.Winder, b.Design, b.DesignRevision, b.FirstCoil, b.LastCoil, b.Count,
		b.MeanOhms, b.SigmaWithinOhms, b.SigmaOverallOhms, b.MeanRangeOhms, b.UsualStandardUncertaintyOhms, b.Reason, b.By)
	return err
}

func listBaselines(ctx context.Context, q querier, clause string, args ...any) ([]record.Baseline, error) {
	list := []record.Baseline{}
	err := rows(ctx, q, `
		SELECT id, time_us, winder, design, design_revision, first_coil, last_coil, count,
			mean_ohms, sigma_within_ohms, sigma_overall_ohms, mean_range_ohms, usual_standard_uncertainty_ohms, reason, by
		FROM baselines `+clause, args, func(r *sql.Rows) error {
		var b record.Baseline
		var timeUS int64
		err := r.Scan(&b.ID, &timeUS, &b.Winder, &b.Design, &b.DesignRevision, &b.FirstCoil, &b.LastCoil, &b.Count,
			&b.MeanOhms, &b.SigmaWithinOhms, &b.SigmaOverallOhms, &b.MeanRangeOhms, &b.UsualStandardUncertaintyOhms, &b.Reason, &b.By)
		b.Time = fromMicros(timeUS)
		list = append(list, b)
		return err
	})
	return list, err
}

// CurrentBaseline returns the newest baseline of a design's revision on a winder
// that is not in the future, nil when there is none.
func (s *Store) CurrentBaseline(ctx context.Context, winder, design string, revision int) (*record.Baseline, error) {
	b, err := currentBaseline(ctx, s.readers, winder, design, revision, s.instant())
	return b, explain(s.path, "read baseline", err)
}

func currentBaseline(ctx context.Context, q querier, winder, design string, revision int, now time.Time) (*record.Baseline, error) {
	list, err := listBaselines(ctx, q, `
		WHERE winder = ?1 AND design = ?2 AND design_revision = ?3 AND time_us <= ?4
		ORDER BY time_us DESC, number DESC
		LIMIT 1`, winder, design, revision, now.UnixMicro())
	if err != nil || len(list) == 0 {
		return nil, err
	}
	return &list[0], nil
}

func (j *importer) baseline(ctx context.Context, b record.Baseline) error {
	b.Time = fromMicros(b.Time.UnixMicro())
	if err := cmp.Or(record.ValidateName("id", b.ID), record.ValidateBaseline(b, leastKept)); err != nil {
		return err
	}
	if _, err := designRevision(ctx, j.tx, b.Design, b.DesignRevision); err != nil {
		return err
	}
	return add(j, "baseline "+b.ID, b,
		func() (record.Baseline, error) {
			list, err := listBaselines(ctx, j.tx, `WHERE id = ?1`, b.ID)
			return only(list, err)
		},
		func() error { return insertBaseline(ctx, j.tx, b) },
		&j.counts.Baselines)
}
