package history

import (
	"context"
	"errors"
	"fmt"

	"coilkeep/internal/record"
)

// Coil returns a coil by its serial number, or ErrNotFound. Capitals do not
// matter; Serial is as the coil has it.
func (s *Store) Coil(ctx context.Context, serial string) (record.Coil, error) {
	var coil record.Coil
	var newest, standing *record.Measurement
	err := s.read(ctx, "read coil", func(q querier) (err error) {
		if coil.Serial, err = spelled(ctx, q, serial); err != nil {
			return err
		}
		f := record.Filter{Serial: coil.Serial, Newest: true}
		c := pickedBy(f)
		return eachMeasurement(ctx, q, c.where()+orderOf(f), c.args, func(r row) error {
			m := r.today()
			coil.Measurements = append(coil.Measurements, m)
			if newest == nil {
				newest = &m
			}
			if standing == nil && r.annotation.live() {
				standing = &m
			}
			return nil
		})
	})
	if err != nil {
		return record.Coil{}, err
	}
	if newest == nil {
		return record.Coil{}, fmt.Errorf("coil %q %w", serial, record.ErrNotFound)
	}
	if standing == nil {
		standing = newest
	}
	coil.Design, coil.Batch = standing.Design, standing.Batch
	return coil, nil
}

// NextSerial returns the serial number after the highest one that the pattern
// ever made, or would have made but for capitals, the first being number 1: that of
// a coil, or of one that left the bench without a record. See ValidateSerialPattern for patterns;
// the error is a *FieldError when the pattern is bad or used up.
func (s *Store) NextSerial(ctx context.Context, pattern string) (string, error) {
	p, err := record.ParseSerialPattern(pattern)
	if err != nil {
		return "", err
	}
	var highest uint64
	err = s.read(ctx, "find the next serial number", func(q querier) error {
		// Longer texts of one pattern hold higher numbers.
		for digits := record.MaxSerialDigits; digits >= p.Width && highest == 0; digits-- {
			for _, of := range []string{"coils WHERE TRUE", "unrecorded WHERE by_pattern"} {
				number, err := highestSerial(ctx, q, of, p, digits)
				if err != nil {
					return err
				}
				highest = max(highest, number)
			}
		}
		return nil
	})
	if err != nil {
		return "", err
	}
	next := p.Format(highest + 1)
	if _, fits := p.Number(next); !fits {
		return "", record.Invalid("serials", "pattern %q has no number after %d", pattern, highest)
	}
	return next, nil
}

// highestSerial returns the highest number of so many digits in the rows of a
// table, 0 when there is none. Among texts of one length and prefix that is the last in order; the
// digits must follow the prefix, so the search stays between prefix 0 and
// prefix 9.
func highestSerial(ctx context.Context, q querier, of string, p record.SerialPattern, digits int) (highest uint64, err error) {
	length := len([]rune(p.Prefix)) + digits + len([]rune(p.Suffix))
	query := `
		SELECT serial
		FROM ` + of + ` AND length(serial) = ?1 AND serial >= ?2 COLLATE NOCASE AND serial < ?3 COLLATE NOCASE
		ORDER BY serial COLLATE NOCASE DESC`
	args := []any{length, p.Prefix + "0", p.Prefix + ":"}
	r, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	for highest == 0 && r.Next() {
		var serial string
		if err := r.Scan(&serial); err != nil {
			return 0, err
		}
		if number, ok := p.Number(serial); ok {
			highest = number
		}
	}
	return highest, r.Err()
}
