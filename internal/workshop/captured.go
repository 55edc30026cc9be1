package workshop

import (
	"encoding/json"
	"fmt"
	"math"
	"time"

	"github.com/google/uuid"

	"coilkeep/driver"
	"coilkeep/internal/capture"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
)

// Filing is what is known of a measured coil besides the measurement.
type Filing struct {
	Bench, Serial, Stage string
	// Supersedes is the id of the measurement this one replaces, if any.
	Supersedes string
	// Batch and Design are nil when there is none.
	Batch  *record.Batch
	Design *record.Design
	// First is the first measurement of this coil in its batch; nil when this is
	// it. Spool, winder and operator are those of the winding, which a
	// measurement made after a change of spool does not alter.
	First *record.Measurement
	// Meter and Probe name the instruments.
	Meter, Probe string
}

// File says in m which coil was measured and where it belongs.
func (f Filing) File(m *record.Measurement) {
	m.Serial, m.Stage, m.Supersedes = f.Serial, f.Stage, f.Supersedes
	m.Batch, m.Winder, m.Operator, m.Spool = "", "", "", ""
	if f.Batch != nil {
		m.Batch, m.Winder, m.Operator, m.Spool = f.Batch.Name, f.Batch.Winder, f.Batch.Operator, f.Batch.Spool()
	}
	if f.First != nil {
		m.Winder, m.Operator, m.Spool = f.First.Winder, f.First.Operator, f.First.Spool
	}
}

// NewRecord puts a capture's result and what is known of the coil into the
// records that are kept: under a new id, with everything needed to compute and
// to capture it again.
func NewRecord(r capture.Result, f Filing) (record.Measurement, []record.Reading, error) {
	id, err := uuid.NewV7()
	if err != nil {
		return record.Measurement{}, nil, err
	}
	settings, err := json.Marshal(r.Settings)
	if err != nil {
		return record.Measurement{}, nil, err
	}
	around, err := json.Marshal(captureContext{Rules: capture.Rules, Circumstances: r.Circumstances()})
	if err != nil {
		return record.Measurement{}, nil, err
	}
	m := record.Measurement{
		ID: id.String(), Time: r.Time.UTC(), Bench: f.Bench,
		ResistanceOhms: r.Inputs.ResistanceOhms, TemperatureCelsius: r.Inputs.TemperatureCelsius,
		R20Ohms: r.R20.R20Ohms, ExpandedUncertaintyOhms: r.R20.ExpandedUncertaintyOhms,
		CoverageFactor: r.R20.CoverageFactor, AlphaPerKelvin: r.Inputs.AlphaPerKelvin,
		Status: record.Status(r.Manner), Reason: r.Reason, Meter: f.Meter, Probe: f.Probe,
		Formula: r20.Formula, Inputs: r.Inputs, Budget: r.R20.Budget,
		Settings: settings, Context: around, Notes: resultNotes(r),
		CaptureSeconds:     r.Time.Sub(r.Contact).Seconds(),
		MeterCalibrationID: &r.Settings.MeterCalibrationID, ProbeCalibrationID: &r.Settings.ProbeCalibrationID,
	}
	if r.Improves {
		m.Reason = record.MeasuredLonger
	}
	if r.Settings.Tolerance != nil {
		m.Tolerance = *r.Settings.Tolerance
	}
	if r.Judgement != nil {
		m.Verdict, m.ConformityProbability = r.Judgement.Verdict, r.Judgement.Probability
	}
	if f.Design != nil {
		m.Design, m.DesignRevision = f.Design.Name, f.Design.Revision
	}
	f.File(&m)
	return m, storedReadings(r.Readings), nil
}

