package history

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"time"

	"coilkeep/internal/record"
)

// AddSoak stores a soak and returns it as stored; ID and Time are filled in when
// empty, and an empty Since is Time. The error is a *FieldError when a value
// cannot be right, as a Since in the future or before the coil was measured last,
// for it was in somebody's hands then; or ErrNotFound for the batch, ErrConflict
// when it is closed.
func (s *Store) AddSoak(ctx context.Context, k record.Soak) (record.Soak, error) {
	k.Time = s.instantOr(k.Time)
	if k.Since.IsZero() {
		k.Since = k.Time
	}
	k.Since = fromMicros(k.Since.UnixMicro())
	err := record.ValidateSoak(k)
	if k.ID == "" && err == nil {
		k.ID, err = newID()
	}
	if err != nil {
		return record.Soak{}, fmt.Errorf("add soak: %w", err)
	}
	err = s.write(ctx, "add soak", func(tx *sql.Tx) error {
		if err := s.fitsSoak(ctx, tx, &k); err != nil {
			return err
		}
		if err := insertSoak(ctx, tx, k); err != nil {
			return takenID(err, k.ID)
		}
		return s.note(ctx, tx, record.JournalEntry{Bench: k.Bench, Who: k.Who, Action: "soak", Subject: cmp.Or(k.Serial, k.Batch),
			Detail: "beside the probe since " + k.Since.Format(time.RFC3339)})
	})
	if err != nil {
		return record.Soak{}, err
	}
	return k, nil
}

// fitsSoak refuses a soak that the records contradict, and spells its serial
// number as the coil that is known by it.
func (s *Store) fitsSoak(ctx context.Context, tx *sql.Tx, k *record.Soak) (err error) {
	if k.Batch != "" {
		b, err := oneBatch(ctx, tx, k.Batch)
		if err == nil && b.ClosedAt != nil {
			err = fmt.Errorf("%w: batch %q was closed at %s; say it of each of its coils", record.ErrConflict, b.Name, b.ClosedAt.Format(time.RFC3339))
		}
		return err
	}
	if k.Serial, err = spelled(ctx, tx, k.Serial); err != nil {
		return err
	}
	handled, err := handledAt(ctx, tx, k.Serial)
	if err == nil && handled.After(k.Since) {
		err = record.Invalid("since", "must not be before the coil was on the clips last, at %s", handled.Format(time.RFC3339))
	}
	return err
}

// handledAt is when a coil was on the clips last, recorded or not; the zero time
// when it never was.
func handledAt(ctx context.Context, q querier, serial string) (time.Time, error) {
	var us sql.NullInt64
	err := q.QueryRowContext(ctx, `
		SELECT MAX(us) FROM (
			SELECT MAX(time_us) AS us FROM measurements WHERE serial = ?1
			UNION ALL
			SELECT MAX(time_us) FROM unrecorded WHERE serial = ?1 COLLATE NOCASE)`, serial).Scan(&us)
	return fromNullMicros(us), err
}

func insertSoak(ctx context.Context, tx *sql.Tx, k record.Soak) error {
	_, err := tx.ExecContext(ctx, `
		INSERT INTO soaks (id, time_us, bench, serial, batch, since_us, who)
		VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)`,
		k.ID, k.Time.UnixMicro(), k.Bench, k.Serial, k.Batch, k.Since.UnixMicro(), k.Who)
	return err
}

func listSoaks(ctx context.Context, q querier, clause string, args ...any) ([]record.Soak, error) {
	soaks := []record.Soak{}
	err := rows(ctx, q, `
		SELECT id, time_us, bench, serial, batch, since_us, who
		FROM soaks `+clause, args, func(r *sql.Rows) error {
		var k record.Soak
		var timeUS, sinceUS int64
		err := r.Scan(&k.ID, &timeUS, &k.Bench, &k.Serial, &k.Batch, &sinceUS, &k.Who)
		k.Time, k.Since = fromMicros(timeUS), fromMicros(sinceUS)
		soaks = append(soaks, k)
		return err
	})
	return soaks, err
}

// Soaks returns what was said to lie beside the probe of a bench, newest first,
// of all benches when bench is empty; at most limit.
func (s *Store) Soaks(ctx context.Context, bench string, limit int) ([]record.Soak, error) {
	var c conditions
	c.equal("bench", bench)
	list, err := listSoaks(ctx, s.readers, c.where()+` ORDER BY number DESC LIMIT `+c.bind(limit), c.args...)
	return list, explain(s.path, "list soaks", err)
}

// SoakOf returns the newest soak at a bench of a coil or of its batch, either of
// which may be empty; nil when there is none, or when the coil was on the clips
// after it had begun: whoever held it warmed it.
func (s *Store) SoakOf(ctx context.Context, bench, serial, batch string) (soak *record.Soak, err error) {
	err = s.read(ctx, "read soak", func(q querier) error {
		var handled time.Time
		if serial != "" {
			if handled, err = handledAt(ctx, q, serial); err != nil {
				return err
			}
		}
		for _, of := range []struct{ clause, name string }{
			{`WHERE serial <> '' AND serial = ?1 COLLATE NOCASE`, serial},
			{`WHERE batch <> '' AND batch = ?1`, batch},
		} {
			if of.name == "" {
				continue
			}
			list, err := listSoaks(ctx, q, of.clause+` AND bench = ?2 AND time_us <= ?3 ORDER BY time_us DESC, number DESC LIMIT 1`,
				of.name, bench, s.instant().UnixMicro())
			if err != nil {
				return err
			}
			if len(list) == 1 && (soak == nil || list[0].Time.After(soak.Time)) {
				soak = &list[0]
			}
		}
		if soak != nil && handled.After(soak.Since) {
			soak = nil
		}
		return nil
	})
	return soak, err
}

func (j *importer) soak(ctx context.Context, k record.Soak) error {
	k.Time, k.Since = fromMicros(k.Time.UnixMicro()), fromMicros(k.Since.UnixMicro())
	if err := cmp.Or(record.ValidateName("id", k.ID), record.ValidateSoak(k)); err != nil {
		return err
	}
	if k.Batch != "" {
		if _, err := oneBatch(ctx, j.tx, k.Batch); err != nil {
			return err
		}
	}
	return add(j, "soak "+k.ID, k,
		func() (record.Soak, error) {
			list, err := listSoaks(ctx, j.tx, `WHERE id = ?1`, k.ID)
			return only(list, err)
		},
		func() error { return insertSoak(ctx, j.tx, k) },
		&j.counts.Soaks)
}
