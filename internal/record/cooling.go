package record

import (
	"cmp"
	"time"

	"coilkeep/internal/words"
)

// CoolingCurve is what a coil that was left on the clips showed of its cooling or
// warming.
type CoolingCurve struct {
	ID                       string    `json:"id"`                          // its id
	Time                     time.Time `json:"time"`                        // when the clips opened
	Bench                    string    `json:"bench"`                       // the bench
	Serial                   string    `json:"serial,omitempty"`            // the coil; left out when it was not known
	Design                   string    `json:"design"`                      // what it is of, in whatever revision
	TimeConstantSeconds      float64   `json:"time_constant_seconds"`       // its thermal time constant, seconds
	TimeConstantErrorSeconds float64   `json:"time_constant_error_seconds"` // standard error, seconds
	QuickShare               float64   `json:"quick_share"`                 // the part of its warmth that was in the wire alone, 0 to 1
	QuickShareError          float64   `json:"quick_share_error"`           // standard error; 0 when the curve does not tell it
	// How far it was from where it settled when the curve begins, kelvin.
	StartKelvin float64 `json:"start_kelvin"`
}

// Words says the curve in a sentence for the journal.
func (c CoolingCurve) Words() string {
	return "left on the clips it settled with a time constant of " + words.MinutesWithin(c.TimeConstantSeconds, c.TimeConstantErrorSeconds) +
		" from " + words.Fixed(c.StartKelvin, 1) + " K away"
}

// maxTimeConstantSeconds is a day, far beyond any coil.
const maxTimeConstantSeconds = 86400

// ValidateCoolingCurve says which field of a cooling curve cannot be right, as a
// *FieldError; nil when it may be stored.
func ValidateCoolingCurve(c CoolingCurve) error {
	for _, n := range []struct {
		field      string
		value      float64
		least, max float64
		unit       string
	}{
		{"time_constant_seconds", c.TimeConstantSeconds, 0.001, maxTimeConstantSeconds, " s"},
		{"time_constant_error_seconds", c.TimeConstantErrorSeconds, 1e-6, maxTimeConstantSeconds, " s"},
		{"quick_share", c.QuickShare, 0, 1, ""},
		{"quick_share_error", c.QuickShareError, 0, 1, ""},
		{"start_kelvin", c.StartKelvin, -1000, 1000, " K"},
	} {
		if !(n.value >= n.least && n.value <= n.max) {
			return Invalid(n.field, "must be %g to %g%s, not %g", n.least, n.max, n.unit, n.value)
		}
	}
	return cmp.Or(ValidateName("bench", c.Bench), ValidateName("design", c.Design), ValidateText("serial", c.Serial, 0, maxSerial))
}

// CoolingCurves describes cooling curves.
var CoolingCurves = Kind[CoolingCurve]{
	Name: "cooling_curve", One: "cooling curve", Many: "cooling curves", Table: "cooling_curves",
	Fields: []Field[CoolingCurve]{
		{Column: "id", Place: func(c *CoolingCurve) any { return &c.ID }},
		{Column: "time_us", Place: func(c *CoolingCurve) any { return &c.Time }},
		{Column: "bench", Place: func(c *CoolingCurve) any { return &c.Bench }},
		{Column: "serial", Place: func(c *CoolingCurve) any { return &c.Serial }},
		{Column: "design", Place: func(c *CoolingCurve) any { return &c.Design }},
		{Column: "time_constant_seconds", Place: func(c *CoolingCurve) any { return &c.TimeConstantSeconds }},
		{Column: "time_constant_error_seconds", Place: func(c *CoolingCurve) any { return &c.TimeConstantErrorSeconds }},
		{Column: "quick_share", Place: func(c *CoolingCurve) any { return &c.QuickShare }},
		{Column: "quick_share_error", Place: func(c *CoolingCurve) any { return &c.QuickShareError }},
		{Column: "start_kelvin", Place: func(c *CoolingCurve) any { return &c.StartKelvin }},
	},
	Check: ValidateCoolingCurve,
}
