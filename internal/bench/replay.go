package bench

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/capture"
	"coilkeep/internal/record"
)

// captureContext is what a replay needs beside settings and readings.
type captureContext struct {
	// Rules is the version of the rules it was captured by; records from before
	// it was told have none and are of the first.
	Rules int `json:"rules"`
	// Reassessed is true for what came of readings of older rules, by
	// [capture.Reassess].
	Reassessed bool `json:"reassessed,omitempty"`
	capture.Circumstances
}

// stored is a captured measurement as it is kept.
type stored struct {
	measurement record.Measurement
	readings    []record.Reading
	settings    capture.Settings
	context     captureContext
}

func newStored(m record.Measurement, readings []record.Reading) (stored, error) {
	s := stored{measurement: m, readings: readings, context: captureContext{Rules: 1}}
	if err := json.Unmarshal(m.Settings, &s.settings); err != nil {
		return s, fmt.Errorf("its settings cannot be read: %w", err)
	}
	if err := json.Unmarshal(m.Context, &s.context); err != nil {
		return s, fmt.Errorf("what the capture stood at cannot be read: %w", err)
	}
	return s, nil
}

// replay captures it again from its readings; nil when they no longer lead to a
// result.
func (s stored) replay() *capture.Result {
	if s.context.Reassessed {
		result, err := capture.Reassess(s.settings, s.context.Circumstances, s.entries())
		if err != nil {
			return nil // as from a replay that gives nothing
		}
		return result
	}
	return capture.Replay(s.settings, s.context.Circumstances, s.entries())
}

// entries are its readings as the capture saw them.
func (s stored) entries() []capture.Entry {
	entries := make([]capture.Entry, len(s.readings))
	for i, r := range s.readings {
		entries[i] = capture.Entry{FromProbe: r.Role == record.Probe, Reading: driver.Reading{
			Time: r.Time, Value: r.Value, Resolution: r.Resolution, Status: driver.Status(r.Status),
			Reason: r.Reason, Raw: r.Raw}}
	}
	return entries
}

// sameRatio is how far a number captured again may lie from the stored one:
// processors that multiply and add in one step round otherwise in the last bits.
const sameRatio = 1e-9

// differs says how what the readings lead to differs from what is kept; "" when
// it does not.
func (s stored) differs() string {
	r, m := s.replay(), s.measurement
	if r == nil {
		return "its readings do not lead to a measurement"
	}
	if !r.Time.Equal(m.Time) {
		return fmt.Sprintf("it is stored as of %s, its readings give %s", m.Time.Format(time.RFC3339Nano), r.Time.UTC().Format(time.RFC3339Nano))
	}
	for _, n := range []struct {
		name          string
		stored, again float64
	}{
		{"resistance_ohms", m.ResistanceOhms, r.Inputs.ResistanceOhms},
		{"temperature_celsius", m.TemperatureCelsius, r.Inputs.TemperatureCelsius},
		{"readings", float64(m.Inputs.Readings), float64(r.Inputs.Readings)},
		{"r20_ohms", m.R20Ohms, r.R20.R20Ohms},
		{"expanded_uncertainty_ohms", m.ExpandedUncertaintyOhms, r.R20.ExpandedUncertaintyOhms},
	} {
		if math.Abs(n.stored-n.again) > sameRatio*max(math.Abs(n.stored), math.Abs(n.again)) {
			return fmt.Sprintf("%s is stored as %.12g, its readings give %.12g", n.name, n.stored, n.again)
		}
	}
	return ""
}

// Captures is the part of a history that holds what was captured.
type Captures interface {
	Measurements(ctx context.Context, f record.Filter) (page []record.Measurement, next string, err error)
	Measurement(ctx context.Context, id string) (record.Measurement, []record.Reading, error)
}

const captureRemedy = "its readings, settings or result are not those of the day: restore the latest backup that verifies, " +
	"or void this measurement and measure the coil again"

// VerifyCaptures captures every measurement again from its readings and adds to
// report what comes out otherwise, and what was captured by other rules than
// today's. A value from a table has no readings and is passed over. The progress
// is called after each page; the error is for a verification that could not be
// finished.
func VerifyCaptures(ctx context.Context, from Captures, report *record.Report, progress func(done, total int)) error {
	f := record.Filter{Limit: 1000}
	for {
		page, next, err := from.Measurements(ctx, f)
		if err != nil {
			return err
		}
		for _, light := range page {
			m, readings, err := from.Measurement(ctx, light.ID)
			switch {
			case ctx.Err() != nil:
				return ctx.Err()
			case err != nil: // a part of it is lost, the others can be read
				report.Faults = append(report.Faults, captureFault(light, err.Error()))
			default:
				verifyCapture(m, readings, report)
			}
		}
		progress(report.CapturedAgain, report.Measurements)
		if next == "" {
			return nil
		}
		f.After = next
	}
}

func verifyCapture(m record.Measurement, readings []record.Reading, report *record.Report) {
	if len(m.Settings) == 0 || len(m.Context) == 0 || len(readings) == 0 {
		return
	}
	var problem string
	switch s, err := newStored(m, readings); {
	case err != nil:
		problem = err.Error()
	case s.context.Rules != capture.Rules:
		report.Skip("captures", s.context.Rules, capture.Rules)
		return
	default:
		report.CapturedAgain++
		problem = s.differs()
	}
	if problem != "" {
		report.Faults = append(report.Faults, captureFault(m, problem))
	}
}

func captureFault(m record.Measurement, problem string) record.Fault {
	return record.Fault{Kind: record.FaultCapture, ID: m.ID, Problem: fmt.Sprintf("coil %q: %s", m.Serial, problem), Remedy: captureRemedy}
}
