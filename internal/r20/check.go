package r20

import (
	"fmt"
	"math"

	"coilkeep/internal/copper"
)

// InputError says which input cannot be true and why.
type InputError struct {
	// Field is the JSON name of the field of [Inputs], or "reference_celsius".
	Field string
	// Problem says what is wrong with it and what it must be, with its value.
	Problem string
}

func (e *InputError) Error() string { return e.Field + " " + e.Problem }

// Bounds no bench comes near: beyond them an input is a mistake, mostly one of
// unit.
const (
	maxOhms            = 1e12
	maxMeterPercent    = 50
	maxCorrectionRatio = 0.1
)

// Coverage factors of an interval of 95 %, to the digits they are written with:
// from 1.960 for infinite degrees of freedom to 12.71 for one (JCGM 100:2008,
// table G.2).
const (
	minCoverageFactor = 1.95
	maxCoverageFactor = 12.75
)

// MaxHalfWidthKelvin is the widest half-width of a temperature that is taken.
const MaxHalfWidthKelvin = 100

// check returns an *InputError for the first input that cannot be true.
func (in Inputs) check() error {
	for _, f := range []struct {
		name     string
		value    float64
		min, max float64
	}{
		{"resistance_ohms", in.ResistanceOhms, math.SmallestNonzeroFloat64, maxOhms},
		{"readings", float64(in.Readings), 1, math.MaxInt32},
		{"standard_deviation_ohms", in.StandardDeviationOhms, 0, maxOhms},
		{"resolution_ohms", in.ResolutionOhms, 0, maxOhms},
		{"drift_ohms", in.DriftOhms, -maxOhms, maxOhms},
		{"meter_percent", in.MeterPercent, 0, maxMeterPercent},
		{"meter_ohms", in.MeterOhms, 0, maxOhms},
		{"correction_ratio", in.CorrectionRatio, -maxCorrectionRatio, maxCorrectionRatio},
		{"lead_ohms", in.LeadOhms, -maxOhms, maxOhms},
		{"lead_half_width_ohms", in.LeadHalfWidthOhms, 0, maxOhms},
		{"probe_half_width_kelvin", in.ProbeHalfWidthKelvin, 0, MaxHalfWidthKelvin},
		{"copper_excess_kelvin", in.CopperExcessKelvin, -MaxHalfWidthKelvin, MaxHalfWidthKelvin},
		{"copper_excess_uncertainty_kelvin", in.CopperExcessUncertaintyKelvin, 0, MaxHalfWidthKelvin},
		{"coil_difference_half_width_kelvin", in.CoilDifferenceHalfWidthKelvin, 0, MaxHalfWidthKelvin},
	} {
		if err := checkRange(f.name, f.value, f.min, f.max); err != nil {
			return err
		}
	}
	if err := checkCelsius("temperature_celsius", in.TemperatureCelsius); err != nil {
		return err
	}
	if in.CopperExcessKelvin != 0 && in.CopperExcessUncertaintyKelvin == 0 {
		return &InputError{"copper_excess_uncertainty_kelvin", "is 0, but an estimate of the copper's excess has one: it must be above 0"}
	}
	if checkCelsius("", in.CopperCelsius()) != nil {
		return &InputError{"copper_excess_kelvin", fmt.Sprintf("is %g, which puts the copper at %g °C; it is computed from %g to %g °C",
			in.CopperExcessKelvin, in.CopperCelsius(), copper.MinCelsius, copper.MaxCelsius)}
	}
	if err := copper.Alpha20(in.AlphaPerKelvin).Check(); err != nil {
		return &InputError{"alpha_per_kelvin", fmt.Sprintf("is no coefficient of copper: %v", err)}
	}
	if err := checkRange("alpha_standard_uncertainty_per_kelvin", in.AlphaStandardUncertaintyPerKelvin, 0, in.AlphaPerKelvin/10); err != nil {
		return err
	}
	if err := in.checkTold(); err != nil {
		return err
	}
	return in.checkTogether()
}

// checkTold finds an uncertainty told in part, or besides what it is made of.
func (in Inputs) checkTold() error {
	if in.ToldExpandedUncertaintyOhms == 0 && in.ToldCoverageFactor == 0 {
		return nil
	}
	if err := checkRange("told_expanded_uncertainty_ohms", in.ToldExpandedUncertaintyOhms, math.SmallestNonzeroFloat64, maxOhms); err != nil {
		return err
	}
	if err := checkRange("told_coverage_factor", in.ToldCoverageFactor, minCoverageFactor, maxCoverageFactor); err != nil {
		return err
	}
	for _, f := range []struct {
		name  string
		value float64
	}{
		{"standard_deviation_ohms", in.StandardDeviationOhms},
		{"drift_ohms", in.DriftOhms},
		{"meter_percent", in.MeterPercent},
		{"meter_ohms", in.MeterOhms},
		{"lead_half_width_ohms", in.LeadHalfWidthOhms},
		{"probe_half_width_kelvin", in.ProbeHalfWidthKelvin},
		{"copper_excess_kelvin", in.CopperExcessKelvin},
		{"copper_excess_uncertainty_kelvin", in.CopperExcessUncertaintyKelvin},
		{"coil_difference_half_width_kelvin", in.CoilDifferenceHalfWidthKelvin},
	} {
		if f.value != 0 {
			return &InputError{f.name, fmt.Sprintf("is %g, but the uncertainty was told as a whole: it must be 0", f.value)}
		}
	}
	return nil
}

// checkTogether finds inputs that are each possible but not with one another.
func (in Inputs) checkTogether() error {
	if in.Readings == 1 && in.StandardDeviationOhms != 0 {
		return &InputError{"standard_deviation_ohms", fmt.Sprintf("is %g, but a single reading has none: it must be 0", in.StandardDeviationOhms)}
	}
	if corrected := in.CorrectedOhms(); corrected <= 0 {
		return &InputError{"lead_ohms", fmt.Sprintf("is %g, which leaves %g Ω of the measured %g Ω: the leads must be less than the whole",
			in.LeadOhms, corrected, in.ResistanceOhms)}
	}
	return nil
}

func checkRange(field string, value, least, greatest float64) error {
	if value >= least && value <= greatest {
		return nil
	}
	want := fmt.Sprintf("from %g to %g", least, greatest)
	if least == math.SmallestNonzeroFloat64 {
		want = fmt.Sprintf("above 0, up to %g", greatest)
	}
	return &InputError{field, fmt.Sprintf("is %g; it must be a number %s", value, want)}
}

func checkCelsius(field string, celsius float64) error {
	if celsius >= copper.MinCelsius && celsius <= copper.MaxCelsius {
		return nil
	}
	return &InputError{field, fmt.Sprintf("is %g; copper is computed from %g to %g °C", celsius, copper.MinCelsius, copper.MaxCelsius)}
}
