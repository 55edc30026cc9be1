package history

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
)

// On a label dv-0003 and DV-0003 are one coil, so a serial number that differs
// from a known one by capitals only is no other coil. That holds for the letters
// A to Z, as SQLite compares them.

// inCapitals is a serial number with the letters A to Z as capitals.
func inCapitals(serial string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' {
			return r - 'a' + 'A'
		}
		return r
	}, serial)
}

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
	return SpelledAlike(known)
}

// SpelledAlike is the *FieldError for a serial number that differs from that of
// a known coil by capitals only.
func SpelledAlike(known string) error {
	return invalid("serial", "%s exists: write it so, or choose another", known)
}

// SerialNumber is the number that a pattern made a serial number of, or would have
// made it of but for capitals; made is false when it is of another form.
func SerialNumber(pattern, serial string) (number uint64, made bool) {
	p, err := parseSerialPattern(pattern)
	if err != nil {
		return 0, false
	}
	return p.parse(serial)
}

// farSerial is how far beyond the next number of a pattern a new one may be
// before it is remarked upon.
const farSerial = 10

// RemarkOnSerial says what is unusual in the serial number of a new coil where
// the pattern would give next; empty when nothing is. It is no fault: a person
// may number as they like.
func RemarkOnSerial(pattern, next, serial string) string {
	p, err := parseSerialPattern(pattern)
	if err != nil || serial == next {
		return ""
	}
	expected, known := p.parse(next)
	number, made := p.parse(serial)
	switch {
	case !known:
		return ""
	case !made:
		return fmt.Sprintf("%s is of another form than %s, so the count stays at %s", serial, pattern, next)
	case number > expected+farSerial:
		return fmt.Sprintf("%s is %d beyond %s, and the count will go on from %s", serial, number-expected, next, p.format(number+1))
	}
	return ""
}
