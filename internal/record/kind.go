package record

import "time"

// Kind describes one kind of record, once for all who store, carry, count or
// name it.
type Kind[T any] struct {
	// Name is the type of its line in JSON Lines, such as "lead_zero".
	Name string
	// One and Many are what people call it: "lead zero", "lead zeros".
	One, Many string
	// Fields are what is kept of it, in the order of the columns of Table. The
	// first two are the id and the time.
	Table  string
	Fields []Field[T]
	// New makes a record whose places can all be written to; nil takes the zero
	// value.
	New func() T
	// Complete fills in what follows from the fields that are kept; nil when
	// nothing does.
	Complete func(*T) error
	// Check says which field cannot be right, as a *FieldError.
	Check func(T) error
}

// Field is one value that is kept of a record.
type Field[T any] struct {
	Column string
	// Place points at the value: a text, a list of texts, a number, a bool, a time,
	// or a pointer to one of them that is nil when the value was not told. A zero
	// time, and a nil pointer instead of a place, is kept as NULL.
	Place func(*T) any
	// EmptyIsNull keeps an empty text as NULL, because it names another record.
	EmptyIsNull bool
}

// Blank is a record to fill in, field by field.
func (k Kind[T]) Blank() T {
	if k.New != nil {
		return k.New()
	}
	var blank T
	return blank
}

// ID points at the id of a record.
func (k Kind[T]) ID(r *T) *string { return k.Fields[0].Place(r).(*string) }

// Time points at the time of a record.
func (k Kind[T]) Time(r *T) *time.Time { return k.Fields[1].Place(r).(*time.Time) }

// Finish completes a record, when there is anything to complete.
func (k Kind[T]) Finish(r *T) error {
	if k.Complete == nil {
		return nil
	}
	return k.Complete(r)
}
