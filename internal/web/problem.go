package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"slices"

	"coilkeep/internal/bench"
	"coilkeep/internal/record"
)

// kind is one sort of problem a client may meet. Its name is part of the API:
// the type of a problem points at its entry in the API's own description.
type kind struct {
	name   string
	title  string
	status int
}

var (
	malformed        = kind{"malformed", "The request cannot be read", http.StatusBadRequest}
	invalid          = kind{"invalid", "A value cannot be accepted", http.StatusUnprocessableEntity}
	notFound         = kind{"not-found", "There is no such thing", http.StatusNotFound}
	wrongMethod      = kind{"wrong-method", "This cannot be done here", http.StatusMethodNotAllowed}
	duplicate        = kind{"duplicate", "It exists already", http.StatusConflict}
	conflict         = kind{"conflict", "It cannot be done as things stand", http.StatusConflict}
	unsupportedMedia = kind{"unsupported-media", "The body is of another kind", http.StatusUnsupportedMediaType}
	bodyTooLarge     = kind{"too-large", "The body is too large", http.StatusRequestEntityTooLarge}
	wrongHost        = kind{"wrong-host", "Asked under a name that is not known here", http.StatusMisdirectedRequest}
	crossOrigin      = kind{"cross-origin", "Another site may not change anything here", http.StatusForbidden}
	needsPassword    = kind{"password", "A password is needed", http.StatusUnauthorized}
	tooManyTries     = kind{"too-many-tries", "Too many wrong passwords", http.StatusTooManyRequests}
	unavailable      = kind{"unavailable", "Not possible at the moment", http.StatusServiceUnavailable}
	internal         = kind{"internal", "Something went wrong inside", http.StatusInternalServerError}
)

// fault is an error that is a problem of a known kind.
type fault struct {
	kind   kind
	field  string
	detail string
	cause  error
}

func (f *fault) Error() string { return f.detail }
func (f *fault) Unwrap() error { return f.cause }

// because makes a fault with a sentence for people.
func (k kind) because(format string, args ...any) error {
	return &fault{kind: k, detail: fmt.Sprintf(format, args...)}
}

// of makes a fault that lies in one field of the request.
func (k kind) of(field, format string, args ...any) error {
	return &fault{kind: k, field: field, detail: fmt.Sprintf(format, args...)}
}

// problem is the body of every error answer (RFC 9457, problem details).
type problem struct {
	Type   string `json:"type"`
	Title  string `json:"title"`
	Status int    `json:"status"`
	Detail string `json:"detail"`
	// Field names the field or parameter at fault, when there is one.
	Field string `json:"field,omitempty"`
}

// classify says which kind of problem err is. It is the one place where errors
// become HTTP statuses.
func classify(err error) *fault {
	if known := (*fault)(nil); errors.As(err, &known) {
		return known
	}
	found := &fault{detail: err.Error(), cause: err}
	if wrong := (*record.FieldError)(nil); errors.As(err, &wrong) {
		found.kind, found.field, found.detail = invalid, wrong.Field, wrong.Error()
		return found
	}
	for _, trouble := range fileTroubles() {
		if errors.Is(err, trouble) {
			found.kind, found.detail = unavailable, trouble.Error()
			return found
		}
	}
	switch {
	case errors.Is(err, record.ErrNotFound):
		found.kind = notFound
	case errors.Is(err, record.ErrDuplicate):
		found.kind = duplicate
	case errors.Is(err, record.ErrInvalid):
		found.kind = invalid
	case errors.Is(err, record.ErrConflict), errors.Is(err, bench.ErrState):
		found.kind = conflict
	case errors.Is(err, context.DeadlineExceeded), errors.Is(err, context.Canceled):
		found.kind = unavailable
	default:
		found.kind, found.detail = internal, "the log of coilkeep serve says more"
	}
	return found
}

// fileTroubles lists what keeps a history from answering or keeping anything.
// Their text says the way out, and names no file.
func fileTroubles() []error {
	return []error{record.ErrBusy, record.ErrReadOnly, record.ErrFull, record.ErrDamaged, record.ErrDisk}
}

// fail answers with the problem err is.
func (s *site) fail(w http.ResponseWriter, r *http.Request, err error) {
	f := classify(err)
	// What a client that has gone away was asking for is nobody's trouble.
	if f.kind.status >= http.StatusInternalServerError && r.Context().Err() == nil {
		s.log.Error("request failed", "method", r.Method, "path", r.URL.Path, "err", err)
	}
	if f.kind == needsPassword {
		w.Header().Set("WWW-Authenticate", `Basic realm="coilkeep", charset="UTF-8"`)
	}
	body := problem{
		Type:   "/api/v1/openapi.json#/x-problems/" + f.kind.name,
		Title:  f.kind.title,
		Status: f.kind.status,
		Detail: f.detail,
		Field:  f.field,
	}
	encoded, err := json.Marshal(body)
	if err != nil {
		s.log.Error("problem cannot be written", "err", err)
	}
	s.send(w, f.kind.status, "application/problem+json", encoded)
}

// reply answers with value as JSON.
func (s *site) reply(w http.ResponseWriter, r *http.Request, status int, value any) {
	encoded, err := json.Marshal(value)
	if err != nil {
		s.fail(w, r, fmt.Errorf("write the answer as JSON: %w", err))
		return
	}
	s.send(w, status, "application/json", encoded)
}

// send writes a whole answer. Nothing the daemon says may be kept by a cache:
// it would be shown as live later.
func (s *site) send(w http.ResponseWriter, status int, contentType string, body []byte) {
	w.Header().Set("Content-Type", contentType)
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	if _, err := w.Write(body); err != nil {
		s.log.Debug("client went away", "err", err)
	}
}

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }
