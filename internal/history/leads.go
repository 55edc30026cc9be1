package history

import (
	"context"
	"database/sql"
	"fmt"

	"coilkeep/internal/record"
)

// AddLeadZero stores a measured lead zero and returns it as stored; ID and
// Time are filled in when empty. The error is a *FieldError when a value
// cannot be right.
func (s *Store) AddLeadZero(ctx context.Context, z record.LeadZero) (record.LeadZero, error) {
	z.Time = s.instantOr(z.Time)
	err := record.ValidateLeadZero(z)
	if z.ID == "" && err == nil {
		z.ID, err = newID()
	}
	if err != nil {
		return record.LeadZero{}, fmt.Errorf("add lead zero: %w", err)
	}
	err = s.write(ctx, "add lead zero", func(tx *sql.Tx) error {
		if err := insertLeadZero(ctx, tx, z); err != nil {
			return takenID(err, z.ID)
		}
		return s.note(ctx, tx, record.JournalEntry{Bench: z.Bench, Who: z.By, Action: "lead zero", Subject: z.Meter,
			Detail: fmt.Sprintf("%.4g ± %.2g Ω, mean of %d readings", z.Ohms, z.HalfWidthOhms, z.Readings)})
	})
	if err != nil {
		return record.LeadZero{}, err
	}
	return z, nil
}

func insertLeadZero(ctx context.Context, tx *sql.Tx, z record.LeadZero) error {
	_, err := tx.ExecContext(ctx, `
		INSERT INTO lead_zeros (id, time_us, bench, meter, ohms, half_width_ohms, readings, by)
		VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)`,
		z.ID, z.Time.UnixMicro(), z.Bench, z.Meter, z.Ohms, z.HalfWidthOhms, z.Readings, z.By)
	return err
}

func listLeadZeros(ctx context.Context, q querier, clause string, args ...any) ([]record.LeadZero, error) {
	zeros := []record.LeadZero{}
	err := rows(ctx, q, `
		SELECT id, time_us, bench, meter, ohms, half_width_ohms, readings, by
		FROM lead_zeros `+clause, args, func(r *sql.Rows) error {
		var z record.LeadZero
		var timeUS int64
		err := r.Scan(&z.ID, &timeUS, &z.Bench, &z.Meter, &z.Ohms, &z.HalfWidthOhms, &z.Readings, &z.By)
		z.Time = fromMicros(timeUS)
		zeros = append(zeros, z)
		return err
	})
	return zeros, err
}

// LeadZeros returns the lead zeros of a bench, newest first; of all benches
// when bench is empty.
func (s *Store) LeadZeros(ctx context.Context, bench string) ([]record.LeadZero, error) {
	var c conditions
	c.equal("bench", bench)
	list, err := listLeadZeros(ctx, s.readers, c.where()+` ORDER BY time_us DESC, number DESC`, c.args...)
	return list, explain(s.path, "list lead zeros", err)
}

// CurrentLeadZero returns the newest lead zero of a bench that is not in the
// future, nil when there is none.
func (s *Store) CurrentLeadZero(ctx context.Context, bench string) (*record.LeadZero, error) {
	list, err := listLeadZeros(ctx, s.readers, `
		WHERE bench = ?1 AND time_us <= ?2
		ORDER BY time_us DESC, number DESC
		LIMIT 1`, bench, s.instant().UnixMicro())
	if err != nil || len(list) == 0 {
		return nil, explain(s.path, "read lead zero", err)
	}
	return &list[0], nil
}
