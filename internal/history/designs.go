package history

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"reflect"

	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// designColumns are in the order scanDesign reads them.
const designColumns = `
	d.name,
	d.revision,
	d.created_us,
	d.target_ohms,
	d.lower_ohms,
	d.upper_ohms,
	d.guard_factor,
	d.gauge_awg,
	d.turns,
	d.bobbin_straight_mm,
	d.bobbin_core_radius_mm,
	d.bobbin_build_mm,
	d.alpha_per_kelvin,
	d.alpha_standard_uncertainty_per_kelvin,
	d.time_constant_seconds,
	d.time_constant_ratio,
	d.quick_share,
	d.quick_share_deviation,
	d.wanted_uncertainty_percent,
	d.note`

func scanDesign(scan func(...any) error) (record.Design, error) {
	var d record.Design
	var createdUS int64
	var straight, radius, build sql.NullFloat64
	err := scan(&d.Name, &d.Revision, &createdUS, &d.TargetOhms, &d.LowerOhms, &d.UpperOhms, &d.GuardFactor,
		&d.GaugeAWG, &d.Turns, &straight, &radius, &build, &d.AlphaPerKelvin,
		&d.AlphaStandardUncertaintyPerKelvin, &d.TimeConstantSeconds, &d.TimeConstantRatio, &d.QuickShare,
		&d.QuickShareDeviation, &d.WantedUncertaintyPercent, &d.Note)
	d.CreatedAt = fromMicros(createdUS)
	if straight.Valid {
		d.Bobbin = &record.Bobbin{StraightMM: straight.Float64, CoreRadiusMM: radius.Float64, BuildMM: build.Float64}
	}
	return d, err
}

func insertDesign(ctx context.Context, tx *transaction, d record.Design) error {
	var straight, radius, build sql.NullFloat64
	if b := d.Bobbin; b != nil {
		straight = sql.NullFloat64{Float64: b.StraightMM, Valid: true}
		radius = sql.NullFloat64{Float64: b.CoreRadiusMM, Valid: true}
		build = sql.NullFloat64{Float64: b.BuildMM, Valid: true}
	}
	_, err := tx.ExecContext(ctx, `
		INSERT INTO designs (name, revision, created_us, target_ohms, lower_ohms, upper_ohms, guard_factor,
			gauge_awg, turns, bobbin_straight_mm, bobbin_core_radius_mm, bobbin_build_mm, alpha_per_kelvin,
			alpha_standard_uncertainty_per_kelvin, time_constant_seconds, time_constant_ratio, quick_share,
			quick_share_deviation, wanted_uncertainty_percent, note)
		VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20)`,
		d.Name, d.Revision, d.CreatedAt.UnixMicro(), d.TargetOhms, d.LowerOhms, d.UpperOhms, d.GuardFactor,
		d.GaugeAWG, d.Turns, straight, radius, build, d.AlphaPerKelvin,
		d.AlphaStandardUncertaintyPerKelvin, d.TimeConstantSeconds, d.TimeConstantRatio, d.QuickShare, d.QuickShareDeviation,
		d.WantedUncertaintyPercent, d.Note)
	return err
}

// latestDesign returns the latest revision of a design, or ErrNotFound.
func latestDesign(ctx context.Context, q querier, name string) (record.Design, error) {
	row := q.QueryRowContext(ctx, `SELECT `+designColumns+`
		FROM designs d
		WHERE d.name = ?1
		ORDER BY d.revision DESC
		LIMIT 1`, name)
	d, err := scanDesign(row.Scan)
	if errors.Is(err, sql.ErrNoRows) {
		return record.Design{}, fmt.Errorf("design %q %w", name, record.ErrNotFound)
	}
	return d, err
}

// designRevision returns one revision of a design, or ErrNotFound.
func designRevision(ctx context.Context, q querier, name string, revision int) (record.Design, error) {
	row := q.QueryRowContext(ctx, `SELECT `+designColumns+`
		FROM designs d
		WHERE d.name = ?1 AND d.revision = ?2`, name, revision)
	d, err := scanDesign(row.Scan)
	if errors.Is(err, sql.ErrNoRows) {
		return record.Design{}, fmt.Errorf("design %q revision %d %w", name, revision, record.ErrNotFound)
	}
	return d, err
}

