package bench

import (
	"encoding/json"
	"fmt"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/capture"
	"coilkeep/internal/history"
)

// captureContext is what a replay needs beside settings and readings.
type captureContext struct {
	Manner    capture.Manner `json:"manner"`
	Reason    string         `json:"reason,omitempty"`
	HeldUntil time.Time      `json:"held_until"`
}

// storedReadings turns a capture's evidence into rows of the history.
func storedReadings(entries []capture.Entry) []history.Reading {
	rows := make([]history.Reading, len(entries))
	for i, e := range entries {
		role := history.Meter
		if e.FromProbe {
			role = history.Probe
		}
		rows[i] = history.Reading{Time: e.Time.UTC(), Role: role, Value: e.Value, Resolution: e.Resolution,
			Status: string(e.Status), Reason: e.Reason, Raw: e.Raw, InWindow: e.InWindow, Outlier: e.Outlier}
	}
	return rows
}

// Replay captures a stored measurement again from its readings. It returns nil
// when they no longer lead to one.
func Replay(m history.Measurement, rows []history.Reading) (*capture.Result, error) {
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
