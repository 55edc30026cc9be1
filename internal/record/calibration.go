package record

import (
	"cmp"
	"time"
)

// Calibration is what is known of an instrument from its calibration.
type Calibration struct {
	ID              string    `json:"id"`                    // its id
	Time            time.Time `json:"time"`                  // when it was calibrated
	Bench           string    `json:"bench"`                 // the bench
	Role            Role      `json:"role"`                  // which instrument of the bench
	Instrument      string    `json:"instrument"`            // its identity; empty: any
	Certificate     string    `json:"certificate,omitempty"` // number of the certificate
	DueAt           time.Time `json:"due_at,omitzero"`       // when it is due again; left out when not told
	CorrectionRatio float64   `json:"correction_ratio"`      // the true resistance is the reading times 1 plus this
	Note            string    `json:"note,omitempty"`        // anything else
	By              string    `json:"by,omitempty"`          // who calibrated it
}

// ValidateCalibration says which field of a calibration cannot be right, as a
// *FieldError; nil when it may be stored.
func ValidateCalibration(c Calibration) error {
	if c.Role != Meter && c.Role != Probe {
		return Invalid("role", "must be %q or %q, not %q", Meter, Probe, c.Role)
	}
	if !(c.CorrectionRatio >= -0.1 && c.CorrectionRatio <= 0.1) {
		return Invalid("correction_ratio", "must be a ratio from -0.1 to 0.1, such as 0.0002 for a meter that shows 0.02 %% too little, not %g",
			c.CorrectionRatio)
	}
	if !c.DueAt.IsZero() && c.DueAt.Before(c.Time) {
		return Invalid("due_at", "must not be before the calibration itself")
	}
	return cmp.Or(
		ValidateName("bench", c.Bench),
		AllValid(ValidateLabel, "instrument", c.Instrument, "certificate", c.Certificate, "by", c.By),
		ValidateNote("note", c.Note))
}

// Instrument is a meter or probe that a bench has measured with.
type Instrument struct {
	Bench    string    `json:"bench"`
	Role     Role      `json:"role"`
	Identity string    `json:"identity"`
	FirstAt  time.Time `json:"first_at"` // its first measurement at this bench
}

// Calibrations describes calibrations.
var Calibrations = Kind[Calibration]{
	Name: "calibration", One: "calibration", Many: "calibrations", Table: "calibrations",
	Fields: []Field[Calibration]{
		{Column: "id", Place: func(c *Calibration) any { return &c.ID }},
		{Column: "time_us", Place: func(c *Calibration) any { return &c.Time }},
		{Column: "bench", Place: func(c *Calibration) any { return &c.Bench }},
		{Column: "role", Place: func(c *Calibration) any { return &c.Role }},
		{Column: "instrument", Place: func(c *Calibration) any { return &c.Instrument }},
		{Column: "certificate", Place: func(c *Calibration) any { return &c.Certificate }},
		{Column: "due_us", Place: func(c *Calibration) any { return &c.DueAt }},
		{Column: "correction_ratio", Place: func(c *Calibration) any { return &c.CorrectionRatio }},
		{Column: "note", Place: func(c *Calibration) any { return &c.Note }},
		{Column: "by", Place: func(c *Calibration) any { return &c.By }},
	},
	Check: ValidateCalibration,
}
