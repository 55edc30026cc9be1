package api

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"mime"
	"net/http"
	"reflect"
	"slices"
	"strings"

	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
)

// MaxBodyBytes bounds what a request may send; the largest honest body is a
// design with a long note.
const MaxBodyBytes = 64 << 10

// decode reads the one JSON object of r's body into the struct that into
// points at. It refuses other content types, bodies that are too large, fields
// that into does not have (spelled exactly), values of the wrong kind and
// anything after the object. All its errors are problems a client can mend.
func decode(w http.ResponseWriter, r *http.Request, into any) error {
	if media, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || media != "application/json" {
		return problem.UnsupportedMedia.Because("send the body as JSON, with the header Content-Type: application/json")
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, MaxBodyBytes))
	if tooLarge := new(http.MaxBytesError); errors.As(err, &tooLarge) {
		return problem.BodyTooLarge.Because("the body is larger than %d bytes", tooLarge.Limit)
	}
	if err != nil {
		return problem.Malformed.Because("the body did not arrive whole: %v", err)
	}
	return unmarshal(body, into)
}

// unmarshal does decode's work on a body that has arrived.
func unmarshal(body []byte, into any) error {
	if trimmed := bytes.TrimLeft(body, " \t\r\n"); len(trimmed) == 0 || trimmed[0] != '{' {
		return problem.Malformed.Because("the body must be a JSON object, like {\"name\": \"value\"}")
	}
	if err := json.Unmarshal(body, into); err != nil {
		return explain(err)
	}
	if _, itself := into.(json.Unmarshaler); itself { // it has looked at all fields
		return nil
	}
	field, known, err := unknownField(body, reflect.TypeOf(into).Elem())
	if err != nil {
		return explain(err)
	}
	if field != "" {
		return problem.Invalid.InField(field, "there is no field %q here; known fields are %s", field, strings.Join(known, ", "))
	}
	return nil
}

// explain turns an error of encoding/json into a sentence for people.
func explain(err error) error {
	if wrong := (*record.FieldError)(nil); errors.As(err, &wrong) {
		return problem.Invalid.InField(wrong.Field, "%s", wrong.Problem)
	}
	if wrong := new(json.UnmarshalTypeError); errors.As(err, &wrong) {
		field := fieldPath(wrong.Field)
		return problem.Invalid.InField(field, "%q must be %s, not a JSON %s", field, kindInWords(wrong.Type), wrong.Value)
	}
	if syntax := new(json.SyntaxError); errors.As(err, &syntax) {
		return problem.Malformed.Because("the body is not valid JSON at byte %d: %v", syntax.Offset, syntax)
	}
	return problem.Malformed.Because("the body cannot be read as JSON: %v", err)
}

// fieldPath leaves the names of embedded structs, which JSON does not know, out
// of a path of encoding/json. Fields of JSON begin with a small letter.
func fieldPath(path string) string {
	parts := strings.Split(path, ".")
	return strings.Join(slices.DeleteFunc(parts, func(part string) bool { return part != strings.ToLower(part) }), ".")
}

// kindInWords names what JSON must hold for a value of type t.
func kindInWords(t reflect.Type) string {
	switch t.Kind() {
	case reflect.Int, reflect.Int64:
		return "a whole number"
	case reflect.Float64:
		return "a number"
	case reflect.Bool:
		return "true or false"
	case reflect.Struct:
		return "an object"
	default:
		return "a text"
	}
}

// unknownField returns the path of the first field of the JSON object body, by
// name, that struct type t does not have, and the names it does have. Objects
// in the fields are looked into as well.
func unknownField(body []byte, t reflect.Type) (path string, known []string, err error) {
	var given map[string]json.RawMessage
	if err := json.Unmarshal(body, &given); err != nil {
		return "", nil, err
	}
	types := map[string]reflect.Type{}
	for _, f := range reflect.VisibleFields(t) {
		if name, _, _ := strings.Cut(f.Tag.Get("json"), ","); name != "" {
			types[name] = f.Type
			known = append(known, name)
		}
	}
	for _, name := range sortedKeys(given) {
		fieldType, ok := types[name]
		if !ok {
			return name, known, nil
		}
		if fieldType.Kind() == reflect.Pointer {
			fieldType = fieldType.Elem()
		}
		// A time is a struct, and its JSON a text.
		if fieldType.Kind() != reflect.Struct || !bytes.HasPrefix(given[name], []byte("{")) {
			continue
		}
		inner, innerKnown, err := unknownField(given[name], fieldType)
		if err != nil {
			return "", nil, err
		}
		if inner != "" {
			return name + "." + inner, innerKnown, nil
		}
	}
	return "", known, nil
}
