package history

import (
	"coilkeep/internal/record"
	"context"
	"database/sql"
	"errors"
	"fmt"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// explain wraps err with what was tried, and with the path and the kind of
// trouble when the file is at fault.
func explain(path, tried string, err error) error {
	if err == nil {
		return nil
	}
	if kindOf(err) != nil {
		tried += " in " + path
	}
	return fmt.Errorf("%s: %w", tried, classify(err))
}

// classify adds the kind of file trouble to err, unless it says so already.
func classify(err error) error {
	if kind := kindOf(err); kind != nil && !errors.Is(err, kind) {
		return fmt.Errorf("%w (%w)", kind, err)
	}
	return err
}

// kindOf tells what result code of SQLite err carries, as one of the errors
// above; nil when it is none of them. The primary code is the low byte
// (https://www.sqlite.org/rescode.html).
func kindOf(err error) error {
	code := codeOf(err)
	if code == sqlite3.SQLITE_READONLY_ROLLBACK {
		return record.ErrUnfinished
	}
	switch code & 0xff {
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_PROTOCOL:
		return record.ErrBusy
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM:
		return record.ErrReadOnly
	case sqlite3.SQLITE_FULL:
		return record.ErrFull
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB:
		return record.ErrDamaged
	case sqlite3.SQLITE_IOERR:
		return record.ErrDisk
	}
	return nil
}

// codeOf is the extended result code of SQLite in err, 0 when there is none.
func codeOf(err error) int {
	var failure *sqlite.Error
	if errors.As(err, &failure) {
		return failure.Code()
	}
	return 0
}

// isUnique reports that err is a violated uniqueness constraint.
func isUnique(err error) bool {
	code := codeOf(err)
	return code == sqlite3.SQLITE_CONSTRAINT_UNIQUE || code == sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY
}

// querier is what reading records needs: a pool, a connection or a transaction.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// rows runs a query and calls scan for each row of its answer.
func rows(ctx context.Context, q querier, query string, args []any, scan func(*sql.Rows) error) (err error) {
	r, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	for r.Next() {
		if err := scan(r); err != nil {
			return err
		}
	}
	return r.Err()
}
