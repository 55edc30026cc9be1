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
func (s coilRecords) AddSoak(ctx context.Context, k record.Soak) (record.Soak, error) {
	k.Time = s.instantOr(k.Time)
	if k.Since.IsZero() {
		k.Since = k.Time
	}
	now := soaks
	now.fits = fitsNow
	return now.add(ctx, s.file, k, func(k record.Soak) record.JournalEntry {
		return record.JournalEntry{Bench: k.Bench, Who: k.Who, Action: "soak", Subject: cmp.Or(k.Serial, k.Batch),
			Detail: "beside the probe since " + k.Since.Format(time.RFC3339)}
	})
}

// fitsSoak refuses a soak of a batch that is not there.
func fitsSoak(ctx context.Context, tx *transaction, k *record.Soak) error {
	if k.Batch == "" {
		return nil
	}
	_, err := oneBatch(ctx, tx, k.Batch)
	return err
}

// fitsNow refuses a soak that the records of today contradict, and spells its
// serial number as the coil that is known by it.
func fitsNow(ctx context.Context, tx *transaction, k *record.Soak) (err error) {
	if k.Batch != "" {
		b, err := oneBatch(ctx, tx, k.Batch)
		if err == nil && b.ClosedAt != nil {
			err = fmt.Errorf("%w: batch %q was closed at %s; say it of each of its coils", record.ErrConflict, b.Name,
				b.ClosedAt.Format(time.RFC3339))
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

// Soaks returns what was said to lie beside the probe of a bench, newest first,
// of all benches when bench is empty; at most limit.
func (s coilRecords) Soaks(ctx context.Context, bench string, limit int) ([]record.Soak, error) {
	var c conditions
	c.equal("bench", bench)
	return soaks.pick(ctx, s.file, c.where()+` ORDER BY number DESC LIMIT `+c.bind(limit), c.args...)
}

// SoakOf returns the newest soak at a bench of a coil or of its batch, either of
// which may be empty; nil when there is none, or when the coil was on the clips
// after it had begun: whoever held it warmed it.
func (s coilRecords) SoakOf(ctx context.Context, bench, serial, batch string) (soak *record.Soak, err error) {
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
			list, err := soaks.list(ctx, q, of.clause+` AND bench = ?2 AND time_us <= ?3 ORDER BY time_us DESC, number DESC LIMIT 1`,
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
