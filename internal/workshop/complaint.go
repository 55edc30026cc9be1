package workshop

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"coilkeep/internal/compare"
	"coilkeep/internal/copper"
	"coilkeep/internal/quantity"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// ComparisonRequest is what somebody tells of a coil and of what was measured on
// it, whether it comes from a form, as JSON, or by flags. An empty text is not
// told.
type ComparisonRequest struct {
	OutsideCoil
	OutsideReading
	OutsideMeter
	// Further readings with the same meter.
	Also []OutsideReading `json:"also,omitempty"`
	// What they call their meter; kept only.
	TheirMeter Text `json:"their_meter,omitempty"`
	// What is sent to them; kept only.
	Letter Text `json:"letter,omitempty"`
	// Our own note; kept only.
	Note Text `json:"note,omitempty"`
}

// Text is something as a person types it: "6.28k" has other digits than 6280. In
// JSON it may be a number or a boolean too, and is taken as it is written there.
type Text string

// OutsideCoil tells which coil somebody measured: one on record, or one of which
// a resistance is told in its place.
type OutsideCoil struct {
	// Of our coil, as recorded.
	Serial Text `json:"serial,omitempty"`
	// Serial number of the other coil of an assembly.
	Mate Text `json:"mate,omitempty"`
	// Or its resistance at 20 °C.
	R20 Text `json:"r20,omitempty"`
	// Expanded uncertainty of r20, ohms.
	Uncertainty Text `json:"uncertainty,omitempty"`
	// With r20: temperature coefficient at 20 °C, per kelvin.
	Alpha Text `json:"alpha,omitempty"`
	// Its standard uncertainty, per kelvin.
	AlphaUncertainty Text `json:"alpha_uncertainty,omitempty"`
	// Instead of alpha: of the wire, percent of the standard's.
	Conductivity Text `json:"conductivity,omitempty"`
	// With r20: number of turns.
	Turns Text `json:"turns,omitempty"`
	// Of the random numbers; 1 when left out.
	Seed Text `json:"seed,omitempty"`
}

// OutsideReading is one reading of theirs.
//
// What may be told of it besides its value is read by the [Settings] of the same
// names.
type OutsideReading struct {
	// What they read, with the digits they told: 6.28k, 6280, 6.28 kΩ.
	Theirs Text `json:"theirs"`
	// Beside the coil: 21.4, 70.5 °F.
	Temperature Text `json:"temperature,omitempty"`
	// How far the copper may be from it, kelvin either way.
	TemperatureUncertainty Text `json:"temperature_uncertainty,omitempty"`
	// leads: on the coil's own wires; jack: at the output jack.
	Clips Text `json:"clips,omitempty" openapi:"words=|leads|jack"`
	// The volume control was fully up.
	ControlFull Text `json:"control_full,omitempty"`
	// Of a two-coil assembly.
	Wiring Text `json:"wiring,omitempty" openapi:"words=|single|series|parallel"`
	// Whether fingers touched both probes.
	Hands Text `json:"hands,omitempty" openapi:"words=|off|on"`
	// When, in their words.
	Date Text `json:"date,omitempty"`
}

// OutsideMeter is what stays the same from reading to reading of theirs.
type OutsideMeter struct {
	// Accuracy of their meter, percent of the reading.
	MeterPercent Text `json:"meter_percent,omitempty"`
	// and steps of its last digit.
	MeterDigits Text `json:"meter_digits,omitempty"`
	// Expanded uncertainty of a calibrated bench, ohms, instead.
	MeterUncertainty Text `json:"meter_uncertainty,omitempty"`
	// Nominal value of the volume control: 500k.
	Control Text `json:"control,omitempty"`
	// Of the volume control, percent either way.
	ControlTolerance Text `json:"control_tolerance,omitempty"`
	// Leads and cable, ohms.
	Cable Text `json:"cable,omitempty"`
}

// Theirs names the text of what their meter showed.
const Theirs = "theirs"

// DefaultSeed starts the random numbers of a propagation when no other is told.
const DefaultSeed = 1

// Told are the texts about coil, reading and meter, by their names in JSON, each
// to be read or filled in.
func (r *ComparisonRequest) Told() map[string]*Text {
	told := textsOf(&r.OutsideCoil)
	maps.Copy(told, r.OutsideReading.Told())
	maps.Copy(told, textsOf(&r.OutsideMeter))
	return told
}

// Told are the texts about a reading by their names in JSON.
func (r *OutsideReading) Told() map[string]*Text { return textsOf(r) }

// textsOf are the texts of a struct of them, by their names in JSON.
func textsOf(texts any) map[string]*Text {
	all := reflect.ValueOf(texts).Elem()
	found := make(map[string]*Text, all.NumField())
	for i := range all.NumField() {
		found[nameInJSON(all.Type().Field(i))] = all.Field(i).Addr().Interface().(*Text)
	}
	return found
}

