// Package problem says what may be wrong with a request, and how programs are
// told: as problem details (RFC 9457). It is the one place where errors become
// HTTP statuses. Who writes an answer, and whether it is a page, is not its
// matter.
package problem

import (
	"context"
	"errors"
	"fmt"
	"net/http"

	"coilkeep/internal/bench"
	"coilkeep/internal/drift"
	"coilkeep/internal/drift/watch"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// Kind is one sort of problem a client may meet.
type Kind struct {
	// Name is part of the API: the type of a problem points at its entry in the
	// API's own description.
	Name string
	// Title is the kind in words, Remedy what a client can do.
	Title, Remedy string
	// Status is the HTTP status of the answer.
	Status int
}

// The kinds there are.
var (
	Malformed = Kind{"malformed", "The request cannot be read", "The body is not one JSON object.", http.StatusBadRequest}
	Invalid   = Kind{"invalid", "A value cannot be accepted", "The field that is named holds a value that cannot be right.",
		http.StatusUnprocessableEntity}
	NotFound    = Kind{"not-found", "There is no such thing", "Check the name, the id or the path.", http.StatusNotFound}
	WrongMethod = Kind{"wrong-method", "This cannot be done here", "The Allow header lists the methods that work here.",
		http.StatusMethodNotAllowed}
	Duplicate = Kind{"duplicate", "It exists already",
		"A record of this name exists already; choose another, or say again where that is offered.", http.StatusConflict}
	Conflict = Kind{"conflict", "It cannot be done as things stand",
		"It is not possible now; the detail says what must happen first.", http.StatusConflict}
	UnsupportedMedia = Kind{"unsupported-media", "The body is of another kind", "Send JSON with Content-Type: application/json.",
		http.StatusUnsupportedMediaType}
	BodyTooLarge = Kind{"too-large", "The body is too large", "Send less.", http.StatusRequestEntityTooLarge}
	WrongHost    = Kind{"wrong-host", "Asked under a name that is not known here",
		"Use the address the daemon printed, or add the name to hosts in the [web] section of its configuration.",
		http.StatusMisdirectedRequest}
	CrossOrigin = Kind{"cross-origin", "Another site may not change anything here",
		"Send changes from this daemon's own page, or from a program that is no browser.", http.StatusForbidden}
	NeedsPassword = Kind{"password", "A password is needed",
		"Give the password by HTTP Basic; the user name is free and goes into the journal.", http.StatusUnauthorized}
	TooManyTries = Kind{"too-many-tries", "Too many wrong passwords", "Wait a minute.", http.StatusTooManyRequests}
	Unavailable  = Kind{"unavailable", "Not possible at the moment", "Try again when the cause in the detail is mended.",
		http.StatusServiceUnavailable}
	Internal = Kind{"internal", "Something went wrong inside", "Please report what the daemon's log says.",
		http.StatusInternalServerError}
)

// Kinds lists them all, in the order of their statuses.
func Kinds() []Kind {
	return []Kind{Malformed, NeedsPassword, CrossOrigin, NotFound, WrongMethod, Conflict, Duplicate, BodyTooLarge,
		UnsupportedMedia, WrongHost, Invalid, TooManyTries, Internal, Unavailable}
}

// Fault is an error that is a problem of a known kind.
type Fault struct {
	Kind Kind
	// Field names the field or parameter at fault; empty without one.
	Field string
	// Detail says for people what is wrong and what to do.
	Detail string
	cause  error
}

func (f *Fault) Error() string { return f.Detail }
func (f *Fault) Unwrap() error { return f.cause }

// Because makes a fault with a sentence for people.
func (k Kind) Because(format string, args ...any) error {
	return &Fault{Kind: k, Detail: fmt.Sprintf(format, args...)}
}

// InField makes a fault that lies in one field of the request.
func (k Kind) InField(field, format string, args ...any) error {
	return &Fault{Kind: k, Field: field, Detail: fmt.Sprintf(format, args...)}
}

// Details is why a request was not done (RFC 9457).
type Details struct {
	// Which kind of problem; points at its entry in x-problems of this document.
	Type string `json:"type"`
	// The kind in words.
	Title string `json:"title"`
	// The HTTP status.
	Status int `json:"status"`
	// What is wrong and what to do.
	Detail string `json:"detail"`
	// The field or parameter at fault, when there is one.
	Field string `json:"field,omitempty"`
}

// Details is the body of the answer a fault is told by.
func (f *Fault) Details() Details {
	return Details{
		Type:   "/api/v1/openapi.json#/x-problems/" + f.Kind.Name,
		Title:  f.Kind.Title,
		Status: f.Kind.Status,
		Detail: f.Detail,
		Field:  f.Field,
	}
}

// Classify says which kind of problem err is.
func Classify(err error) *Fault {
	if known := (*Fault)(nil); errors.As(err, &known) {
		return known
	}
	found := &Fault{Detail: err.Error(), cause: err}
	if wrong := (*record.FieldError)(nil); errors.As(err, &wrong) {
		found.Kind, found.Field, found.Detail = Invalid, wrong.Field, wrong.Error()
		return found
	}
	for _, trouble := range fileTroubles() {
		if errors.Is(err, trouble) {
			found.Kind, found.Detail = Unavailable, trouble.Error()
			return found
		}
	}
	switch {
	case errors.Is(err, workshop.ErrNoCoils), errors.Is(err, watch.ErrNoSignal):
		found.Kind = Conflict
	case errors.Is(err, workshop.ErrSeveralDesigns):
		found.Kind, found.Field = Invalid, "design"
	case errors.Is(err, workshop.ErrNoBaseline), errors.Is(err, drift.ErrInput):
		found.Kind, found.Field = Invalid, "count"
	case errors.Is(err, record.ErrNotFound):
		found.Kind = NotFound
	case errors.Is(err, record.ErrDuplicate):
		found.Kind = Duplicate
	case errors.Is(err, record.ErrInvalid):
		found.Kind = Invalid
	case errors.Is(err, record.ErrConflict), errors.Is(err, bench.ErrState):
		found.Kind = Conflict
	case errors.Is(err, context.DeadlineExceeded), errors.Is(err, context.Canceled):
		found.Kind = Unavailable
	default:
		found.Kind, found.Detail = Internal, "the log of coilkeep serve says more"
	}
	return found
}

// fileTroubles lists what keeps a history from answering or keeping anything.
// Their text says the way out, and names no file.
func fileTroubles() []error {
	return []error{record.ErrBusy, record.ErrReadOnly, record.ErrFull, record.ErrDamaged, record.ErrDisk}
}
