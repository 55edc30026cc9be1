// Package r20 refers one measured resistance to 20 °C and says how well it is
// known. It is the one place where readings, instrument accuracy, lead zero,
// temperature and the conductor come together; capture, the normalize command
// and the verification of a history all call it, so they cannot disagree.
package r20

import "coilkeep/internal/uncertainty"

// Formula is the version of the evaluation below. It is stored with every
// measurement; it goes up whenever the same inputs would give another result, or
// there are inputs that an older one did not know.
//
//	1  the copper is at the probe's temperature, within a bound
//	2  the copper's temperature is estimated
const Formula = 2

// Knows is true for a version whose results are computed here as on the day:
// inputs of the first know of no estimate, and are evaluated as if it were
// nothing.
func Knows(formula int) bool { return formula == 1 || formula == Formula }

// Inputs is everything a result depends on. All of it is stored with a
// measurement, so that the result can be computed again.
type Inputs struct {
	// ResistanceOhms is the mean of the steady window as the meter showed it.
	ResistanceOhms float64 `json:"resistance_ohms"`
	// Readings is how many readings that mean is made of; at least 1.
	Readings int `json:"readings"`
	// StandardDeviationOhms is the sample standard deviation of the window.
	StandardDeviationOhms float64 `json:"standard_deviation_ohms"`
	// ResolutionOhms is one step of the meter's last digit; 0 when unknown.
	ResolutionOhms float64 `json:"resolution_ohms"`
	// DriftOhms is how much the fitted line moves across the window.
	DriftOhms float64 `json:"drift_ohms"`
	// MeterPercent and MeterOhms are the meter's limits of error,
	// ±(MeterPercent % of the reading + MeterOhms).
	MeterPercent float64 `json:"meter_percent"`
	MeterOhms    float64 `json:"meter_ohms"`
	// CorrectionRatio is the meter's calibration correction: the true value is
	// the reading times (1 + CorrectionRatio).
	CorrectionRatio float64 `json:"correction_ratio"`
	// LeadOhms is the resistance of the leads, subtracted; known within
	// ±LeadHalfWidthOhms.
	LeadOhms          float64 `json:"lead_ohms"`
	LeadHalfWidthOhms float64 `json:"lead_half_width_ohms"`
	// TemperatureCelsius is what the probe showed, interpolated to the middle
	// of the window, within ±ProbeHalfWidthKelvin.
	TemperatureCelsius   float64 `json:"temperature_celsius"`
	ProbeHalfWidthKelvin float64 `json:"probe_half_width_kelvin"`
	// CopperExcessKelvin is the estimate of how much warmer the copper was than
	// its surroundings in the middle of the window, CopperExcessUncertaintyKelvin
	// its standard uncertainty, and CopperExcessOrigin says in words what it is
	// drawn from. All are zero in records of the first formula.
	CopperExcessKelvin            float64 `json:"copper_excess_kelvin,omitempty"`
	CopperExcessUncertaintyKelvin float64 `json:"copper_excess_uncertainty_kelvin,omitempty"`
	CopperExcessOrigin            string  `json:"copper_excess_origin,omitempty"`
	// CoilDifferenceHalfWidthKelvin bounds how far the temperature of the coil's
	// place may lastingly be from the probe's; by the first formula, how far the
	// copper may be from the probe, whatever the reason.
	CoilDifferenceHalfWidthKelvin float64 `json:"coil_difference_half_width_kelvin"`
	// AlphaPerKelvin is the temperature coefficient at 20 °C and
	// AlphaStandardUncertaintyPerKelvin its standard uncertainty.
	AlphaPerKelvin                    float64 `json:"alpha_per_kelvin"`
	AlphaStandardUncertaintyPerKelvin float64 `json:"alpha_standard_uncertainty_per_kelvin"`
	// ToldExpandedUncertaintyOhms is the expanded uncertainty of R20, and
	// ToldCoverageFactor its k, where a record of old tells them and not what
	// they were made of; both are 0 otherwise. They stand for all other
	// components, so those must be 0 then, but for the coefficient's, which
	// counts away from 20 °C.
	ToldExpandedUncertaintyOhms float64 `json:"told_expanded_uncertainty_ohms,omitempty"`
	ToldCoverageFactor          float64 `json:"told_coverage_factor,omitempty"`
}

// Result is a resistance at 20 °C with its uncertainty.
type Result struct {
	R20Ohms                   float64 `json:"r20_ohms"`
	StandardUncertaintyOhms   float64 `json:"standard_uncertainty_ohms"`
	EffectiveDegreesOfFreedom float64 `json:"effective_degrees_of_freedom"`
	CoverageFactor            float64 `json:"coverage_factor"`
	ExpandedUncertaintyOhms   float64 `json:"expanded_uncertainty_ohms"`
	// Budget lists every component, the largest first.
	Budget []uncertainty.Component `json:"budget"`
}
