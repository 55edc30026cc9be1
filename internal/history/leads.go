package history

import (
	"context"
	"fmt"

	"coilkeep/internal/record"
)

// AddLeadZero stores a measured lead zero and returns it as stored; ID and
// Time are filled in when empty. The error is a *FieldError when a value
// cannot be right.
func (s *Store) AddLeadZero(ctx context.Context, z record.LeadZero) (record.LeadZero, error) {
	return leadZeros.add(ctx, s, z, func(z record.LeadZero) record.JournalEntry {
		return record.JournalEntry{Bench: z.Bench, Who: z.By, Action: "lead zero", Subject: z.Meter,
			Detail: fmt.Sprintf("%.4g ± %.2g Ω, mean of %d readings", z.Ohms, z.HalfWidthOhms, z.Readings)}
	})
}

// LeadZeros returns the lead zeros of a bench, newest first; of all benches
// when bench is empty.
func (s *Store) LeadZeros(ctx context.Context, bench string) ([]record.LeadZero, error) {
	var c conditions
	c.equal("bench", bench)
	return leadZeros.pick(ctx, s, c.where()+newestFirst, c.args...)
}

// CurrentLeadZero returns the newest lead zero of a bench that is not in the
// future, nil when there is none.
func (s *Store) CurrentLeadZero(ctx context.Context, bench string) (*record.LeadZero, error) {
	list, err := leadZeros.list(ctx, s.readers, `
		WHERE bench = ?1 AND time_us <= ?2
		ORDER BY time_us DESC, number DESC
		LIMIT 1`, bench, s.instant().UnixMicro())
	if err != nil || len(list) == 0 {
		return nil, explain(s.path, "read lead zero", err)
	}
	return &list[0], nil
}
