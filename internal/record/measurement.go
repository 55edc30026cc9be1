package record

import (
	"cmp"
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"strings"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/r20"
	"coilkeep/internal/uncertainty"
)

// Status says how a measurement stands today.
type Status string

const (
	Recorded   Status = "recorded"   // captured by the rules
	Forced     Status = "forced"     // recorded because a person insisted
	Manual     Status = "manual"     // typed in
	Void       Status = "void"       // withdrawn, with a reason
	Superseded Status = "superseded" // replaced by a later one, with a reason
)

// MeasuredLonger is the reason of a measurement that takes the place of the first
// one of the same contact, because the coil stayed on the clips. The two are one
// coil measured once.
const MeasuredLonger = "measured longer on the same contact"

// Measurement is the result for one coil at one time.
//
// The JSON names are contract, in this order.
type Measurement struct {
	ID    string    `json:"id"`    // globally unique, in order of time
	Time  time.Time `json:"time"`  // end of the steady window, in whole microseconds
	Bench string    `json:"bench"` // where
	Batch string    `json:"batch"` // empty when there was none
	// Number of the coil in its batch; 0 without one.
	Sequence int    `json:"sequence" openapi:"minimum=0"`
	Design   string `json:"design"` // empty when there was none
	// 0 without a design.
	DesignRevision int     `json:"design_revision" openapi:"minimum=0"`
	Serial         string  `json:"serial"`          // the coil
	ResistanceOhms float64 `json:"resistance_ohms"` // as the meter showed it, ohms
	// As the probe showed it, °C.
	TemperatureCelsius float64 `json:"temperature_celsius"`
	R20Ohms            float64 `json:"r20_ohms"` // resistance referred to 20 °C, ohms
	// Expanded uncertainty of R20 for 95 %, ohms.
	ExpandedUncertaintyOhms float64            `json:"expanded_uncertainty_ohms"`
	CoverageFactor          float64            `json:"coverage_factor"` // k of that uncertainty
	Verdict                 conformity.Verdict `json:"verdict"`         // the judgement of R20 against the tolerance
	// Probability that the true R20 is within tolerance.
	ConformityProbability float64 `json:"conformity_probability" openapi:"minimum=0,maximum=1"`
	Status                Status  `json:"status"` // how it stands today
	// Why it was forced, voided or superseded; where an imported value came from.
	Reason   string `json:"reason"`
	Spool    string `json:"spool"`    // the wire spool
	Winder   string `json:"winder"`   // the winding machine
	Operator string `json:"operator"` // the person
	// The meter, by the identity it gave, or its driver and port.
	Meter          string  `json:"meter"`
	Probe          string  `json:"probe"`            // the probe, likewise
	Stage          string  `json:"stage"`            // where in its life the coil was: wound, potted, assembled
	AlphaPerKelvin float64 `json:"alpha_per_kelvin"` // temperature coefficient used, per kelvin

	// Version of the evaluation.
	Formula   int                     `json:"formula" openapi:"minimum=1"`
	Inputs    r20.Inputs              `json:"inputs"`           // what the result was computed from
	Tolerance conformity.Tolerance    `json:"tolerance"`        // what it is judged by
	Budget    []uncertainty.Component `json:"budget,omitempty"` // the largest component first; left out in lists
	// The capture's settings, enough to replay the readings; left out in lists.
	Settings json.RawMessage `json:"settings,omitempty"`
	// The capture's state before its first reading; left out in lists.
	Context json.RawMessage `json:"context,omitempty"`
	// What a reader of this number should know: outliers left out, how warm the coil
	// was.
	Notes      []string `json:"notes,omitempty"`
	Supersedes string   `json:"supersedes,omitempty"` // id of the measurement this one replaces
	// Id of the calibration of the meter that was applied; empty when there was none,
	// missing where that was not kept.
	MeterCalibrationID *string `json:"meter_calibration_id,omitempty"`
	// Id of the calibration of the probe that was in force; empty when there was none,
	// missing where that was not kept.
	ProbeCalibrationID *string `json:"probe_calibration_id,omitempty"`
	CaptureSeconds     float64 `json:"capture_seconds"` // from contact to the last reading of the window, seconds
}

// Stands is true for a measurement that counts: neither void nor superseded.
func (m Measurement) Stands() bool { return m.Status != Void && m.Status != Superseded }

