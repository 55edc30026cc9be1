package pages

import (
	"errors"
	"mime"
	"net/http"
	"net/url"
	"strings"

	"coilkeep/internal/record"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
)

// form is what a person filled in, and what was wrong with it.
type form struct {
	values url.Values
	// Field names the field at fault, "" when it is none of them; Problem says
	// what is wrong, "" when nothing is.
	Field, Problem string
}

// Get returns what was filled in, without spaces around it.
func (f form) Get(name string) string { return strings.TrimSpace(f.values.Get(name)) }

// At returns what is wrong with a field, "" when nothing is.
func (f form) At(name string) string {
	if f.Field != name {
		return ""
	}
	return f.Problem
}

// AsksToConfirm is true when what is wrong with a field is accepted once a person
// confirms it.
func (f form) AsksToConfirm(name string) bool { return strings.HasSuffix(f.At(name), "confirm it") }

// Elsewhere returns what is wrong, unless one of the fields is at fault.
func (f form) Elsewhere(fields ...string) string {
	for _, field := range fields {
		if f.Field == field {
			return ""
		}
	}
	return f.Problem
}

// fieldView is one field of a form to type into.
type fieldView struct {
	ID, Name, Label, Hint, Value, Wrong string
	// Kind is the keyboard that suits it, "decimal" or "numeric".
	Kind     string
	Required bool
}

// textField shows a field of f. The kind is "required", or "decimal" or "numeric",
// or "" for a text that need not be told.
func textField(f form, name, label, hint, kind string) fieldView {
	v := fieldView{ID: strings.ReplaceAll(name, ".", "-"), Name: name, Label: label, Hint: hint,
		Value: f.Get(name), Wrong: f.At(name), Required: kind == "required"}
	if !v.Required {
		v.Kind = kind
	}
	return v
}

// filledIn is a form that shows values.
func filledIn(values url.Values) form { return form{values: values} }

// readForm reads the form that a page of ours sent.
func readForm(w http.ResponseWriter, r *http.Request) (form, error) {
	if media, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || media != "application/x-www-form-urlencoded" {
		return form{}, problem.UnsupportedMedia.Because("send the fields as a form of the page does")
	}
	r.Body = http.MaxBytesReader(w, r.Body, api.MaxBodyBytes)
	if err := r.ParseForm(); err != nil {
		if tooLarge := new(http.MaxBytesError); errors.As(err, &tooLarge) {
			return form{}, problem.BodyTooLarge.Because("the form is larger than %d bytes", tooLarge.Limit)
		}
		return form{}, problem.Malformed.Because("the form did not arrive whole: %v", err)
	}
	return filledIn(r.PostForm), nil
}

// submit reads a form, has do carry it out, and sends the browser on to where
// do says, so that loading the page again does not repeat it. What a person can
// mend shows the page again, with what was filled in and what is wrong.
func (s *desk) submit(w http.ResponseWriter, r *http.Request, do func(form) (to string, err error),
	again func(status int, f form) error) error {
	f, err := readForm(w, r)
	if err != nil {
		return err
	}
	to, err := do(f)
	if err == nil {
		http.Redirect(w, r, to, http.StatusSeeOther)
		return nil
	}
	trouble := problem.Classify(err)
	switch trouble.Kind {
	case problem.Invalid, problem.Duplicate, problem.Conflict, problem.Unavailable:
	default:
		return err
	}
	if trouble.Kind == problem.Unavailable {
		s.Logger.Error("form not carried out", "path", r.URL.Path, "err", err)
	}
	f.fault(err)
	return again(trouble.Kind.Status, f)
}

// fault has the form show what is wrong.
func (f *form) fault(err error) {
	trouble := problem.Classify(err)
	f.Field, f.Problem = trouble.Field, trouble.Detail
	if wrong := (*record.FieldError)(nil); errors.As(err, &wrong) {
		f.Problem = wrong.Problem
	}
}
