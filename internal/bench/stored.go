package bench

import (
	"encoding/json"
	"fmt"

	"github.com/google/uuid"

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
		CaptureSeconds: r.Time.Sub(r.Contact).Seconds(),
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
	f.coil(&m)
	return m, storedReadings(r.Readings), nil
}

// coil says in m which coil was measured and where it belongs.
func (f Filing) coil(m *record.Measurement) {
	m.Serial, m.Stage, m.Supersedes = f.Serial, f.Stage, f.Supersedes
	m.Batch, m.Winder, m.Operator, m.Spool = "", "", "", ""
	if f.Batch != nil {
		m.Batch, m.Winder, m.Operator, m.Spool = f.Batch.Name, f.Batch.Winder, f.Batch.Operator, f.Batch.Spool()
	}
	if f.First != nil {
		m.Winder, m.Operator, m.Spool = f.First.Winder, f.First.Operator, f.First.Spool
	}
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