// namesOf are the names in JSON of a struct of texts, in its order.
func namesOf(texts any) (names []string) {
	kind := reflect.TypeOf(texts)
	for i := range kind.NumField() {
		names = append(names, nameInJSON(kind.Field(i)))
	}
	return names
}

func nameInJSON(f reflect.StructField) string {
	name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
	return name
}

// UnmarshalJSON reads a request from a program. Names that mean nothing here are
// refused: what is left out silently would change the answer. Its errors about
// what was told are *record.FieldError, with the place: "also[0].temperature".
func (r *ComparisonRequest) UnmarshalJSON(body []byte) error {
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(body, &fields); err != nil {
		return err
	}
	var also []map[string]json.RawMessage
	if list, told := fields["also"]; told {
		if err := json.Unmarshal(list, &also); err != nil {
			return record.Invalid("also", "%q must be a list of objects, one for each further reading", "also")
		}
		delete(fields, "also")
	}
	told := r.Told()
	known := slices.Concat(namesOf(r.OutsideCoil), namesOf(r.OutsideReading), namesOf(r.OutsideMeter))
	told["their_meter"], told["letter"], told["note"] = &r.TheirMeter, &r.Letter, &r.Note
	if err := fill(told, fields, "", "nothing of this name can be told; known are "+strings.Join(known, ", ")); err != nil {
		return err
	}
	r.Also = make([]OutsideReading, len(also))
	unknown := "nothing of this name can be told of a further reading; known are " + strings.Join(namesOf(r.OutsideReading), ", ")
	for i := range also {
		if err := fill(r.Also[i].Told(), also[i], alsoPlace(i, ""), unknown); err != nil {
			return err
		}
	}
	return nil
}

// fill puts the fields of a JSON object into texts; place goes before their names
// in errors, and unknown is said of a name that is not among them. A number or a boolean is taken
// as it is written: 6280 has one digit more than 6.28e3, which tells how fine
// their meter shows.
func fill(texts map[string]*Text, fields map[string]json.RawMessage, place, unknown string) error {
	for _, name := range slices.Sorted(maps.Keys(fields)) {
		text, ok := texts[name]
		if !ok {
			return record.Invalid(place+name, "%s", unknown)
		}
		switch raw := bytes.TrimSpace(fields[name]); raw[0] {
		case '"':
			if err := json.Unmarshal(raw, text); err != nil {
				return err
			}
		case '{', '[':
			return record.Invalid(place+name, "%q must be a text or a number", place+name)
		case 'n': // null is not told
		default:
			*text = Text(raw)
		}
	}
	return nil
}

// Question is all that a comparison needs.
type Question struct {
	compare.Input
	// Serial and Measurement, an id, name the record of the coil; both are empty
	// when a resistance was told in its place. MateSerial is that of the other
	// coil of its assembly, when it was told.
	Serial, Measurement, MateSerial string
	// Origin is where the coil came from; empty without a record.
	Origin record.Origin
	// Overload is what their meter showed when that was no resistance; then
	// compare.AnswerOverload answers. Empty otherwise.
	Overload string
	// TheirMeter, Letter and Note are kept beside the comparison.
	TheirMeter, Letter, Note string
}

// Ask reads what was told and adds what the history knows. The error is a
// *record.FieldError when one of the texts is at fault, a *CoilError when one of
// the coils is, or one of the store's.
func (r ComparisonRequest) Ask(ctx context.Context, store ComplaintStore) (Question, error) {
	q, err := r.Question()
	if err != nil {
		return Question{}, err
	}
	return q, q.Complete(ctx, store)
}

// Question reads what was told. What the history knows is still to be added (see
// [Question.Complete]); nothing is when the question names no coil of it. The
// error is a *record.FieldError.
func (r ComparisonRequest) Question() (Question, error) {
	q := Question{Input: compare.Input{Seed: DefaultSeed}, Serial: words.SerialRead(string(r.Serial)),
		MateSerial: words.SerialRead(string(r.Mate)),
		TheirMeter: r.TheirMeter.trimmed(), Letter: r.Letter.trimmed(), Note: r.Note.trimmed()}
	if text := r.Seed.trimmed(); text != "" {
		seed, err := strconv.ParseUint(text, 10, 64)
		if err != nil {
			return Question{}, record.Invalid("seed", "%q is not a whole number from 0 up", text)
		}
		q.Seed = seed
	}
	if err := r.readings(&q); err != nil {
		return Question{}, err
	}
	switch {
	case q.Serial == "" && r.R20.trimmed() == "":
		return Question{}, record.Invalid("serial", "which coil? Tell its serial number, or its resistance at 20 °C with the uncertainty")
	case q.Serial == "":
		var err error
		q.Ours, err = r.record()
		return q, err
	}
	told := r.Told()
	for _, name := range []string{"r20", "uncertainty", "alpha", "alpha_uncertainty", "conductivity", "turns"} {
		if told[name].trimmed() != "" {
			return Question{}, record.Invalid(name, "the record of coil %s says this; leave one of the two out", q.Serial)
		}
	}
	return q, nil
}

func (t Text) trimmed() string { return strings.TrimSpace(string(t)) }

