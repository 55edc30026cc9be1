package record

import (
	"cmp"
	"time"
)

// LeadZero is what a bench's leads were measured to add, with the clips
// shorted.
type LeadZero struct {
	ID            string    `json:"id"`              // its id
	Time          time.Time `json:"time"`            // when it was measured
	Bench         string    `json:"bench"`           // the bench
	Meter         string    `json:"meter"`           // the meter it was measured with
	Ohms          float64   `json:"ohms"`            // resistance of the leads, ohms
	HalfWidthOhms float64   `json:"half_width_ohms"` // it is known within this, either way, ohms
	Readings      int       `json:"readings"`        // how many readings it is the mean of
	By            string    `json:"by,omitempty"`    // who measured
}

// MaxLeadOhms is the most that leads may add. Two leads of a bench meter add
// 0.2 to 0.5 Ω (common practice, no source); ten times that is no lead but a
// broken clip.
const MaxLeadOhms = 5.0

// ValidateLeadZero says which field of a lead zero cannot be right, as a
// *FieldError; nil when it may be stored.
func ValidateLeadZero(z LeadZero) error {
	if !(z.Ohms >= -MaxLeadOhms && z.Ohms <= MaxLeadOhms) {
		return Invalid("ohms", "must be from -%g to %g Ω, not %g", MaxLeadOhms, MaxLeadOhms, z.Ohms)
	}
	if !(z.HalfWidthOhms >= 0 && z.HalfWidthOhms <= MaxLeadOhms) {
		return Invalid("half_width_ohms", "must be from 0 to %g Ω, not %g", MaxLeadOhms, z.HalfWidthOhms)
	}
	if z.Readings < 1 {
		return Invalid("readings", "must be at least 1, not %d", z.Readings)
	}
	return cmp.Or(ValidateName("bench", z.Bench), AllValid(ValidateLabel, "meter", z.Meter, "by", z.By))
}

// LeadZeros describes lead zeros.
var LeadZeros = Kind[LeadZero]{
	Name: "lead_zero", One: "lead zero", Many: "lead zeros", Table: "lead_zeros",
	Fields: []Field[LeadZero]{
		{Column: "id", Place: func(z *LeadZero) any { return &z.ID }},
		{Column: "time_us", Place: func(z *LeadZero) any { return &z.Time }},
		{Column: "bench", Place: func(z *LeadZero) any { return &z.Bench }},
		{Column: "meter", Place: func(z *LeadZero) any { return &z.Meter }},
		{Column: "ohms", Place: func(z *LeadZero) any { return &z.Ohms }},
		{Column: "half_width_ohms", Place: func(z *LeadZero) any { return &z.HalfWidthOhms }},
		{Column: "readings", Place: func(z *LeadZero) any { return &z.Readings }},
		{Column: "by", Place: func(z *LeadZero) any { return &z.By }},
	},
	Check: ValidateLeadZero,
}
