package bench

import (
	"encoding/json"
	"fmt"
	"testing"

	"coilkeep/driver"
	"coilkeep/internal/capture"
	"coilkeep/internal/history"
)

// What is stored with a measurement is all it came from: captured again, it
// gives the same to the last digit.
func TestStoredReadingsReplayToTheSame(t *testing.T) {
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	for i := range 4 {
		p.measure(6600 + 11*float64(i))
		p.open()
	}
	for _, light := range p.all() {
		m, readings, err := p.store.Measurement(t.Context(), light.ID)
		if err != nil {
			t.Fatal(err)
		}
		r, err := replay(m, readings)
		if err != nil || r == nil {
			t.Fatalf("replay of %s: %v, %v", m.Serial, r, err)
		}
		if r.R20.R20Ohms != m.R20Ohms || r.R20.ExpandedUncertaintyOhms != m.ExpandedUncertaintyOhms ||
			!r.Time.Equal(m.Time) || r.Judgement.Verdict != m.Verdict || r.Inputs != m.Inputs {
			t.Errorf("replay of %s gives %v at %v, kept is %.6f Ω at %v", m.Serial, r.R20.R20Ohms, r.Time, m.R20Ohms, m.Time)
		}
	}
}

// replay captures a stored measurement again from its readings. It returns nil
// when they no longer lead to one.
func replay(m history.Measurement, rows []history.Reading) (*capture.Result, error) {
	var settings capture.Settings
	if err := json.Unmarshal(m.Settings, &settings); err != nil {
		return nil, fmt.Errorf("settings of measurement %s: %w", m.ID, err)
	}
	var context captureContext
	if err := json.Unmarshal(m.Context, &context); err != nil {
		return nil, fmt.Errorf("context of measurement %s: %w", m.ID, err)
	}
	entries := make([]capture.Entry, len(rows))
	for i, r := range rows {
		entries[i] = capture.Entry{FromProbe: r.Role == history.Probe, Reading: driver.Reading{
			Time: r.Time, Value: r.Value, Resolution: r.Resolution, Status: driver.Status(r.Status),
			Reason: r.Reason, Raw: r.Raw}}
	}
	return capture.Replay(settings, context.Manner, context.Reason, context.HeldUntil, entries), nil
}