// alsoPlace names a text of a further reading.
func alsoPlace(i int, name string) string { return fmt.Sprintf("also[%d].%s", i, name) }

// readings reads all that was told of what they measured.
func (r *ComparisonRequest) readings(q *Question) error {
	itself := func(name string) string { return name }
	if len(r.Also) == 0 && isOverload(r.Theirs.trimmed()) {
		q.Overload = r.Theirs.trimmed()
		q.Theirs = make([]compare.Reading, 1)
		return readSettings(&q.Theirs[0], r.Told(), itself)
	}
	first, err := readReading(compare.Reading{}, r.Told(), itself)
	if err != nil {
		return err
	}
	q.Theirs = []compare.Reading{first}
	for i := range r.Also {
		also, err := readReading(sameMeter(first), r.Also[i].Told(), func(name string) string { return alsoPlace(i, name) })
		if err != nil {
			return err
		}
		q.Theirs = append(q.Theirs, also)
	}
	return nil
}

// readReading adds to r what the texts tell; called names them in errors.
func readReading(r compare.Reading, texts map[string]*Text, called func(name string) string) (compare.Reading, error) {
	theirs := texts[Theirs].trimmed()
	if theirs == "" {
		return r, record.Invalid(called(Theirs), "what did they read? Type it with the digits they told, such as 6.28k")
	}
	if err := setValue(&r, theirs); err != nil {
		return r, record.Invalid(called(Theirs), "%v", err)
	}
	return r, readSettings(&r, texts, called)
}

// readSettings adds what is told of a reading besides its value.
func readSettings(r *compare.Reading, texts map[string]*Text, called func(name string) string) error {
	for _, s := range Settings() {
		told, ok := texts[s.Name]
		if !ok || told.trimmed() == "" {
			continue
		}
		if err := s.Set(r, told.trimmed()); err != nil {
			return record.Invalid(called(s.Name), "%v", err)
		}
	}
	return nil
}

// record reads a resistance that was told in the place of a serial number.
func (c OutsideCoil) record() (compare.Record, error) {
	var r compare.Record
	var err error
	if r.R20Ohms, _, err = quantity.ParseOhms(c.R20.trimmed()); err != nil {
		return r, record.Invalid("r20", "%v", err)
	}
	if c.Uncertainty.trimmed() == "" {
		return r, record.Invalid("uncertainty", "how well is the resistance known? Tell its expanded uncertainty in ohms")
	}
	if r.ExpandedUncertaintyOhms, _, err = quantity.ParseOhms(c.Uncertainty.trimmed()); err != nil {
		return r, record.Invalid("uncertainty", "%v", err)
	}
	if text := c.Turns.trimmed(); text != "" {
		if r.Turns, err = strconv.Atoi(text); err != nil {
			return r, record.Invalid("turns", "%q is not a whole number", text)
		}
	}
	return r, c.wire(&r)
}

// wire reads what was told of the copper.
func (c OutsideCoil) wire(r *compare.Record) error {
	if c.Alpha.trimmed() != "" && c.Conductivity.trimmed() != "" {
		return record.Invalid("conductivity", "alpha and conductivity both set the temperature coefficient; give one of them")
	}
	for _, one := range []struct {
		name string
		text Text
		put  func(float64) error
	}{
		{"alpha", c.Alpha, func(v float64) error { r.AlphaPerKelvin = v; return nil }},
		{"alpha_uncertainty", c.AlphaUncertainty, func(v float64) error { r.AlphaStandardUncertaintyPerKelvin = v; return nil }},
		{"conductivity", c.Conductivity, func(percent float64) error {
			alpha, err := copper.Alpha20Of(percent / 100)
			if err != nil {
				return fmt.Errorf("%g %% is not that of copper wire; write 98 for 98 %%", percent)
			}
			r.AlphaPerKelvin = float64(alpha)
			return nil
		}},
	} {
		if one.text.trimmed() == "" {
			continue
		}
		v, err := number(one.text.trimmed())
		if err == nil {
			err = one.put(v)
		}
		if err != nil {
			return record.Invalid(one.name, "%v", err)
		}
	}
	return nil
}

// explain turns the error of a comparison into a *record.FieldError about what was
// told. Errors about records, and all others, stay as they are.
func (q Question) explain(err error) error {
	var bad *compare.InputError
	if !errors.As(err, &bad) {
		return err
	}
	of, field, _ := strings.Cut(bad.Field, ".")
	name := nameOf(field)
	var i int
	switch _, scanErr := fmt.Sscanf(of, "theirs[%d]", &i); {
	case bad.Field == "theirs":
		return record.Invalid("also", "%s", bad.Problem)
	case scanErr == nil && i > 0:
		name = alsoPlace(i-1, name)
	case scanErr != nil && (of != "ours" || q.Serial != ""):
		return fmt.Errorf("the record cannot be compared: %w", err)
	}
	return record.Invalid(name, "it %s", bad.Problem)
}

// nameOf returns the name in a request of a field of a compare.Record or
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
