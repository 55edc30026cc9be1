package history

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"reflect"
	"time"

	"coilkeep/internal/record"
)

// AddUnrecorded stores that a coil was not recorded, with a line in the journal,
// and returns it as stored; ID and Time are filled in when empty. Adding the same
// again under the same ID changes nothing. The error is a *FieldError, or
// ErrDuplicate when the ID belongs to another.
func (s coilRecords) AddUnrecorded(ctx context.Context, u record.Unrecorded) (record.Unrecorded, error) {
	u.End = nil
	if err := s.prepare(&u.ID, &u.Time, func() error { return unrecorded.ready(&u) }); err != nil {
		return record.Unrecorded{}, fmt.Errorf("add what was not recorded: %w", err)
	}
	err := s.write(ctx, "add what was not recorded", func(tx *transaction) error {
		before, err := unrecorded.list(ctx, tx, `WHERE id = ?1`, u.ID)
		if err != nil {
			return err
		}
		if len(before) == 1 {
			end := before[0].End
			before[0].End = nil
			if !reflect.DeepEqual(before[0], u) {
				return fmt.Errorf("id %s %w", u.ID, record.ErrDuplicate)
			}
			u.End = end
			return nil
		}
		if err := unrecorded.insert(ctx, tx, u); err != nil {
			return err
		}
		return s.note(ctx, tx, record.JournalEntry{Bench: u.Bench, Action: "not recorded", Subject: cmp.Or(u.Serial, u.Bench), Detail: u.Words})
	})
	if err != nil {
		return record.Unrecorded{}, err
	}
	return u, nil
}

// mostOpen bounds how many open ones are listed: more says no more.
const mostOpen = 500

// OpenUnrecorded returns the coils of a bench that were not recorded and neither
// measured nor dismissed since, newest first; of all benches when bench is empty.
// It lists the newest 500 at most.
func (s coilRecords) OpenUnrecorded(ctx context.Context, bench string) ([]record.Unrecorded, error) {
	var c conditions
	c.add("ended_us IS NULL")
	c.equal("bench", bench)
	return unrecorded.pick(ctx, s.file, c.where()+` ORDER BY number DESC LIMIT `+c.bind(mostOpen), c.args...)
}

// Unrecorded returns the one of an id, or ErrNotFound.
func (s coilRecords) Unrecorded(ctx context.Context, id string) (record.Unrecorded, error) {
	u, err := unrecorded.one(ctx, s.readers, id)
	return u, explain(s.path, "read what was not recorded", err)
}

// Dismiss ends an open Unrecorded because somebody says so, and with it all of
// the same serial number and stage at that bench. It returns the one named as it
// stands now. The errors are a *FieldError, ErrNotFound, or ErrConflict when it
// has ended already.
func (s coilRecords) Dismiss(ctx context.Context, id, who string) (u record.Unrecorded, err error) {
	tried := fmt.Sprintf("dismiss what was not recorded %q", id)
	if err := record.ValidateLabel("who", who); err != nil {
		return record.Unrecorded{}, fmt.Errorf("%s: %w", tried, err)
	}
	err = s.write(ctx, tried, func(tx *transaction) error {
		if u, err = unrecorded.one(ctx, tx, id); err != nil {
			return err
		}
		if u.End != nil {
			return fmt.Errorf("%w: it was %s at %s", record.ErrConflict, u.End.How, u.End.Time.Format(time.RFC3339))
		}
		u.End = &record.UnrecordedEnd{Time: s.instant(), How: record.Dismissed, Who: who}
		_, err = tx.ExecContext(ctx, `
			UPDATE unrecorded SET ended_us = ?4, ended_how = ?5, ended_by = ?6
			WHERE bench = ?1 AND serial = ?2 AND stage = ?3 AND ended_us IS NULL`,
			u.Bench, u.Serial, u.Stage, u.End.Time.UnixMicro(), u.End.How, who)
		if err != nil {
			return err
		}
		return s.note(ctx, tx, record.JournalEntry{Bench: u.Bench, Who: who, Action: "dismiss", Subject: cmp.Or(u.Serial, u.Bench),
			Detail: "not recorded: " + u.Words})
	})
	return u, err
}

// endMeasured ends what was not recorded of a coil that is recorded now.
func (s *file) endMeasured(ctx context.Context, tx *transaction, m record.Measurement) error {
	_, err := tx.ExecContext(ctx, `
		UPDATE unrecorded SET ended_us = ?3, ended_how = ?4, ended_by = ''
		WHERE serial = ?1 COLLATE NOCASE AND stage = ?2 AND ended_us IS NULL`,
		m.Serial, m.Stage, s.instant().UnixMicro(), record.Measured)
	return err
}

// unrecorded adds one from a file, or its end to a known one.
func takeUnrecorded(ctx context.Context, j *importer, l arrived) error {
	u, err := unrecorded.arrive(l)
	if err != nil {
		return err
	}
	stored, err := unrecorded.one(ctx, j.tx, u.ID)
	if errors.Is(err, record.ErrNotFound) {
		j.counts.Unrecorded++
		return unrecorded.insert(ctx, j.tx, u)
	}
	if err != nil {
		return err
	}
	same := u
	same.End = stored.End
	switch {
	case !reflect.DeepEqual(same, stored):
		return fmt.Errorf("what was not recorded %s: %w: the history has another one of that id", u.ID, record.ErrConflict)
	case u.End == nil || stored.End != nil: // whoever ended it first, it has ended
		j.counts.Known++
		return nil
	}
	j.counts.Changed++
	_, err = j.tx.ExecContext(ctx, `UPDATE unrecorded SET ended_us = ?2, ended_how = ?3, ended_by = ?4 WHERE id = ?1`,
		u.ID, u.End.Time.UnixMicro(), u.End.How, u.End.Who)
	return err
}
