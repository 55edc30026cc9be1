package record

import (
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/copper"
)

// Design is one immutable revision of what a coil should be.
type Design struct {
	Name      string    `json:"name"`
	Revision  int       `json:"revision"` // from 1
	CreatedAt time.Time `json:"created_at"`

	TargetOhms  float64 `json:"target_ohms"`
	LowerOhms   float64 `json:"lower_ohms"`
	UpperOhms   float64 `json:"upper_ohms"`
	GuardFactor float64 `json:"guard_factor"` // 0 to 1

	// GaugeAWG, Turns and Bobbin are 0 or nil when not told.
	GaugeAWG int     `json:"gauge_awg,omitempty"`
	Turns    int     `json:"turns,omitempty"`
	Bobbin   *Bobbin `json:"bobbin,omitempty"`

	// AlphaPerKelvin belongs to 20 °C.
	AlphaPerKelvin                    float64 `json:"alpha_per_kelvin"`
	AlphaStandardUncertaintyPerKelvin float64 `json:"alpha_standard_uncertainty_per_kelvin"`
	// TimeConstantSeconds is the thermal time constant of a finished coil; 0
	// takes the bench's.
	TimeConstantSeconds float64 `json:"time_constant_seconds,omitempty"`
	// TimeConstantRatio is the standard deviation of the logarithm of the time
	// constant, from coil to coil; QuickShare ± QuickShareDeviation is the part
	// of a coil's warmth that is in its wire alone. All are 0 until learned from
	// coils left on.
	TimeConstantRatio   float64 `json:"time_constant_ratio,omitempty"`
	QuickShare          float64 `json:"quick_share,omitempty"`
	QuickShareDeviation float64 `json:"quick_share_deviation,omitempty"`
	// WantedUncertaintyPercent is how small U must be, in percent of R20, before
	// a coil is recorded ahead of patience; 0 asks for no more than a certain
	// verdict.
	WantedUncertaintyPercent float64 `json:"wanted_uncertainty_percent,omitempty"`
	Note                     string  `json:"note,omitempty"`
}

// Tolerance returns what a coil of this design is judged by.
func (d Design) Tolerance() conformity.Tolerance {
	return conformity.Tolerance{LowerOhms: d.LowerOhms, UpperOhms: d.UpperOhms, GuardFactor: d.GuardFactor}
}

// Bobbin is a racetrack winding space, in millimetres.
type Bobbin struct {
	StraightMM   float64 `json:"straight_mm"`
	CoreRadiusMM float64 `json:"core_radius_mm"`
	BuildMM      float64 `json:"build_mm"`
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
