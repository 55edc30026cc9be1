package record

import (
	"errors"
	"fmt"
)

// Errors about records.
var (
	// ErrNotFound: there is no record of that name.
	ErrNotFound = errors.New("not found")
	// ErrDuplicate: a record of that name or for that coil exists already.
	ErrDuplicate = errors.New("exists already")
	// ErrConflict: the record is not in a state that allows what was asked.
	ErrConflict = errors.New("not possible now")
	// ErrInvalid: a value given cannot be right. The error is a *FieldError.
	ErrInvalid = errors.New("invalid value")
)

// FieldError is an ErrInvalid that says which field is wrong and what would be
// right.
type FieldError struct {
	Field   string // as in JSON
	Problem string
}

func (e *FieldError) Error() string { return e.Field + ": " + e.Problem }

// Is makes errors.Is(err, ErrInvalid) true.
func (e *FieldError) Is(target error) bool { return target == ErrInvalid }

// Invalid makes a *FieldError of a field, named as in JSON, and a sentence that
// goes on behind its name, such as "must not be empty".
func Invalid(field, format string, args ...any) error {
	return &FieldError{Field: field, Problem: fmt.Sprintf(format, args...)}
}

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
