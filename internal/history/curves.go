package history

import (
	"context"

	"coilkeep/internal/record"
)

// AddCoolingCurve stores a curve, with a line in the journal, and returns it as
// stored; ID and Time are filled in when empty. The error is a *FieldError, or
// ErrNotFound for the design.
func (s designRecords) AddCoolingCurve(ctx context.Context, c record.CoolingCurve) (record.CoolingCurve, error) {
	return coolingCurves.add(ctx, s.file, c, func(c record.CoolingCurve) record.JournalEntry {
		return record.JournalEntry{Bench: c.Bench, Action: "time constant", Subject: c.Serial, Detail: c.Words()}
	})
}

// fitsCurve refuses a curve of a design that is not there.
func fitsCurve(ctx context.Context, tx *transaction, c *record.CoolingCurve) error {
	_, err := latestDesign(ctx, tx, c.Design)
	return err
}

// CoolingCurves returns the curves of a design's coils, newest first; of all
// designs when design is empty.
func (s designRecords) CoolingCurves(ctx context.Context, design string) ([]record.CoolingCurve, error) {
	var c conditions
	c.equal("design", design)
	return coolingCurves.pick(ctx, s.file, c.where()+newestFirst, c.args...)
}
