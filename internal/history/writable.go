package history

import (
	"context"
	"fmt"

	"coilkeep/internal/record"
)

// Writable says whether a record could be added now, by writing something and
// taking it back; it changes nothing. The error is ErrBusy, ErrReadOnly or
// another of the errors about the file. A full disk shows only in a real write.
func (s *file) Writable(ctx context.Context) error {
	const tried = "try to write"
	if s.writer == nil {
		return fmt.Errorf("%s in %s: %w", tried, s.path, record.ErrReadOnly)
	}
	return explain(s.path, tried, s.tryWriting(ctx))
}
