package history

import (
	"context"
	"database/sql"
)

// Writable says whether a record could be added now, by taking the write lock
// and giving it back; it changes nothing. The error is ErrBusy, ErrReadOnly or
// another of the errors about the file. A full disk shows only in a real write.
func (s *Store) Writable(ctx context.Context) error {
	return s.write(ctx, "ask whether the history can be written", func(*sql.Tx) error { return nil })
}
