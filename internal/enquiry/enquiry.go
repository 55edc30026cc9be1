// Package enquiry puts together what a comparison needs: what people told, as
// they typed it, and what the history knows of the coil. Commands, pages and the
// API ask through it, and so get the same answer. What the answer is, package
// compare says.
package enquiry

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"coilkeep/internal/compare"
	"coilkeep/internal/copper"
	"coilkeep/internal/quantity"
)

// Told is what was told of a coil and of what somebody measured on it.
type Told struct {
	// Fields holds the texts by name: those of Names, and "theirs" and the names
	// of Settings for the first reading. An empty text is not told.
	Fields map[string]string
	// Also holds further readings with the same meter: "theirs", and the names
	// of Settings that are not of the meter.
	Also []map[string]string
}

// names tell which coil it is; see Told.
var names = []string{"serial", "mate", "r20", "uncertainty", "alpha", "alpha_uncertainty", "conductivity", "turns", "seed"}

// Theirs names the text of what their meter showed.
const Theirs = "theirs"

// Names lists every name that Told.Fields may have.
func Names() []string {
	list := append(slices.Clone(names), Theirs)
	for _, s := range Settings() {
		list = append(list, s.Name)
	}
	return list
}

// AlsoNames lists every name that a reading of Told.Also may have.
func AlsoNames() []string {
	list := []string{Theirs}
	for _, s := range Settings() {
		if !s.OfMeter {
			list = append(list, s.Name)
		}
	}
	return list
}

// DefaultSeed starts the random numbers of a propagation when no other is told.
const DefaultSeed = 1

// FieldError says which of the texts cannot be used and why.
type FieldError struct {
	// Field is the name in Told.Fields, or "also[0].temperature" with its place
	// in Told.Also.
	Field string
	// Problem says what is wrong and how to mend it; it may be put behind the
	// name of the field and a colon.
	Problem string
}

func (e *FieldError) Error() string { return e.Field + ": " + e.Problem }

func fieldError(field, format string, args ...any) error {
	return &FieldError{field, fmt.Sprintf(format, args...)}
}

// Question is all that a comparison needs.
type Question struct {
	compare.Input
	// Serial and Measurement, an id, name the record of the coil; both are empty
	// when a resistance was told in its place. MateSerial is that of the other
	// coil of its assembly, when it was told.
	Serial, Measurement, MateSerial string
	// Overload is what their meter showed when that was no resistance; then
	// compare.AnswerOverload answers. Empty otherwise.
	Overload string
}

// Ask reads what was told and adds what the history knows. The error is a
// *FieldError when one of the texts is at fault, a *CoilError when one of the
// coils is, or one of the store's.
func Ask(ctx context.Context, store Store, told Told) (Question, error) {
	q, err := Read(told)
	if err != nil {
		return Question{}, err
	}
	return q, q.Complete(ctx, store)
}

// Read reads what was told. What the history knows is still to be added (see
// [Question.Complete]); nothing is when the question names no coil of it. The
// error is a *FieldError.
func Read(told Told) (Question, error) {
	if err := told.checkNames(); err != nil {
		return Question{}, err
	}
	q := Question{Input: compare.Input{Seed: DefaultSeed}, Serial: told.get("serial"), MateSerial: told.get("mate")}
	if text := told.get("seed"); text != "" {
		seed, err := strconv.ParseUint(text, 10, 64)
		if err != nil {
			return Question{}, fieldError("seed", "%q is not a whole number from 0 up", text)
		}
		q.Seed = seed
	}
	if err := told.readings(&q); err != nil {
		return Question{}, err
	}
	switch {
	case q.Serial == "" && told.get("r20") == "":
		return Question{}, fieldError("serial", "which coil? Tell its serial number, or its resistance at 20 °C with the uncertainty")
	case q.Serial == "":
		var err error
		q.Ours, err = told.record()
		return q, err
	}
	for _, name := range []string{"r20", "uncertainty", "alpha", "alpha_uncertainty", "conductivity", "turns"} {
		if told.get(name) != "" {
			return Question{}, fieldError(name, "the record of coil %s says this; leave one of the two out", q.Serial)
		}
	}
	return q, nil
}

func (t Told) get(name string) string { return strings.TrimSpace(t.Fields[name]) }

// checkNames refuses names that mean nothing here: what is left out silently
// would change the answer.
func (t Told) checkNames() error {
	for _, name := range slices.Sorted(maps.Keys(t.Fields)) {
		if known := Names(); !slices.Contains(known, name) {
			return fieldError(name, "nothing of this name can be told; known are %s", strings.Join(known, ", "))
		}
	}
	for i, also := range t.Also {
		for _, name := range slices.Sorted(maps.Keys(also)) {
			if known := AlsoNames(); !slices.Contains(known, name) {
				return fieldError(alsoPlace(i, name), "nothing of this name can be told of a further reading; known are %s", strings.Join(known, ", "))
			}
		}
	}
	return nil
}

// alsoPlace names a text of Told.Also.
func alsoPlace(i int, name string) string { return fmt.Sprintf("also[%d].%s", i, name) }

