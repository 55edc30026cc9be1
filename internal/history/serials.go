package history

import (
	"context"
	"database/sql"

	"coilkeep/internal/record"
)

// On a label dv-0003 and DV-0003 are one coil, so a serial number that differs
// from a known one by capitals only is no other coil. That holds for the letters
// A to Z, as SQLite compares them.

// spelled returns a serial number as the coil that is known by it has it. One
// that is not known, or that several older coils differ from by capitals, comes
// back as it is.
func spelled(ctx context.Context, q querier, serial string) (string, error) {
	var alike []string
	err := rows(ctx, q, `SELECT serial FROM coils WHERE serial = ?1 COLLATE NOCASE`, []any{serial}, func(r *sql.Rows) error {
		var s string
		err := r.Scan(&s)
		alike = append(alike, s)
		return err
	})
	for _, s := range alike {
		if s == serial || len(alike) == 1 {
			return s, err
		}
	}
	return serial, err
}

// spelledAlike refuses the serial number of a new coil that differs from that of
// a known one by capitals only. The error is a *FieldError.
func spelledAlike(ctx context.Context, q querier, serial string) error {
	var known string
	err := q.QueryRowContext(ctx, `
		SELECT COALESCE(MIN(serial), '')
		FROM coils
		WHERE serial = ?1 COLLATE NOCASE AND NOT EXISTS (SELECT 1 FROM coils WHERE serial = ?1)`, serial).Scan(&known)
	if err != nil || known == "" {
		return err
	}
	return record.SpelledAlike(known)
}