// ValidateMeasurement says which field of a measurement cannot be right, as a
// *FieldError; nil when it may be stored. Whether the result follows from the
// readings is not looked at.
func ValidateMeasurement(m Measurement) error {
	return cmp.Or(
		ValidateName("id", m.ID),
		ValidateName("bench", m.Bench),
		ValidateName("design", m.Design),
		ValidateSerial(m.Serial),
		ValidateText("batch", m.Batch, 0, MaxName),
		AllValid(ValidateLabel, "spool", m.Spool, "winder", m.Winder, "operator", m.Operator,
			"meter", m.Meter, "probe", m.Probe, "supersedes", m.Supersedes,
			"meter_calibration_id", told(m.MeterCalibrationID), "probe_calibration_id", told(m.ProbeCalibrationID)),
		ValidateNote("reason", m.Reason),
		validWords(m),
		validResult(m),
		InputsAgree(m, m.Inputs))
}

// told is a text that may be missing.
func told(text *string) string {
	if text == nil {
		return ""
	}
	return *text
}

func validWords(m Measurement) error {
	for _, c := range []struct {
		field, word string
		known       []string
	}{
		{"stage", m.Stage, Stages},
		{"status", string(m.Status), []string{string(Recorded), string(Forced), string(Manual)}},
		{"verdict", string(m.Verdict), []string{string(conformity.In), string(conformity.High), string(conformity.Low),
			string(conformity.Undecided)}},
	} {
		if !slices.Contains(c.known, c.word) {
			return Invalid(c.field, "must be one of %s, not %q", strings.Join(c.known, ", "), c.word)
		}
	}
	if m.Status == Forced && m.Reason == "" {
		return Invalid("reason", "must say why the measurement was forced")
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
			return Invalid(c.field, "must be a finite number of at least %g, not %g", c.least, c.value)
		}
	}
	if m.ConformityProbability > 1 {
		return Invalid("conformity_probability", "must be at most 1, not %g", m.ConformityProbability)
	}
	inputs := reflect.ValueOf(m.Inputs)
	for i := range inputs.NumField() {
		if inputs.Field(i).Kind() != reflect.Float64 {
			continue
		}
		name := "inputs." + inputs.Type().Field(i).Tag.Get("json")
		if err := ValidateNumber(name, inputs.Field(i).Float()); err != nil {
			return err
		}
	}
	return nil
}

// InputsAgree refuses a measurement that says one number in two ways.
func InputsAgree(m Measurement, in r20.Inputs) error {
	for _, c := range []struct {
		field             string
		shown, calculated float64
	}{
		{"resistance_ohms", m.ResistanceOhms, in.ResistanceOhms},
		{"temperature_celsius", m.TemperatureCelsius, in.TemperatureCelsius},
		{"alpha_per_kelvin", m.AlphaPerKelvin, in.AlphaPerKelvin},
	} {
		if c.shown != c.calculated {
			return Invalid(c.field, "must be what the result was computed from, but is %g against %g", c.shown, c.calculated)
		}
	}
	return nil
}

// UseFilter picks what an instrument has measured.
type UseFilter struct {
	// Bench, Role and Identity name the instrument, as in Instrument.
	Bench    string
	Role     Role
	Identity string
	// From is the earliest time, To the first one that is too late; zero is no
	// bound.
	From, To time.Time
}

