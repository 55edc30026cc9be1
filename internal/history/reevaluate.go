package history

import (
	"cmp"
	"context"
	"fmt"

	"coilkeep/internal/record"
)

// Reevaluate stores what newer rules make of the readings of a measurement that
// stands. The new measurement names it in Supersedes and is of the same coil, at
// the same place of its batch and of the same time: nothing was measured again.
// why is the reason given for evaluating it again. When it returns nil, both the
// new measurement and the withdrawal of the old one are on the disk; otherwise
// neither is. The errors are a *FieldError, ErrNotFound, or ErrConflict when the
// old one does not stand any more or the new one is of another coil or time.
func (s measurementRecords) Reevaluate(
	ctx context.Context, m record.Measurement, readings []record.Reading, why, who string,
) (record.Measurement,
	error) {
	m, readings, err := normalise(m, readings)
	tried := fmt.Sprintf("keep what newer rules give for coil %q", m.Serial)
	if why == "" {
		err = cmp.Or(err, record.Invalid("reason", "must not be empty: say why it is evaluated again"))
	}
	if err := cmp.Or(err, record.ValidateNote("reason", why), record.ValidateLabel("who", who)); err != nil {
		return record.Measurement{}, fmt.Errorf("%s: %w", tried, err)
	}
	err = s.write(ctx, tried, func(tx *transaction) error {
		old, err := supersededBy(ctx, tx, m)
		if err != nil {
			return err
		}
		if old == nil {
			return record.Invalid("supersedes", "must name the measurement that is evaluated again")
		}
		m.Sequence = old.Sequence
		if !m.Time.Equal(old.Time) || m.Batch != old.Batch || m.Design != old.Design || m.DesignRevision != old.DesignRevision {
			return fmt.Errorf("%w: it must be of the time, batch and design of measurement %s, which it replaces", record.ErrConflict, old.ID)
		}
		if _, err := insertMeasurement(ctx, tx, m, readings); err != nil {
			return err
		}
		a := annotation{Status: record.Superseded, Time: s.instant(), Who: who, SupersededBy: m.ID, Reason: "evaluated again: " + why}
		if err := annotate(ctx, tx, old.number, a); err != nil {
			return err
		}
		return s.note(ctx, tx, record.JournalEntry{Bench: m.Bench, Who: who, Action: "reevaluate", Subject: m.Serial,
			Detail: fmt.Sprintf("measurement %s by %s: %s", old.ID, m.ID, why)})
	})
	if err != nil {
		return record.Measurement{}, err
	}
	return m, nil
}
