package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// Errors about the file. Their text says what is wrong and the way out; they
// arrive wrapped with what was tried on which file, so compare with errors.Is.
var (
	// ErrMissing: there is no file to restore from, or to open read-only or as
	// one that must exist.
	ErrMissing = errors.New("there is no history file here; check the path, or start the daemon once to create it")
	// ErrLocked: another daemon serves this history.
	ErrLocked = errors.New("another daemon serves this history; stop it first, or give this one a history of its own")
	// ErrBusy: another program is in the middle of a long write. Trying again
	// later helps.
	ErrBusy = errors.New("another program is writing to this history; try again when it has finished")
	// ErrReadOnly: the store was opened read-only, or the file system forbids
	// what was tried.
	ErrReadOnly = errors.New("this history cannot be written; check the owner and the permissions of the file and its folder")
	// ErrFull: there is no room on the disk. Trying again helps once there is.
	ErrFull = errors.New("the disk is full; free some space, and writing goes on by itself")
	// ErrNewer: the file was written by a newer release.
	ErrNewer = errors.New("this history was written by a newer coilkeep; install that release or restore an older backup")
	// ErrOlder: the file is of an older release and may not be migrated because
	// it is opened read-only.
	ErrOlder = errors.New("this history was written by an older coilkeep; start the daemon once to bring it up to date")
	// ErrUnfinished: a program was stopped while it created or migrated the
	// file, which is opened read-only and so cannot be mended.
	ErrUnfinished = errors.New("this history was left in the middle of being created or migrated; start the daemon once to mend it")
	// ErrForeign: the file is a database of some other program.
	ErrForeign = errors.New("this file belongs to another program; choose another path for the history")
	// ErrDamaged: the file is not a database, or a broken one.
	ErrDamaged = errors.New("this file is damaged or not a history at all; restore the latest backup (coilkeep restore)")
	// ErrDisk: the disk or its file system failed to read or write.
	ErrDisk = errors.New("the disk fails to read or write; check the disk and copy the newest backup elsewhere")
	// ErrUnsafe: the file system cannot give the promise that an acknowledged
	// measurement is kept.
	ErrUnsafe = errors.New("this file system cannot keep a history safely; move it to a local disk")
	// ErrExists: a backup or export would overwrite a file.
	ErrExists = errors.New("the file exists already; choose another name or ask to overwrite it")
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
		return ErrUnfinished
	}
	switch code & 0xff {
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_PROTOCOL:
		return ErrBusy
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM:
		return ErrReadOnly
	case sqlite3.SQLITE_FULL:
		return ErrFull
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB:
		return ErrDamaged
	case sqlite3.SQLITE_IOERR:
		return ErrDisk
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
