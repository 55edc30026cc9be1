package history

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"time"
)

// LeadZero is what a bench's leads were measured to add, with the clips
// shorted.
type LeadZero struct {
	ID    string    `json:"id"`
	Time  time.Time `json:"time"`
	Bench string    `json:"bench"`
	// Meter is the identity of the meter the leads were measured with.
	Meter string `json:"meter"`
	// Ohms is the mean of Readings readings, known within ±HalfWidthOhms.
	Ohms          float64 `json:"ohms"`
	HalfWidthOhms float64 `json:"half_width_ohms"`
	Readings      int     `json:"readings"`
	By            string  `json:"by,omitempty"`
}

// MaxLeadOhms is the most that leads may add. Two leads of a bench meter add
// 0.2 to 0.5 Ω (common practice, no source); ten times that is no lead but a
// broken clip.
const MaxLeadOhms = 5.0

// AddLeadZero stores a measured lead zero and returns it as stored; ID and
// Time are filled in when empty. The error is a *FieldError when a value
// cannot be right.
func (s *Store) AddLeadZero(ctx context.Context, z LeadZero) (LeadZero, error) {
	z.Time = s.instantOr(z.Time)
	err := validLeadZero(z)
	if z.ID == "" && err == nil {
		z.ID, err = newID()
	}
	if err != nil {
		return LeadZero{}, fmt.Errorf("add lead zero: %w", err)
	}
	err = s.write(ctx, "add lead zero", func(tx *sql.Tx) error {
		if err := insertLeadZero(ctx, tx, z); err != nil {
			return takenID(err, z.ID)
		}
		return s.note(ctx, tx, JournalEntry{Bench: z.Bench, Who: z.By, Action: "lead zero", Subject: z.Meter,
			Detail: fmt.Sprintf("%.4g ± %.2g Ω, mean of %d readings", z.Ohms, z.HalfWidthOhms, z.Readings)})
	})
	if err != nil {
		return LeadZero{}, err
	}
	return z, nil
}

func validLeadZero(z LeadZero) error {
	if !(z.Ohms >= -MaxLeadOhms && z.Ohms <= MaxLeadOhms) {
		return invalid("ohms", "must be from -%g to %g Ω, not %g", MaxLeadOhms, MaxLeadOhms, z.Ohms)
	}
	if !(z.HalfWidthOhms >= 0 && z.HalfWidthOhms <= MaxLeadOhms) {
		return invalid("half_width_ohms", "must be from 0 to %g Ω, not %g", MaxLeadOhms, z.HalfWidthOhms)
	}
	if z.Readings < 1 {
		return invalid("readings", "must be at least 1, not %d", z.Readings)
	}
	return cmp.Or(validName("bench", z.Bench), allValid(validLabel, "meter", z.Meter, "by", z.By))
}

func insertLeadZero(ctx context.Context, tx *sql.Tx, z LeadZero) error {
	_, err := tx.ExecContext(ctx, `
		INSERT INTO lead_zeros (id, time_us, bench, meter, ohms, half_width_ohms, readings, by)
		VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)`,
		z.ID, z.Time.UnixMicro(), z.Bench, z.Meter, z.Ohms, z.HalfWidthOhms, z.Readings, z.By)
	return err
}

func listLeadZeros(ctx context.Context, q querier, clause string, args ...any) ([]LeadZero, error) {
	zeros := []LeadZero{}
	err := rows(ctx, q, `
		SELECT id, time_us, bench, meter, ohms, half_width_ohms, readings, by
		FROM lead_zeros `+clause, args, func(r *sql.Rows) error {
		var z LeadZero
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
func (s *Store) LeadZeros(ctx context.Context, bench string) ([]LeadZero, error) {
	var c conditions
	c.equal("bench", bench)
	list, err := listLeadZeros(ctx, s.readers, c.where()+` ORDER BY time_us DESC, number DESC`, c.args...)
	return list, explain(s.path, "list lead zeros", err)
}

// CurrentLeadZero returns the newest lead zero of a bench that is not in the
// future, nil when there is none.
func (s *Store) CurrentLeadZero(ctx context.Context, bench string) (*LeadZero, error) {
	list, err := listLeadZeros(ctx, s.readers, `
		WHERE bench = ?1 AND time_us <= ?2
		ORDER BY time_us DESC, number DESC
		LIMIT 1`, bench, s.instant().UnixMicro())
	if err != nil || len(list) == 0 {
		return nil, explain(s.path, "read lead zero", err)
	}
	return &list[0], nil
}
