package history

import "context"

// Stamp tells two states of the history apart: it changes with everything that
// is recorded, withdrawn, opened, closed or revised, in this program or another.
type Stamp struct{ measurements, checks, journal int64 }

// Stamp is how the history stands. It is answered from the ends of indexes,
// however large the history is.
func (s *Store) Stamp(ctx context.Context) (Stamp, error) {
	var stamp Stamp
	err := s.readers.QueryRowContext(ctx, `
		SELECT
			(SELECT COALESCE(MAX(number), 0) FROM measurements),
			(SELECT COALESCE(MAX(number), 0) FROM check_measurements),
			(SELECT COALESCE(MAX(number), 0) FROM journal)`).Scan(&stamp.measurements, &stamp.checks, &stamp.journal)
	return stamp, explain(s.path, "look for news", err)
}