// Measurements describes measurements, without what only a single one is shown
// with: budget, settings, context and readings.
var Measurements = Kind[Measurement]{
	Name: "measurement", One: "measurement", Many: "measurements", Table: "measurements",
	Fields: []Field[Measurement]{
		{Column: "id", Place: func(m *Measurement) any { return &m.ID }},
		{Column: "time_us", Place: func(m *Measurement) any { return &m.Time }},
		{Column: "bench", Place: func(m *Measurement) any { return &m.Bench }},
		{Column: "batch", Place: func(m *Measurement) any { return &m.Batch }, EmptyIsNull: true},
		{Column: "sequence", Place: func(m *Measurement) any { return &m.Sequence }},
		{Column: "design", Place: func(m *Measurement) any { return &m.Design }},
		{Column: "design_revision", Place: func(m *Measurement) any { return &m.DesignRevision }},
		{Column: "serial", Place: func(m *Measurement) any { return &m.Serial }},
		{Column: "resistance_ohms", Place: func(m *Measurement) any { return &m.ResistanceOhms }},
		{Column: "temperature_celsius", Place: func(m *Measurement) any { return &m.TemperatureCelsius }},
		{Column: "r20_ohms", Place: func(m *Measurement) any { return &m.R20Ohms }},
		{Column: "expanded_uncertainty_ohms", Place: func(m *Measurement) any { return &m.ExpandedUncertaintyOhms }},
		{Column: "coverage_factor", Place: func(m *Measurement) any { return &m.CoverageFactor }},
		{Column: "verdict", Place: func(m *Measurement) any { return &m.Verdict }},
		{Column: "conformity_probability", Place: func(m *Measurement) any { return &m.ConformityProbability }},
		{Column: "status", Place: func(m *Measurement) any { return &m.Status }},
		{Column: "reason", Place: func(m *Measurement) any { return &m.Reason }},
		{Column: "spool", Place: func(m *Measurement) any { return &m.Spool }},
		{Column: "winder", Place: func(m *Measurement) any { return &m.Winder }},
		{Column: "operator", Place: func(m *Measurement) any { return &m.Operator }},
		{Column: "meter", Place: func(m *Measurement) any { return &m.Meter }},
		{Column: "probe", Place: func(m *Measurement) any { return &m.Probe }},
		{Column: "stage", Place: func(m *Measurement) any { return &m.Stage }},
		{Column: "alpha_per_kelvin", Place: func(m *Measurement) any { return &m.AlphaPerKelvin }},
		{Column: "formula", Place: func(m *Measurement) any { return &m.Formula }},
		{Column: "readings", Place: func(m *Measurement) any { return &m.Inputs.Readings }},
		{Column: "standard_deviation_ohms", Place: func(m *Measurement) any { return &m.Inputs.StandardDeviationOhms }},
		{Column: "resolution_ohms", Place: func(m *Measurement) any { return &m.Inputs.ResolutionOhms }},
		{Column: "drift_ohms", Place: func(m *Measurement) any { return &m.Inputs.DriftOhms }},
		{Column: "meter_percent", Place: func(m *Measurement) any { return &m.Inputs.MeterPercent }},
		{Column: "meter_ohms", Place: func(m *Measurement) any { return &m.Inputs.MeterOhms }},
		{Column: "correction_ratio", Place: func(m *Measurement) any { return &m.Inputs.CorrectionRatio }},
		{Column: "lead_ohms", Place: func(m *Measurement) any { return &m.Inputs.LeadOhms }},
		{Column: "lead_half_width_ohms", Place: func(m *Measurement) any { return &m.Inputs.LeadHalfWidthOhms }},
		{Column: "probe_half_width_kelvin", Place: func(m *Measurement) any { return &m.Inputs.ProbeHalfWidthKelvin }},
		{Column: "coil_difference_half_width_kelvin", Place: func(m *Measurement) any { return &m.Inputs.CoilDifferenceHalfWidthKelvin }},
		{Column: "alpha_standard_uncertainty_per_kelvin", Place: func(m *Measurement) any { return &m.Inputs.AlphaStandardUncertaintyPerKelvin }},
		{Column: "lower_ohms", Place: func(m *Measurement) any { return &m.Tolerance.LowerOhms }},
		{Column: "upper_ohms", Place: func(m *Measurement) any { return &m.Tolerance.UpperOhms }},
		{Column: "guard_factor", Place: func(m *Measurement) any { return &m.Tolerance.GuardFactor }},
		{Column: "notes", Place: func(m *Measurement) any { return &m.Notes }},
		{Column: "supersedes", Place: func(m *Measurement) any { return &m.Supersedes }},
		{Column: "capture_seconds", Place: func(m *Measurement) any { return &m.CaptureSeconds }},
		{Column: "told_expanded_uncertainty_ohms", Place: func(m *Measurement) any { return &m.Inputs.ToldExpandedUncertaintyOhms }},
		{Column: "told_coverage_factor", Place: func(m *Measurement) any { return &m.Inputs.ToldCoverageFactor }},
		{Column: "copper_excess_kelvin", Place: func(m *Measurement) any { return &m.Inputs.CopperExcessKelvin }},
		{Column: "copper_excess_uncertainty_kelvin", Place: func(m *Measurement) any { return &m.Inputs.CopperExcessUncertaintyKelvin }},
		{Column: "copper_excess_origin", Place: func(m *Measurement) any { return &m.Inputs.CopperExcessOrigin }},
		{Column: "meter_calibration_id", Place: func(m *Measurement) any { return &m.MeterCalibrationID }},
		{Column: "probe_calibration_id", Place: func(m *Measurement) any { return &m.ProbeCalibrationID }},
	},
	// Kept once; InputsAgree has seen that both are the same.
	Complete: func(m *Measurement) error {
		m.Inputs.ResistanceOhms, m.Inputs.TemperatureCelsius, m.Inputs.AlphaPerKelvin = m.ResistanceOhms, m.TemperatureCelsius, m.AlphaPerKelvin
		return nil
	},
	Check: ValidateMeasurement,
}
