package history

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"coilkeep/internal/record"

	"github.com/google/uuid"
)

// normalise brings a measurement and its readings into the one form in which
// they are stored and compared, and refuses what cannot be right.
func normalise(m record.Measurement, readings []record.Reading) (record.Measurement, []record.Reading, error) {
	if m.ID == "" {
		id, err := newID()
		if err != nil {
			return m, nil, err
		}
		m.ID = id
	}
	if m.Time.IsZero() {
		return m, nil, record.Invalid("time", "must not be empty")
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
		readings = []record.Reading{}
	}
	for i := range readings {
		if err := normaliseReading(&readings[i]); err != nil {
			return m, nil, fmt.Errorf("reading %d: %w", i+1, err)
		}
	}
	return m, readings, record.ValidateMeasurement(m)
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
		return nil, record.Invalid(field, "must be JSON: %v", err)
	}
	return compact.Bytes(), nil
}

func normaliseReading(r *record.Reading) error {
	if r.Time.IsZero() {
		return record.Invalid("time", "must not be empty")
	}
	r.Time = fromMicros(r.Time.UnixMicro())
	r.Raw = strings.ToValidUTF8(r.Raw, "\uFFFD")
	r.Reason = strings.ToValidUTF8(r.Reason, "\uFFFD")
	if r.Role != record.Meter && r.Role != record.Probe {
		return record.Invalid("role", "must be %q or %q, not %q", record.Meter, record.Probe, r.Role)
	}
	return cmp.Or(
		record.ValidateName("status", r.Status),
		record.ValidateNumber("value", r.Value),
		record.ValidateNumber("resolution", r.Resolution))
}

// instantOr is t in the precision the history keeps, or now when t is zero.
func (s *file) instantOr(t time.Time) time.Time {
	if t.IsZero() {
		return s.instant()
	}
	return fromMicros(t.UnixMicro())
}
