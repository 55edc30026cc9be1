// Package compare sets a coil's record against what somebody else measured on
// it: what they should have read, whether the two agree, what explains the
// difference if anything does, and which question or test would settle it.
//
// Every explanation is a small physical model with one free parameter and a
// range it may be expected in. Models compete by their marginal likelihood, the
// probability of the readings averaged over that range (deterministic
// quadrature), times a weight for how often each cause is met; ranges and
// weights are this program's own judgement and stand in causes.go. Agreement is
// never called proof of a sound coil, and damage is never explained away.
//
// The package is pure: it knows no storage, clock, screen or network. Texts
// typed by people are read by package quantity before they come here.
package compare

import "coilkeep/internal/r20"

// Formula is the version of the comparison. It is stored with every comparison;
// it goes up whenever the same inputs would give another result.
//
// 2: a winding may be shorted from end to end, a volume control turned down all
// the way, a pair of two designs; what nothing explains may be a fault.
//
// 3: a reading told to one or two figures was rounded by who told it; the last
// digit of the meter is finer.
const Formula = 3

// Input is all that a comparison is computed from. What is zero, empty or left out
// is not known, and what is then assumed is listed in the result.
type Input struct {
	// Ours is the record of the coil.
	Ours Record `json:"ours"`
	// Mate is the record of the other coil of a two-coil assembly.
	Mate *Record `json:"mate,omitempty"`
	// Others are coils that may have been taken for this one: those of the same
	// batch, or packed on the same day. At most MaxOthers.
	Others []Record `json:"others,omitempty"`
	// Theirs are the readings of one buyer with one meter, at least one and at
	// most MaxReadings.
	Theirs []Reading `json:"theirs"`
	// Seed starts the random numbers of the Monte Carlo propagation: the same
	// seed gives the same result.
	Seed uint64 `json:"seed" openapi:"minimum=0"`
}

// How much one comparison takes.
const (
	MaxReadings = 10
	MaxOthers   = 200
)

// Record is what our own bench says of a coil.
type Record struct {
	Serial  string  `json:"serial,omitempty"` // its serial number
	R20Ohms float64 `json:"r20_ohms"`         // resistance at 20 °C, ohms
	// ExpandedUncertaintyOhms is that of R20Ohms, for 95 %. It is taken as it
	// stands, however many degrees of freedom are behind it.
	ExpandedUncertaintyOhms float64 `json:"expanded_uncertainty_ohms"`
	// Temperature coefficient at 20 °C, per kelvin; left out for that of annealed
	// copper.
	AlphaPerKelvin float64 `json:"alpha_per_kelvin,omitempty"`
	// Its standard uncertainty, per kelvin.
	AlphaStandardUncertaintyPerKelvin float64 `json:"alpha_standard_uncertainty_per_kelvin,omitempty"`
	// Turns turns a shorted fraction into a number of turns; 0 when not known.
	Turns int `json:"turns,omitempty"`
	// Measured is what R20Ohms was computed from. With it the uncertainty is
	// smallest at the temperature the coil was measured at, as it should be;
	// without it, at 20 °C.
	Measured *r20.Inputs `json:"measured,omitempty"`
}

// Clips says where they measured.
type Clips string

// The places to measure at. The empty text is not known.
const (
	Leads Clips = "leads" // on the coil's own two wires, nothing else connected
	Jack  Clips = "jack"  // at the output jack, with the controls in circuit
)

// Wiring says how the coils of an assembly were connected when they measured.
type Wiring string

// The wirings. The empty text is not known.
const (
	Single   Wiring = "single" // this coil alone
	Series   Wiring = "series"
	Parallel Wiring = "parallel"
)

// Hands says whether fingers touched the metal of both probes.
type Hands string

// The ways to hold probes. The empty text is not known.
const (
	HandsOff Hands = "off"
	HandsOn  Hands = "on"
)

// Reading is one value somebody else read, and what is known about it.
type Reading struct {
	Ohms float64 `json:"ohms"` // what they read, ohms
	// ResolutionOhms is one step of the last digit they told: 10 for 6.28k.
	ResolutionOhms float64 `json:"resolution_ohms"`
	// Beside the coil, degrees Celsius.
	TemperatureCelsius *float64 `json:"temperature_celsius,omitempty"`
	// How far the copper may be from it, kelvin either way.
	TemperatureUncertaintyKelvin *float64 `json:"temperature_uncertainty_kelvin,omitempty"`
	MeterPercent                 *float64 `json:"meter_percent,omitempty"` // limits of error of their meter, percent of the reading
	MeterDigits                  *float64 `json:"meter_digits,omitempty"`  // and steps of its last digit
	// MeterExpandedUncertaintyOhms is that of a calibrated bench (95 %), in the
	// place of percent and digits.
	MeterExpandedUncertaintyOhms *float64 `json:"meter_expanded_uncertainty_ohms,omitempty"`

	Clips       Clips    `json:"clips,omitempty"`        // where they measured
	Wiring      Wiring   `json:"wiring,omitempty"`       // of a two-coil assembly
	Hands       Hands    `json:"hands,omitempty"`        // whether fingers touched both probes
	ControlOhms *float64 `json:"control_ohms,omitempty"` // nominal value of the volume control, ohms
	// Of the volume control, percent either way.
	ControlTolerancePercent *float64 `json:"control_tolerance_percent,omitempty"`
	ControlFull             bool     `json:"control_full,omitempty"` // whether it was fully up
	// CableOhms is the resistance of leads and cable, there and back.
	CableOhms *float64 `json:"cable_ohms,omitempty"`
	// Date is when they measured, in their own words. It is kept, not computed
	// with.
	Date string `json:"date,omitempty"`
}
