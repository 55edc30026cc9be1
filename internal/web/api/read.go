package api

import (
	"cmp"
	"net/http"
	"net/url"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"coilkeep/internal/web/problem"
	"coilkeep/internal/words"
)

// read fills the struct that into points at with what a request says, by the
// tags of its fields:
//
//	path:"bench"   a part of the path
//	query:"limit"  a parameter: a string, int, bool or time.Time, within the
//	               bounds and with the default that its openapi tag names
//	login:"name"   the name somebody logged in under
//	json:"spool"   a field of the body, which is read when there is one
//
// A parameter that is not known or cannot be read is refused: one that is left
// out silently would answer another question than was asked. All its errors are
// problems a client can mend.
func read(w http.ResponseWriter, r *http.Request, login string, into any) error {
	v := reflect.ValueOf(into).Elem()
	query := r.URL.Query()
	if err := OnlyParameters(query, QueryNames(v.Type())...); err != nil {
		return err
	}
	for _, f := range reflect.VisibleFields(v.Type()) {
		var err error
		switch field := v.FieldByIndex(f.Index); {
		case f.Tag.Get("path") != "":
			field.SetString(r.PathValue(f.Tag.Get("path")))
		case f.Tag.Get("login") != "":
			field.SetString(login)
		case f.Tag.Get("query") != "":
			err = readParameter(query, f, field)
		}
		if err != nil {
			return err
		}
	}
	if r.Method != http.MethodPost {
		return nil
	}
	return decode(w, r, into)
}

// QueryNames lists the parameters that a type of request knows.
func QueryNames(request reflect.Type) []string {
	var names []string
	for _, f := range reflect.VisibleFields(request) {
		if name := f.Tag.Get("query"); name != "" {
			names = append(names, name)
		}
	}
	return names
}

// OnlyParameters refuses a query with a parameter that is not among the known
// ones.
func OnlyParameters(query url.Values, known ...string) error {
	for _, name := range sortedKeys(query) {
		if slices.Contains(known, name) {
			continue
		}
		told := "none is known"
		switch {
		case len(known) == 1:
			told = "known is " + known[0]
		case len(known) > 1:
			told = "known ones are " + words.And(known)
		}
		return problem.Invalid.InField(name, "there is no parameter %q here; %s", name, told)
	}
	return nil
}

// readParameter reads one parameter into its field.
func readParameter(query url.Values, f reflect.StructField, field reflect.Value) error {
	name, bounds := f.Tag.Get("query"), BoundsOf(f.Tag)
	text := query.Get(name)
	if !query.Has(name) {
		text = bounds.Default
	}
	switch field.Interface().(type) {
	case string:
		field.SetString(text)
	case bool:
		switch cmp.Or(text, bounds.Default) {
		case "true":
			field.SetBool(true)
		case "false", "":
		default:
			return problem.Invalid.InField(name, "%q is neither true nor false", text)
		}
	case int:
		n, err := strconv.Atoi(text)
		if err != nil || !bounds.hold(float64(n)) {
			return problem.Invalid.InField(name, "%q is not a whole number from %s to %s", text, bounds.Minimum, bounds.Maximum)
		}
		field.SetInt(int64(n))
	case float64:
		n, err := strconv.ParseFloat(cmp.Or(strings.TrimSpace(text), bounds.Default), 64)
		if err != nil || !bounds.hold(n) {
			return problem.Invalid.InField(name, "%q is not a number of %s above %s, up to %s", text, bounds.Of, bounds.Above, bounds.Maximum)
		}
		field.SetFloat(n)
	case time.Time:
		if !query.Has(name) {
			return nil
		}
		at, err := parseTime(name, text)
		if err != nil {
			return err
		}
		field.Set(reflect.ValueOf(at))
	}
	return nil
}

// parseTime reads a time of a field or parameter of this name.
func parseTime(name, text string) (time.Time, error) {
	at, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		return time.Time{}, problem.Invalid.InField(name, "%q is not a time like 2026-03-14T09:30:00Z", text)
	}
	return at, nil
}

// Bounds is what the openapi tag of a field says of its values, as text:
//
//	openapi:"minimum=1,maximum=1000,default=100"
type Bounds struct {
	Minimum, Maximum, Default string
	// Above is a minimum that is itself too little.
	Above string
	// Of is what a number counts, in words.
	Of string
	// Format is that of a text, such as date-time.
	Format string
	// Words are all values there are, parted by |.
	Words string
	// Nullable is true for a list that may be null.
	Nullable bool
}

// BoundsOf reads the openapi tag of a field. A tag it does not know panics: it
// is a mistake in this program.
func BoundsOf(tag reflect.StructTag) Bounds {
	var b Bounds
	for part := range strings.SplitSeq(tag.Get("openapi"), ",") {
		key, value, _ := strings.Cut(part, "=")
		switch key {
		case "":
		case "minimum":
			b.Minimum = value
		case "maximum":
			b.Maximum = value
		case "above":
			b.Above = value
		case "default":
			b.Default = value
		case "of":
			b.Of = value
		case "format":
			b.Format = value
		case "words":
			b.Words = value
		case "nullable":
			b.Nullable = true
		default:
			panic("openapi tag with " + key)
		}
	}
	return b
}

// hold is true for a number within the bounds that are told.
func (b Bounds) hold(n float64) bool {
	within := func(bound string, holds func(bound float64) bool) bool {
		at, err := strconv.ParseFloat(bound, 64)
		return bound == "" || err == nil && holds(at)
	}
	return within(b.Minimum, func(least float64) bool { return n >= least }) &&
		within(b.Above, func(least float64) bool { return n > least }) &&
		within(b.Maximum, func(most float64) bool { return n <= most })
}
