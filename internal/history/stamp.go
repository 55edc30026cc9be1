package history

import (
	"context"
	"database/sql"

	"coilkeep/internal/record"
)

// Stamp is how the history stands. It is answered from the ends of indexes,
// however large the history is.
func (s *file) Stamp(ctx context.Context) (record.Stamp, error) {
	var stamp record.Stamp
	ask, err := s.stampQuery(ctx)
	if err == nil {
		err = ask.QueryRowContext(ctx).Scan(&stamp.Measurements, &stamp.Checks, &stamp.Journal)
	}
	return stamp, explain(s.path, "look for news", err)
}

// stampQuery is compiled once: every bench asks it every second.
func (s *file) stampQuery(ctx context.Context) (*sql.Stmt, error) {
	s.stampMu.Lock()
	defer s.stampMu.Unlock()
	if s.stamp != nil {
		return s.stamp, nil
	}
	compiled, err := s.readers.PrepareContext(ctx, `
		SELECT
			(SELECT COALESCE(MAX(number), 0) FROM measurements),
			(SELECT COALESCE(MAX(number), 0) FROM check_measurements),
			(SELECT COALESCE(MAX(number), 0) FROM journal)`)
	if err != nil {
		return nil, err
	}
	s.stamp = compiled
	return compiled, nil
}