// readings reads all that was told of what they measured.
func (t Told) readings(q *Question) error {
	itself := func(name string) string { return name }
	if len(t.Also) == 0 && isOverload(t.get(Theirs)) {
		q.Overload = t.get(Theirs)
		var r compare.Reading
		err := settings(&r, t.Fields, itself)
		q.Theirs = []compare.Reading{r}
		return err
	}
	first, err := reading(compare.Reading{}, t.Fields, itself)
	if err != nil {
		return err
	}
	q.Theirs = []compare.Reading{first}
	for i, fields := range t.Also {
		r, err := reading(sameMeter(first), fields, func(name string) string { return alsoPlace(i, name) })
		if err != nil {
			return err
		}
		q.Theirs = append(q.Theirs, r)
	}
	return nil
}

// reading adds to r what the texts tell; called names them in errors.
func reading(r compare.Reading, texts map[string]string, called func(name string) string) (compare.Reading, error) {
	if strings.TrimSpace(texts[Theirs]) == "" {
		return r, fieldError(called(Theirs), "what did they read? Type it with the digits they told, such as 6.28k")
	}
	if err := setValue(&r, texts[Theirs]); err != nil {
		return r, fieldError(called(Theirs), "%v", err)
	}
	return r, settings(&r, texts, called)
}

// settings adds what is told of a reading besides its value.
func settings(r *compare.Reading, texts map[string]string, called func(name string) string) error {
	for _, s := range Settings() {
		if text := strings.TrimSpace(texts[s.Name]); text != "" {
			if err := s.Set(r, text); err != nil {
				return fieldError(called(s.Name), "%v", err)
			}
		}
	}
	return nil
}

// record reads a resistance that was told in the place of a serial number.
func (t Told) record() (compare.Record, error) {
	var r compare.Record
	var err error
	if r.R20Ohms, _, err = quantity.ParseOhms(t.get("r20")); err != nil {
		return r, fieldError("r20", "%v", err)
	}
	if t.get("uncertainty") == "" {
		return r, fieldError("uncertainty", "how well is the resistance known? Tell its expanded uncertainty in ohms")
	}
	if r.ExpandedUncertaintyOhms, _, err = quantity.ParseOhms(t.get("uncertainty")); err != nil {
		return r, fieldError("uncertainty", "%v", err)
	}
	if text := t.get("turns"); text != "" {
		if r.Turns, err = strconv.Atoi(text); err != nil {
			return r, fieldError("turns", "%q is not a whole number", text)
		}
	}
	return r, t.wire(&r)
}

// wire reads what was told of the copper.
func (t Told) wire(r *compare.Record) error {
	if t.get("alpha") != "" && t.get("conductivity") != "" {
		return fieldError("conductivity", "alpha and conductivity both set the temperature coefficient; give one of them")
	}
	for _, one := range []struct {
		name string
		put  func(float64) error
	}{
		{"alpha", func(v float64) error { r.AlphaPerKelvin = v; return nil }},
		{"alpha_uncertainty", func(v float64) error { r.AlphaStandardUncertaintyPerKelvin = v; return nil }},
		{"conductivity", func(percent float64) error {
			alpha, err := copper.Alpha20Of(percent / 100)
			if err != nil {
				return fmt.Errorf("%g %% is not that of copper wire; write 98 for 98 %%", percent)
			}
			r.AlphaPerKelvin = float64(alpha)
			return nil
		}},
	} {
		text := t.get(one.name)
		if text == "" {
			continue
		}
		v, err := number(text)
		if err == nil {
			err = one.put(v)
		}
		if err != nil {
			return fieldError(one.name, "%v", err)
		}
	}
	return nil
}

// Explain turns the error of a comparison into a *FieldError about what was
// told. Errors about records, and all others, stay as they are.
func (q Question) Explain(err error) error {
	var bad *compare.InputError
	if !errors.As(err, &bad) {
		return err
	}
	of, field, _ := strings.Cut(bad.Field, ".")
	name := nameOf(field)
	var i int
	switch _, scanErr := fmt.Sscanf(of, "theirs[%d]", &i); {
	case bad.Field == "theirs":
		return fieldError("also", "%s", bad.Problem)
	case scanErr == nil && i > 0:
		name = alsoPlace(i-1, name)
	case scanErr != nil && (of != "ours" || q.Serial != ""):
		return fmt.Errorf("the record cannot be compared: %w", err)
	}
	return fieldError(name, "it %s", bad.Problem)
}

// nameOf returns the name in Told of a field of a compare.Record or
// compare.Reading; "" for a field that nobody tells.
func nameOf(field string) string {
	return map[string]string{
		"r20_ohms": "r20", "expanded_uncertainty_ohms": "uncertainty", "alpha_per_kelvin": "alpha",
		"alpha_standard_uncertainty_per_kelvin": "alpha_uncertainty", "turns": "turns",
		"ohms": Theirs, "resolution_ohms": Theirs, "temperature_celsius": "temperature",
		"temperature_uncertainty_kelvin": "temperature_uncertainty", "meter_percent": "meter_percent",
		"meter_digits": "meter_digits", "meter_expanded_uncertainty_ohms": "meter_uncertainty",
		"clips": "clips", "wiring": "wiring", "hands": "hands", "control_ohms": "control",
		"control_tolerance_percent": "control_tolerance", "cable_ohms": "cable", "control_full": "control_full", "date": "date",
	}[field]
}