// resultNotes lists what a reader of a number should know beside it.
func resultNotes(r capture.Result) []string {
	var list []string
	if r.Outliers > 0 {
		list = append(list, fmt.Sprintf("%d of %d readings of the window were outliers and left out",
			r.Outliers, r.Outliers+r.Inputs.Readings))
	}
	if r.Manner == capture.ByForce {
		list = append(list, fmt.Sprintf("recorded on request; the copper was estimated %+.1f ± %.1f K from the probe",
			r.Copper.Kelvin, r.Copper.HalfWidthKelvin))
	}
	if r.AtRemoval {
		list = append(list, "taken at removal, from the last good readings before the clips opened")
	}
	if r.Improves {
		list = append(list, "taken while the coil stayed on the clips after its first record, which it replaces")
	}
	return list
}

// storedReadings turns a capture's evidence into rows of the history.
func storedReadings(entries []capture.Entry) []record.Reading {
	rows := make([]record.Reading, len(entries))
	for i, e := range entries {
		role := record.Meter
		if e.FromProbe {
			role = record.Probe
		}
		rows[i] = record.Reading{Time: e.Time.UTC(), Role: role, Value: e.Value, Resolution: e.Resolution,
			Status: string(e.Status), Reason: e.Reason, Raw: e.Raw, InWindow: e.InWindow, Outlier: e.Outlier}
	}
	return rows
}

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

// Captured is a captured measurement as it is kept.
type Captured struct {
	Measurement record.Measurement
	Readings    []record.Reading
	Settings    capture.Settings
	Context     captureContext
}

// replay captures it again from its readings; nil when they no longer lead to a
// result.
func (s Captured) Replay() *capture.Result {
	if s.Context.Reassessed {
		result, err := capture.Reassess(s.Settings, s.Context.Circumstances, s.Entries())
		if err != nil {
			return nil // as from a replay that gives nothing
		}
		return result
	}
	return capture.Replay(s.Settings, s.Context.Circumstances, s.Entries())
}

// entries are its readings as the capture saw them.
func (s Captured) Entries() []capture.Entry {
	entries := make([]capture.Entry, len(s.Readings))
	for i, r := range s.Readings {
		entries[i] = capture.Entry{FromProbe: r.Role == record.Probe, Reading: driver.Reading{
			Time: r.Time, Value: r.Value, Resolution: r.Resolution, Status: driver.Status(r.Status),
			Reason: r.Reason, Raw: r.Raw}}
	}
	return entries
}

// differs says how what the readings lead to differs from what is kept; "" when
// it does not.
func (s Captured) Differs() string {
	r, m := s.Replay(), s.Measurement
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

func CapturedOf(m record.Measurement, readings []record.Reading) (Captured, error) {
	s := Captured{Measurement: m, Readings: readings, Context: captureContext{Rules: 1}}
	if err := json.Unmarshal(m.Settings, &s.Settings); err != nil {
		return s, fmt.Errorf("its settings cannot be read: %w", err)
	}
	if err := json.Unmarshal(m.Context, &s.Context); err != nil {
		return s, fmt.Errorf("what the capture stood at cannot be read: %w", err)
	}
	return s, nil
}

// sameRatio is how far a number captured again may lie from the stored one:
// processors that multiply and add in one step round otherwise in the last bits.
const sameRatio = 1e-9

// RulesFor is a bench's capture settings for a coil of a design: what it is
// judged by, its wire, and its own time constant where it is known.
func RulesFor(s capture.Settings, d record.Design) capture.Settings {
	tolerance := d.Tolerance()
	s.Tolerance = &tolerance
	s.AlphaPerKelvin = d.AlphaPerKelvin
	s.AlphaStandardUncertaintyPerKelvin = d.AlphaStandardUncertaintyPerKelvin
	s.WantedUncertaintyPercent = d.WantedUncertaintyPercent
	if d.TimeConstantSeconds > 0 {
		s = coolingOf(s, d)
	}
	return s
}

// coolingOf is settings with what a design tells of how its coils cool.
func coolingOf(s capture.Settings, d record.Design) capture.Settings {
	s.TimeConstant = time.Duration(d.TimeConstantSeconds * float64(time.Second))
	s.TimeConstantRatio, s.QuickShare, s.QuickShareDeviation = d.TimeConstantRatio, d.QuickShare, d.QuickShareDeviation
	return s
}