// AddDesign stores the first revision of a new design and returns it as
// stored. The errors are a *FieldError, or ErrDuplicate when the name is taken.
func (s designRecords) AddDesign(ctx context.Context, d record.Design, who string) (record.Design, error) {
	return s.storeDesign(ctx, d, who, "add design", func(tx *transaction) (int, error) {
		latest, err := latestDesign(ctx, tx, d.Name)
		switch {
		case errors.Is(err, record.ErrNotFound):
			return 1, nil
		case err == nil:
			err = fmt.Errorf("design %q %w (revision %d); revise it, or take another name", d.Name, record.ErrDuplicate, latest.Revision)
		}
		return 0, err
	})
}

// ReviseDesign stores the next revision of a design and returns it as stored.
// Open batches stay with the revision they began with. The Revision of d is the
// one that was changed, 0 when that is not told. The errors are a *FieldError,
// ErrNotFound, or ErrConflict when somebody else has revised that one meanwhile
// or nothing differs from the latest.
func (s designRecords) ReviseDesign(ctx context.Context, d record.Design, who string) (record.Design, error) {
	return s.storeDesign(ctx, d, who, "revise design", func(tx *transaction) (int, error) {
		latest, err := latestDesign(ctx, tx, d.Name)
		if err != nil {
			return 0, err
		}
		if d.Revision != 0 && d.Revision != latest.Revision {
			return 0, fmt.Errorf("%w: design %q has revision %d by now, and this is a change of revision %d; look at what is new and make the "+
				"change again",
				record.ErrConflict, d.Name, latest.Revision, d.Revision)
		}
		same := d
		same.Revision, same.CreatedAt = latest.Revision, latest.CreatedAt
		if reflect.DeepEqual(same, latest) {
			return 0, fmt.Errorf("%w: design %q is the same as revision %d", record.ErrConflict, d.Name, latest.Revision)
		}
		return latest.Revision + 1, nil
	})
}

func (s designRecords) storeDesign(ctx context.Context, d record.Design, who, action string,
	next func(*transaction) (int, error)) (record.Design, error) {
	tried := fmt.Sprintf("%s %q", action, d.Name)
	if err := cmp.Or(record.ValidateDesign(d), record.ValidateLabel("who", who)); err != nil {
		return record.Design{}, fmt.Errorf("%s: %w", tried, err)
	}
	d.CreatedAt = s.instant()
	err := s.write(ctx, tried, func(tx *transaction) (err error) {
		if d.Revision, err = next(tx); err != nil {
			return err
		}
		if err := insertDesign(ctx, tx, d); err != nil {
			return err
		}
		return s.note(ctx, tx, record.JournalEntry{Who: who, Action: action, Subject: d.Name,
			Detail: fmt.Sprintf("revision %d: target %s, %s to %s", d.Revision,
				words.Ohms(d.TargetOhms), words.Ohms(d.LowerOhms), words.Ohms(d.UpperOhms))})
	})
	if err != nil {
		return record.Design{}, err
	}
	return d, nil
}

// Design returns the latest revision of a design, or ErrNotFound.
func (s designRecords) Design(ctx context.Context, name string) (record.Design, error) {
	d, err := latestDesign(ctx, s.readers, name)
	return d, explain(s.path, "read design", err)
}

// DesignRevision returns one revision of a design, or ErrNotFound.
func (s designRecords) DesignRevision(ctx context.Context, name string, revision int) (record.Design, error) {
	d, err := designRevision(ctx, s.readers, name, revision)
	return d, explain(s.path, "read design", err)
}

// DesignRevisions returns every revision of a design, the first one first, or
// ErrNotFound.
func (s designRecords) DesignRevisions(ctx context.Context, name string) ([]record.Design, error) {
	designs, err := listDesigns(ctx, s.readers, `WHERE d.name = ?1 ORDER BY d.revision`, name)
	if err == nil && len(designs) == 0 {
		err = fmt.Errorf("design %q %w", name, record.ErrNotFound)
	}
	return designs, explain(s.path, "read design", err)
}

// Designs returns the latest revision of every design, by name.
func (s designRecords) Designs(ctx context.Context) ([]record.Design, error) {
	designs, err := listDesigns(ctx, s.readers, `
		WHERE d.revision = (SELECT MAX(revision) FROM designs WHERE name = d.name)
		ORDER BY d.name`)
	return designs, explain(s.path, "read designs", err)
}

func listDesigns(ctx context.Context, q querier, where string, args ...any) ([]record.Design, error) {
	designs := []record.Design{}
	err := rows(ctx, q, `SELECT `+designColumns+` FROM designs d `+where, args, func(r *sql.Rows) error {
		d, err := scanDesign(r.Scan)
		designs = append(designs, d)
		return err
	})
	return designs, err
}
