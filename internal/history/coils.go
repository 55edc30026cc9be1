package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"

	"coilkeep/internal/record"
)

// Coil returns a coil by its serial number, or ErrNotFound. Capitals do not
// matter; Serial is as the coil has it.
func (s coilRecords) Coil(ctx context.Context, serial string) (coil record.Coil, err error) {
	err = s.read(ctx, "read coil", func(q querier) error {
		known, err := spelled(ctx, q, serial)
		if err != nil {
			return err
		}
		coil, err = oneCoil(ctx, q, known)
		return err
	})
	if err == nil && len(coil.Measurements) == 0 {
		err = fmt.Errorf("coil %q %w", serial, record.ErrNotFound)
	}
	if err != nil {
		return record.Coil{}, err
	}
	return coil, nil
}

// oneCoil is a coil as it is spelled, with what was measured on it; nothing when
// it was never measured.
func oneCoil(ctx context.Context, q querier, serial string) (record.Coil, error) {
	coil := record.Coil{Serial: serial}
	f := record.Filter{Serial: serial, Newest: true}
	c := pickedBy(f)
	err := eachMeasurement(ctx, q, c.where()+orderOf(f), c.args, func(r row) error {
		coil.Measurements = append(coil.Measurements, r.today())
		return nil
	})
	if err != nil || len(coil.Measurements) == 0 {
		return coil, err
	}
	shown := coil.Measurements[0]
	if i := slices.IndexFunc(coil.Measurements, record.Measurement.Stands); i >= 0 {
		shown = coil.Measurements[i]
	}
	coil.Design, coil.Batch = shown.Design, shown.Batch
	return coil, nil
}

// Coils returns one page of the coils that match, in the order of their serial
// numbers, and the cursor for CoilSearch.After of the next page, empty when this
// is the last one. Capitals do not matter.
func (s coilRecords) Coils(ctx context.Context, search record.CoilSearch) (page []record.Coil, next string, err error) {
	limit, err := limitOf(record.Filter{Limit: search.Limit})
	if err != nil {
		return nil, "", fmt.Errorf("list coils: %w", err)
	}
	page = []record.Coil{}
	err = s.read(ctx, "list coils", func(q querier) error {
		var c conditions
		if search.Beginning != "" {
			from := c.bind(search.Beginning)
			c.add(`serial >= ` + from + ` COLLATE NOCASE AND serial <= ` + from + ` || ` + c.bind(lastCodePoint) + ` COLLATE NOCASE`)
		}
		if search.After != "" {
			after := c.bind(search.After)
			c.add(`(serial > ` + after + ` COLLATE NOCASE OR serial = ` + after + ` COLLATE NOCASE AND serial > ` + after + `)`)
		}
		var serials []string
		err := rows(ctx, q, `SELECT serial FROM coils `+c.where()+` ORDER BY serial COLLATE NOCASE, serial LIMIT `+c.bind(limit+1), c.args,
			func(r *sql.Rows) error {
				var serial string
				err := r.Scan(&serial)
				serials = append(serials, serial)
				return err
			})
		if err != nil {
			return err
		}
		if len(serials) > limit {
			serials = serials[:limit]
			next = serials[limit-1]
		}
		for _, serial := range serials {
			coil, err := oneCoil(ctx, q, serial)
			if err != nil {
				return err
			}
			page = append(page, coil)
		}
		return nil
	})
	if err != nil {
		return nil, "", err
	}
	return page, next, nil
}

// NextSerial returns the serial number after the highest one that the pattern
// ever made, or would have made but for capitals, the first being number 1: that of
// a coil, or of one that left the bench without a record. See ValidateSerialPattern for patterns;
// the error is a *FieldError when the pattern is bad or used up.
func (s coilRecords) NextSerial(ctx context.Context, pattern string) (string, error) {
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
