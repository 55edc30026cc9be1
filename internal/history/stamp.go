package history

import "context"

// Stamp tells two states of the history apart, as far as coils go: it changes
// with every measurement, check measurement and entry of the journal, so also
// with what is withdrawn, opened, closed or revised, in this program or another.
// Kept comparisons and the readings of a study do not change it; cooling curves,
// soaks and coils not recorded do, by their line in the journal.
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
