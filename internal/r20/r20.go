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
	ResistanceOhms        float64 `json:"resistance_ohms"`              // mean of the steady window as the meter showed it, ohms
	Readings              int     `json:"readings" openapi:"minimum=1"` // how many readings the window holds
	StandardDeviationOhms float64 `json:"standard_deviation_ohms"`      // sample standard deviation of the window, ohms
	ResolutionOhms        float64 `json:"resolution_ohms"`              // one step of the meter's last digit, ohms; 0 when unknown
	DriftOhms             float64 `json:"drift_ohms"`                   // how much the fitted line moves across the window, ohms
	// The meter's limits of error are this many percent of the reading either way.
	MeterPercent float64 `json:"meter_percent"`
	MeterOhms    float64 `json:"meter_ohms"` // and this many ohms
	// The meter's calibration correction: the true value is the reading times 1 plus
	// this.
	CorrectionRatio   float64 `json:"correction_ratio"`
	LeadOhms          float64 `json:"lead_ohms"`            // resistance of the leads, which is subtracted, ohms
	LeadHalfWidthOhms float64 `json:"lead_half_width_ohms"` // it is known within this, either way, ohms
	// What the probe showed, interpolated to the middle of the window, °C.
	TemperatureCelsius   float64 `json:"temperature_celsius"`
	ProbeHalfWidthKelvin float64 `json:"probe_half_width_kelvin"` // it is known within this, either way, kelvin
	// How much warmer than its surroundings the copper was estimated to be in the
	// middle of the window, kelvin; left out in records of the first formula.
	CopperExcessKelvin float64 `json:"copper_excess_kelvin,omitempty"`
	// Its standard uncertainty, kelvin.
	CopperExcessUncertaintyKelvin float64 `json:"copper_excess_uncertainty_kelvin,omitempty"`
	// What the estimate is drawn from, in words.
	CopperExcessOrigin string `json:"copper_excess_origin,omitempty"`
	// How far the temperature of the coil's place may lastingly be from the probe's,
	// kelvin; by the first formula, how far the copper may be from the probe,
	// whatever the reason.
	CoilDifferenceHalfWidthKelvin float64 `json:"coil_difference_half_width_kelvin"`
	AlphaPerKelvin                float64 `json:"alpha_per_kelvin"` // temperature coefficient at 20 °C, per kelvin
	// Its standard uncertainty, per kelvin.
	AlphaStandardUncertaintyPerKelvin float64 `json:"alpha_standard_uncertainty_per_kelvin"`
	// Expanded uncertainty of R20 where a record of old tells it and not what it was
	// made of, ohms; left out when it was computed. It stands for all other
	// components, so those must be 0 then, but for the coefficient's, which counts
	// away from 20 °C.
	ToldExpandedUncertaintyOhms float64 `json:"told_expanded_uncertainty_ohms,omitempty"`
	// The k told with it.
	ToldCoverageFactor float64 `json:"told_coverage_factor,omitempty"`
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
