package record

import (
	"cmp"
	"time"
)

// CheckMeasurement is one measurement of a check standard.
type CheckMeasurement struct {
	ID                 string    `json:"id"`                            // its id
	Time               time.Time `json:"time"`                          // when it was measured
	Bench              string    `json:"bench"`                         // the bench
	Standard           string    `json:"standard"`                      // name of the standard
	NominalOhms        float64   `json:"nominal_ohms"`                  // its reference value, ohms
	MeasuredOhms       float64   `json:"measured_ohms"`                 // as measured, corrected for leads and calibration, ohms
	TemperatureCelsius *float64  `json:"temperature_celsius,omitempty"` // what the probe showed; left out when it showed nothing
	Meter              string    `json:"meter"`                         // the meter
	By                 string    `json:"by,omitempty"`                  // who measured
	Note               string    `json:"note,omitempty"`                // anything else
	DeviationRatio     float64   `json:"deviation_ratio"`               // measured over reference value, minus 1
}

// ValidateCheck says which field of a check measurement cannot be right, as a
// *FieldError; nil when it may be stored.
func ValidateCheck(c CheckMeasurement) error {
	if !(c.NominalOhms > 0 && c.NominalOhms < 1e12) {
		return Invalid("nominal_ohms", "must be more than 0 Ω, not %g", c.NominalOhms)
	}
	if !(c.MeasuredOhms > 0 && c.MeasuredOhms < 1e12) {
		return Invalid("measured_ohms", "must be more than 0 Ω, not %g", c.MeasuredOhms)
	}
	if c.TemperatureCelsius != nil {
		if err := ValidateNumber("temperature_celsius", *c.TemperatureCelsius); err != nil {
			return err
		}
	}
	return cmp.Or(
		ValidateName("bench", c.Bench),
		ValidateName("standard", c.Standard),
		AllValid(ValidateLabel, "meter", c.Meter, "by", c.By),
		ValidateNote("note", c.Note))
}

// Checks describes measurements of check standards.
var Checks = Kind[CheckMeasurement]{
	Name: "check_measurement", One: "check measurement", Many: "check measurements", Table: "check_measurements",
	Fields: []Field[CheckMeasurement]{
		{Column: "id", Place: func(c *CheckMeasurement) any { return &c.ID }},
		{Column: "time_us", Place: func(c *CheckMeasurement) any { return &c.Time }},
		{Column: "bench", Place: func(c *CheckMeasurement) any { return &c.Bench }},
		{Column: "standard", Place: func(c *CheckMeasurement) any { return &c.Standard }},
		{Column: "nominal_ohms", Place: func(c *CheckMeasurement) any { return &c.NominalOhms }},
		{Column: "measured_ohms", Place: func(c *CheckMeasurement) any { return &c.MeasuredOhms }},
		{Column: "temperature_celsius", Place: func(c *CheckMeasurement) any { return &c.TemperatureCelsius }},
		{Column: "meter", Place: func(c *CheckMeasurement) any { return &c.Meter }},
		{Column: "by", Place: func(c *CheckMeasurement) any { return &c.By }},
		{Column: "note", Place: func(c *CheckMeasurement) any { return &c.Note }},
	},
	Complete: func(c *CheckMeasurement) error {
		// Not measured/nominal − 1, which ends in the rounding of a number near 1.
		c.DeviationRatio = (c.MeasuredOhms - c.NominalOhms) / c.NominalOhms
		return nil
	},
	Check: ValidateCheck,
}

// CheckFilter picks measurements of check standards; a zero field picks all.
type CheckFilter struct {
	Bench string
	// From is the earliest time, To the first one that is too late.
	From, To time.Time
	// Limit is how many at most; 0 means DefaultPage.
	Limit int
}
