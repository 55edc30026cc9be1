package history

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"coilkeep/internal/record"
)

// AddAssembly keeps that two coils are sold as one, and returns it as stored; ID
// and Time are filled in when empty. With takeApart, earlier assemblies that one
// of the three serial numbers is in count no longer, and the journal says so;
// without, they stand, and the error is an ErrConflict that names one. It is a
// *FieldError when a value cannot be right, and ErrNotFound for a coil that was
// never measured.
func (s assemblyRecords) AddAssembly(ctx context.Context, a record.Assembly, takeApart bool) (record.Assembly, error) {
	whole := assemblies
	whole.fits = func(ctx context.Context, tx *transaction, a *record.Assembly) error {
		if err := checkAssembly(ctx, tx, a); err != nil {
			return err
		}
		if err := newWhole(ctx, tx, *a); err != nil {
			return err
		}
		return s.takeApart(ctx, tx, *a, takeApart)
	}
	return whole.add(ctx, s.file, a, func(a record.Assembly) record.JournalEntry {
		return record.JournalEntry{Who: a.By, Action: "assembly", Subject: a.Serial,
			Detail: fmt.Sprintf("coils %s and %s", a.First, a.Second)}
	})
}

// takeApart notes which assemblies that stand end with a; it is an ErrConflict
// when they may not.
func (s assemblyRecords) takeApart(ctx context.Context, tx *transaction, a record.Assembly, may bool) error {
	ended := map[string]bool{}
	for _, serial := range []string{a.Serial, a.First, a.Second} {
		old, err := standingAssembly(ctx, tx, serial)
		switch {
		case errors.Is(err, record.ErrNotFound) || err == nil && ended[old.ID]:
			continue
		case err != nil:
			return err
		case !may:
			return fmt.Errorf("%w: %s is sold already: %s is coils %s and %s; ask to take it apart, or choose another",
				record.ErrConflict, serial, old.Serial, old.First, old.Second)
		}
		ended[old.ID] = true
		if err := s.note(ctx, tx, record.JournalEntry{Who: a.By, Action: "taken apart", Subject: old.Serial,
			Detail: fmt.Sprintf("coils %s and %s: %s goes into %s", old.First, old.Second, serial, a.Serial)}); err != nil {
			return err
		}
	}
	return nil
}

// Assembly returns the assembly that a serial number is in, as the whole or as
// a part, or ErrNotFound. One of which another number went into a later assembly
// is none any more. Capitals do not matter.
func (s assemblyRecords) Assembly(ctx context.Context, serial string) (found record.Assembly, err error) {
	err = s.read(ctx, "read assembly", func(q querier) error {
		written, err := spelled(ctx, q, serial)
		if err != nil {
			return err
		}
		if found, err = standingAssembly(ctx, q, written); !errors.Is(err, record.ErrNotFound) {
			return err
		}
		alike, otherwise := assemblies.list(ctx, q, `WHERE serial = ?1 COLLATE NOCASE ORDER BY number DESC LIMIT 1`, serial)
		if otherwise != nil || len(alike) == 0 || alike[0].Serial == written {
			return cmp.Or(otherwise, err)
		}
		found, err = standingAssembly(ctx, q, alike[0].Serial)
		return err
	})
	return found, err
}

// standingAssembly is [Store.Assembly] for a number as it is spelled.
func standingAssembly(ctx context.Context, q querier, serial string) (record.Assembly, error) {
	newest, err := newestAssembly(ctx, q, serial)
	if err != nil {
		return record.Assembly{}, err
	}
	for _, other := range []string{newest.Serial, newest.First, newest.Second} {
		later, err := newestAssembly(ctx, q, other)
		if err != nil {
			return record.Assembly{}, err
		}
		if later.ID != newest.ID {
			return record.Assembly{}, fmt.Errorf("assembly of %q %w: %s went into %s later", serial, record.ErrNotFound, other, later.Serial)
		}
	}
	return newest, nil
}

// Assembled returns which of the serial numbers are in an assembly, as
// [Store.Assembly] has it, in one question.
func (s assemblyRecords) Assembled(ctx context.Context, serials []string) (map[string]bool, error) {
	asked, err := json.Marshal(serials)
	if err != nil {
		return nil, fmt.Errorf("ask for assemblies: %w", err)
	}
	found := map[string]bool{}
	err = s.read(ctx, "read assemblies", func(q querier) error {
		return rows(ctx, q, `
			SELECT asked.value
			FROM json_each(?1) AS asked
			JOIN assemblies AS a ON a.number = (
				SELECT max(number) FROM assemblies
				WHERE serial = asked.value OR first = asked.value OR second = asked.value)
			WHERE NOT EXISTS (
				SELECT 1 FROM assemblies AS later
				WHERE later.number > a.number AND (
					later.serial IN (a.serial, a.first, a.second) OR
					later.first IN (a.serial, a.first, a.second) OR
					later.second IN (a.serial, a.first, a.second)))`, []any{string(asked)}, func(r *sql.Rows) error {
			var serial string
			err := r.Scan(&serial)
			found[serial] = true
			return err
		})
	})
	return found, err
}

func newestAssembly(ctx context.Context, q querier, serial string) (record.Assembly, error) {
	list, err := assemblies.list(ctx, q, `
		WHERE serial = ?1 OR first = ?1 OR second = ?1
		ORDER BY number DESC
		LIMIT 1`, serial)
	if err == nil && len(list) == 0 {
		err = fmt.Errorf("assembly of %q %w", serial, record.ErrNotFound)
	}
	if err != nil {
		return record.Assembly{}, err
	}
	return list[0], nil
}

// checkAssembly spells the serial numbers of the parts as the coils have them,
// and returns a *FieldError when a value cannot be right, or ErrNotFound for a
// coil that was never measured.
func checkAssembly(ctx context.Context, tx *transaction, a *record.Assembly) (err error) {
	for _, part := range []*string{&a.First, &a.Second} {
		if *part, err = spelled(ctx, tx, *part); err != nil {
			return err
		}
	}
	if err := record.ValidateAssembly(*a); err != nil {
		return err
	}
	return measured(ctx, tx, a.First, a.Second)
}

// newWhole refuses the number of a whole that differs by capitals only from that
// of a part, of another whole or of a coil, which it looks like on a label. What
// is imported may have one, from before that rule. The error is a *FieldError.
func newWhole(ctx context.Context, q querier, a record.Assembly) error {
	for _, part := range []struct{ field, serial string }{{"first", a.First}, {"second", a.Second}} {
		if strings.EqualFold(part.serial, a.Serial) {
			return record.WholeAsPart(part.field, a.Serial)
		}
	}
	var known string
	err := q.QueryRowContext(ctx, `
		WITH known AS (SELECT serial FROM coils UNION ALL SELECT serial FROM assemblies)
		SELECT COALESCE(MIN(serial), '')
		FROM known
		WHERE serial = ?1 COLLATE NOCASE AND NOT EXISTS (SELECT 1 FROM known WHERE serial = ?1)`, a.Serial).Scan(&known)
	if err != nil || known == "" {
		return err
	}
	return record.SpelledAlike(known)
}

// measured returns ErrNotFound unless each coil was measured.
func measured(ctx context.Context, q querier, serials ...string) error {
	for _, serial := range serials {
		var found bool
		if err := q.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM coils WHERE serial = ?1)`, serial).Scan(&found); err != nil {
			return err
		}
		if !found {
			return fmt.Errorf("coil %q %w", serial, record.ErrNotFound)
		}
	}
	return nil
}
