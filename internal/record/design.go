package record

import (
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/copper"
)

// Design is one immutable revision of what a coil should be.
type Design struct {
	Name      string    `json:"name"`                         // its name
	Revision  int       `json:"revision" openapi:"minimum=1"` // counted from 1; a revision never changes
	CreatedAt time.Time `json:"created_at"`                   // when it was added

	TargetOhms float64 `json:"target_ohms"` // wanted R20, ohms
	LowerOhms  float64 `json:"lower_ohms"`  // lowest R20 allowed, ohms
	UpperOhms  float64 `json:"upper_ohms"`  // highest R20 allowed, ohms
	// The guard band is this times the expanded uncertainty; 0 is simple acceptance.
	GuardFactor float64 `json:"guard_factor" openapi:"minimum=0,maximum=1"`

	GaugeAWG int     `json:"gauge_awg,omitempty"` // wire gauge, AWG; left out when not told
	Turns    int     `json:"turns,omitempty"`     // number of turns; left out when not told
	Bobbin   *Bobbin `json:"bobbin,omitempty"`    // the winding space; left out when not told

	AlphaPerKelvin float64 `json:"alpha_per_kelvin"` // temperature coefficient of the wire at 20 °C, per kelvin
	// Its standard uncertainty, per kelvin.
	AlphaStandardUncertaintyPerKelvin float64 `json:"alpha_standard_uncertainty_per_kelvin"`
	// Thermal time constant of a finished coil, seconds; left out: the bench's.
	TimeConstantSeconds float64 `json:"time_constant_seconds,omitempty"`
	// How much it differs from coil to coil: the standard deviation of its
	// logarithm; left out until it is learned.
	TimeConstantRatio float64 `json:"time_constant_ratio,omitempty"`
	// The part of a coil's warmth that is in its wire alone, 0 to 1; left out until
	// it is learned.
	QuickShare          float64 `json:"quick_share,omitempty"`
	QuickShareDeviation float64 `json:"quick_share_deviation,omitempty"` // its standard deviation from coil to coil
	// How small the expanded uncertainty must be, percent of R20, before a coil is
	// recorded ahead of patience; left out: a certain verdict will do.
	WantedUncertaintyPercent float64 `json:"wanted_uncertainty_percent,omitempty"`
	Note                     string  `json:"note,omitempty"` // anything else
}

// Tolerance returns what a coil of this design is judged by.
func (d Design) Tolerance() conformity.Tolerance {
	return conformity.Tolerance{LowerOhms: d.LowerOhms, UpperOhms: d.UpperOhms, GuardFactor: d.GuardFactor}
}

// Bobbin is a racetrack winding space, in millimetres.
type Bobbin struct {
	StraightMM   float64 `json:"straight_mm"`    // length of a straight side, millimetres
	CoreRadiusMM float64 `json:"core_radius_mm"` // radius of the core's ends, millimetres
	BuildMM      float64 `json:"build_mm"`       // depth of the winding, millimetres
}

// ValidateDesign says which field of a design cannot be right, as a
// *FieldError; nil when it may be stored. Revision and CreatedAt are the
// history's to fill in and are not looked at.
func ValidateDesign(d Design) error {
	if err := ValidateName("name", d.Name); err != nil {
		return err
	}
	if err := ValidateNote("note", d.Note); err != nil {
		return err
	}
	if err := validBobbin(d.Bobbin); err != nil {
		return err
	}
	// A design is refused for what its measurements would be refused for.
	if err := copper.Alpha20(d.AlphaPerKelvin).Check(); err != nil {
		return Invalid("alpha_per_kelvin", "must be the coefficient of a copper wire: %v", err)
	}
	for _, c := range []struct {
		field    string
		value    float64
		min, max float64
		unit     string
	}{
		{"target_ohms", d.TargetOhms, 0.001, 1e9, " Ω"},
		{"lower_ohms", d.LowerOhms, 0.001, 1e9, " Ω"},
		{"upper_ohms", d.UpperOhms, 0.001, 1e9, " Ω"},
		{"guard_factor", d.GuardFactor, 0, 1, ""},
		{"gauge_awg", float64(d.GaugeAWG), 0, 60, ""},
		{"turns", float64(d.Turns), 0, 1e6, ""},
		{"alpha_standard_uncertainty_per_kelvin", d.AlphaStandardUncertaintyPerKelvin, 0, d.AlphaPerKelvin / 10, " /K"},
		{"time_constant_seconds", d.TimeConstantSeconds, 0, 86400, " s"},
		{"time_constant_ratio", d.TimeConstantRatio, 0, 1, ""},
		{"quick_share", d.QuickShare, 0, 1, ""},
		{"quick_share_deviation", d.QuickShareDeviation, 0, 1, ""},
		{"wanted_uncertainty_percent", d.WantedUncertaintyPercent, 0, 50, " %"},
	} {
		if !(c.value >= c.min && c.value <= c.max) {
			return Invalid(c.field, "must be %g to %g%s, not %g", c.min, c.max, c.unit, c.value)
		}
	}
	if d.LowerOhms >= d.UpperOhms {
		return Invalid("lower_ohms", "must be less than upper_ohms, but %g is not less than %g", d.LowerOhms, d.UpperOhms)
	}
	if d.TargetOhms < d.LowerOhms || d.TargetOhms > d.UpperOhms {
		return Invalid("target_ohms", "must lie within the tolerance %g to %g Ω, but is %g", d.LowerOhms, d.UpperOhms, d.TargetOhms)
	}
	return nil
}

func validBobbin(b *Bobbin) error {
	if b == nil {
		return nil
	}
	for _, c := range []struct {
		field string
		value float64
	}{
		{"bobbin.straight_mm", b.StraightMM},
		{"bobbin.core_radius_mm", b.CoreRadiusMM},
		{"bobbin.build_mm", b.BuildMM},
	} {
		if !(c.value >= 0 && c.value <= 1000) {
			return Invalid(c.field, "must be 0 to 1000 mm, not %g", c.value)
		}
	}
	return nil
}
