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
