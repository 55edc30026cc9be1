package history

import (
	"context"
	"fmt"

	"coilkeep/internal/record"
)

// AddLeadZero stores a measured lead zero and returns it as stored; ID and
// Time are filled in when empty. The error is a *FieldError when a value
// cannot be right.
func (s instrumentRecords) AddLeadZero(ctx context.Context, z record.LeadZero) (record.LeadZero, error) {
	return leadZeros.add(ctx, s.file, z, func(z record.LeadZero) record.JournalEntry {
		return record.JournalEntry{Bench: z.Bench, Who: z.By, Action: "lead zero", Subject: z.Meter,
			Detail: fmt.Sprintf("%.4g ± %.2g Ω, mean of %d readings", z.Ohms, z.HalfWidthOhms, z.Readings)}
	})
}

// LeadZeros returns the lead zeros of a bench, newest first; of all benches
// when bench is empty.
func (s instrumentRecords) LeadZeros(ctx context.Context, bench string) ([]record.LeadZero, error) {
	var c conditions
	c.equal("bench", bench)
	return leadZeros.pick(ctx, s.file, c.where()+newestFirst, c.args...)
}
