package history

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"time"

	"coilkeep/internal/conformity"

	"github.com/google/uuid"
)

// Where in its life a coil is measured.
const (
	StageWound     = "wound"
	StagePotted    = "potted"
	StageAssembled = "assembled"
)

// stages are all there are.
var stages = []string{StageWound, StagePotted, StageAssembled}

// timeLayout is RFC 3339 in UTC to the microsecond.
const timeLayout = "2006-01-02T15:04:05.000000Z07:00"

// normalise brings a measurement and its readings into the one form in which
// they are stored and compared, and refuses what cannot be right.
func normalise(m Measurement, readings []Reading) (Measurement, []Reading, error) {
	if m.ID == "" {
		id, err := newID()
		if err != nil {
			return m, nil, err
		}
		m.ID = id
	}
	if m.Time.IsZero() {
		return m, nil, invalid("time", "must not be empty")
	}
	m.Time = fromMicros(m.Time.UnixMicro())
	if len(m.Budget) == 0 {
		m.Budget = nil
	}
	if len(m.Notes) == 0 {
		m.Notes = nil
	}
	for _, raw := range []struct {
		field string
		text  *json.RawMessage
	}{{"settings", &m.Settings}, {"context", &m.Context}} {
		compact, err := compactJSON(raw.field, *raw.text)
		if err != nil {
			return m, nil, err
		}
		*raw.text = compact
	}
	readings = slices.Clone(readings)
	if readings == nil {
		readings = []Reading{}
	}
	for i := range readings {
		if err := normaliseReading(&readings[i]); err != nil {
			return m, nil, fmt.Errorf("reading %d: %w", i+1, err)
		}
	}
	return m, readings, validMeasurement(m)
}

// newID makes a globally unique id that sorts by time: a UUID of version 7
// (RFC 9562, section 5.7).
func newID() (string, error) {
	id, err := uuid.NewV7()
	if err != nil {
		return "", fmt.Errorf("make an id: %w", err)
	}
	return id.String(), nil
}

func compactJSON(field string, text json.RawMessage) (json.RawMessage, error) {
	if len(text) == 0 || string(text) == "null" {
		return nil, nil
	}
	var compact bytes.Buffer
	if err := json.Compact(&compact, text); err != nil {
		return nil, invalid(field, "must be JSON: %v", err)
	}
	return compact.Bytes(), nil
}

func normaliseReading(r *Reading) error {
	if r.Time.IsZero() {
		return invalid("time", "must not be empty")
	}
	r.Time = fromMicros(r.Time.UnixMicro())
	r.Raw = strings.ToValidUTF8(r.Raw, "\uFFFD")
	r.Reason = strings.ToValidUTF8(r.Reason, "\uFFFD")
	if r.Role != Meter && r.Role != Probe {
		return invalid("role", "must be %q or %q, not %q", Meter, Probe, r.Role)
	}
	return cmp.Or(
		validName("status", r.Status),
		validNumber("value", r.Value),
		validNumber("resolution", r.Resolution))
}

func validMeasurement(m Measurement) error {
	return cmp.Or(
		validName("id", m.ID),
		validName("bench", m.Bench),
		validName("design", m.Design),
		ValidateSerial(m.Serial),
		validText("batch", m.Batch, 0, maxName),
		allValid(validLabel, "spool", m.Spool, "winder", m.Winder, "operator", m.Operator,
			"meter", m.Meter, "probe", m.Probe, "supersedes", m.Supersedes),
		validNote("reason", m.Reason),
		validWords(m),
		validResult(m),
		inputsAgree(m, m.Inputs))
}

func validWords(m Measurement) error {
	for _, c := range []struct {
		field, word string
		known       []string
	}{
		{"stage", m.Stage, stages},
		{"status", string(m.Status), []string{string(Recorded), string(Forced), string(Manual)}},
		{"verdict", string(m.Verdict), []string{string(conformity.In), string(conformity.High), string(conformity.Low), string(conformity.Undecided)}},
	} {
		if !slices.Contains(c.known, c.word) {
			return invalid(c.field, "must be one of %s, not %q", strings.Join(c.known, ", "), c.word)
		}
	}
	if m.Status == Forced && m.Reason == "" {
		return invalid("reason", "must say why the measurement was forced")
	}
	return nil
}

// validResult checks that every number is finite, and those that cannot be
// zero or negative are not.
func validResult(m Measurement) error {
	for _, c := range []struct {
		field string
		value float64
		least float64
	}{
		{"resistance_ohms", m.ResistanceOhms, math.SmallestNonzeroFloat64},
		{"r20_ohms", m.R20Ohms, math.SmallestNonzeroFloat64},
		{"expanded_uncertainty_ohms", m.ExpandedUncertaintyOhms, 0},
		{"coverage_factor", m.CoverageFactor, math.SmallestNonzeroFloat64},
		{"conformity_probability", m.ConformityProbability, 0},
		{"capture_seconds", m.CaptureSeconds, 0},
		{"formula", float64(m.Formula), 1},
		{"inputs.readings", float64(m.Inputs.Readings), 1},
		{"tolerance.lower_ohms", m.Tolerance.LowerOhms, 0},
		{"tolerance.upper_ohms", m.Tolerance.UpperOhms, m.Tolerance.LowerOhms},
		{"tolerance.guard_factor", m.Tolerance.GuardFactor, 0},
	} {
		if !(c.value >= c.least) || math.IsInf(c.value, 1) {
			return invalid(c.field, "must be a finite number of at least %g, not %g", c.least, c.value)
		}
	}
	if m.ConformityProbability > 1 {
		return invalid("conformity_probability", "must be at most 1, not %g", m.ConformityProbability)
	}
	inputs := reflect.ValueOf(m.Inputs)
	for i := range inputs.NumField() {
		if inputs.Field(i).Kind() != reflect.Float64 {
			continue
		}
		name := "inputs." + inputs.Type().Field(i).Tag.Get("json")
		if err := validNumber(name, inputs.Field(i).Float()); err != nil {
			return err
		}
	}
	return nil
}

// instantOr is t in the precision the history keeps, or now when t is zero.
func (s *Store) instantOr(t time.Time) time.Time {
	if t.IsZero() {
		return s.instant()
	}
	return fromMicros(t.UnixMicro())
}
