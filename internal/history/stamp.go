package history

import (
	"context"

	"coilkeep/internal/record"
)

// Stamp is how the history stands. It is answered from the ends of indexes,
// however large the history is.
func (s *Store) Stamp(ctx context.Context) (record.Stamp, error) {
	var stamp record.Stamp
	err := s.readers.QueryRowContext(ctx, `
		SELECT
			(SELECT COALESCE(MAX(number), 0) FROM measurements),
			(SELECT COALESCE(MAX(number), 0) FROM check_measurements),
			(SELECT COALESCE(MAX(number), 0) FROM journal)`).Scan(&stamp.Measurements, &stamp.Checks, &stamp.Journal)
	return stamp, explain(s.path, "look for news", err)
}
