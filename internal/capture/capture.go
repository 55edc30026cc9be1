// Package capture turns a stream of readings into one measurement for one
// coil: it finds the moment a coil is clipped on, waits until hands are off
// and the reading is steady, pairs resistance with temperature, estimates how far
// the copper is from the probe, and records once. Everything doubtful is refused
// with a reason.
//
// It is pure. Readings carry their own times, the same readings always give
// the same measurements, and a stored capture can be replayed (see [Replay]).
// Ports, clocks and the history belong to others.
package capture

import (
	"time"

	"coilkeep/driver"
	"coilkeep/internal/conformity"
	"coilkeep/internal/r20"
	"coilkeep/internal/warmth"
)

// Settings is everything a capture's result depends on besides its readings.
// It is stored with each measurement. Durations are nanoseconds in JSON.
type Settings struct {
	// MinOhms and MaxOhms bound what counts as a coil on the clips.
	MinOhms float64 `json:"min_ohms"`
	MaxOhms float64 `json:"max_ohms"`
	// HandsOff is how long after contact readings are not used: fingers across
	// the clips make a steady plateau a few percent low (common practice, no
	// source).
	HandsOff time.Duration `json:"hands_off_ns"`
	// Bounce is the longest opening of the clips that is still the same coil.
	Bounce time.Duration `json:"bounce_ns"`
	// MaxGap is the longest time without a meter reading within one window.
	MaxGap time.Duration `json:"max_gap_ns"`
	// Readings and Window say how much a steady window must hold at least.
	Readings int           `json:"readings"`
	Window   time.Duration `json:"window_ns"`
	// FewestReadings is how many will do for a meter so slow that Readings take
	// longer than twice the Window; 0 means that all must come.
	FewestReadings int `json:"fewest_readings,omitempty"`
	// SpreadPercent is how far a steady window may spread, in percent of the
	// reading, where the display's steps and the meter's accuracy do not allow
	// more; 0 means 0.05, enough for a meter that hardly scatters.
	SpreadPercent float64 `json:"spread_percent,omitempty"`
	// SlopePercentPerMinute is the fastest drift that is not called warming or
	// cooling.
	SlopePercentPerMinute float64 `json:"slope_percent_per_minute"`
	// Patience is how long an undecided coil is given, from hands off.
	Patience time.Duration `json:"patience_ns"`
	// Arrive says how coils come to this bench; empty when nobody said.
	Arrive warmth.Arrival `json:"coils_arrive,omitempty"`
	// TimeConstant is the thermal time constant of a finished coil, as told or
	// learned. TimeConstantRatio is the standard deviation of its logarithm, and
	// QuickShare ± QuickShareDeviation the share of the excess that is in the
	// wire alone; all three are 0 until they are learned.
	TimeConstant        time.Duration `json:"time_constant_ns"`
	TimeConstantRatio   float64       `json:"time_constant_ratio,omitempty"`
	QuickShare          float64       `json:"quick_share,omitempty"`
	QuickShareDeviation float64       `json:"quick_share_deviation,omitempty"`
	// SoakedSince is when this coil was put beside the probe; zero when nobody
	// said.
	SoakedSince time.Time `json:"soaked_since,omitzero"`

	MeterPercent      float64 `json:"meter_percent"`
	MeterOhms         float64 `json:"meter_ohms"`
	CorrectionRatio   float64 `json:"correction_ratio"`
	LeadOhms          float64 `json:"lead_ohms"`
	LeadHalfWidthOhms float64 `json:"lead_half_width_ohms"`

	ProbeHalfWidthKelvin float64 `json:"probe_half_width_kelvin"`
	// CoilDifferenceKelvin is how far the temperature of the coil's place may
	// lastingly be from the probe's.
	CoilDifferenceKelvin float64       `json:"coil_difference_kelvin"`
	MaxAge               time.Duration `json:"max_age_ns"`

	// MeterCalibrationID and ProbeCalibrationID say which calibrations the
	// corrections are from; empty when there is none. Nothing is computed from them,
	// and a record keeps them beside its settings.
	MeterCalibrationID string `json:"-"`
	ProbeCalibrationID string `json:"-"`

	AlphaPerKelvin                    float64 `json:"alpha_per_kelvin"`
	AlphaStandardUncertaintyPerKelvin float64 `json:"alpha_standard_uncertainty_per_kelvin"`
	// Tolerance is nil when the coil has no design to be judged by.
	Tolerance *conformity.Tolerance `json:"tolerance"`
	// WantedUncertaintyPercent is how small U must be, in percent of R20, before
	// a coil is recorded ahead of patience; 0 means that a certain verdict will
	// do, and 0.5 without a tolerance.
	WantedUncertaintyPercent float64 `json:"wanted_uncertainty_percent,omitempty"`

	// Typed is true when the meter's values are typed in by a person: each is
	// a measurement of its own.
	Typed bool `json:"typed"`
}

// wantedConfidence is the probability at which a verdict counts as decided.
const wantedConfidence = 0.95

// ordinaryUncertaintyPercent is the U that is good enough where nothing else was
// asked for.
const ordinaryUncertaintyPercent = 0.5

// State says what the capture is doing. Its text is stored, sent to pages and
// used as a metric label.
type State string

const (
	Offline       State = "offline"        // no meter
	Open          State = "open"           // nothing on the clips
	Contact       State = "contact"        // just clipped on, hands may be on it
	Settling      State = "settling"       // filling the window
	Steady        State = "steady"         // steady, gaining certainty
	NoTemperature State = "no-temperature" // steady, but no temperature to refer it by
	Warming       State = "warming"        // the coil is colder than the probe
	Cooling       State = "cooling"        // the coil is warmer than the probe
	Refused       State = "refused"        // cannot be measured as it is, see the reason
	Waiting       State = "waiting"        // ready, but a person must say something first
	Asking        State = "asking"         // unclear whether this is the same coil
	Unsaved       State = "unsaved"        // measured, not on the disk yet
	Recorded      State = "recorded"       // done; waiting for the clips to come off
)

// States lists every state, for metrics and documentation.
func States() []State {
	return []State{Offline, Open, Contact, Settling, Steady, NoTemperature, Warming,
		Cooling, Refused, Waiting, Asking, Unsaved, Recorded}
}

// Refusal says why a contact ended without a measurement. It is a metric
// label.
type Refusal string

const (
	TooShort      Refusal = "too-short"      // the clips came off before it was steady
	Undecided     Refusal = "undecided"      // the clips came off before the verdict was certain
	Unsteady      Refusal = "unsteady"       // the readings scattered or jumped
	Drifting      Refusal = "drifting"       // the coil was warming or cooling
	Temperature   Refusal = "no-temperature" // missing, old or impossible temperature
	BelowRange    Refusal = "below-range"    // less than the contact range allows
	OnHold        Refusal = "on-hold"        // no batch, no serial, or something unsaved
	MeterLost     Refusal = "meter-lost"     // the meter went away
	SameCoilDoubt Refusal = "same-coil"      // could not tell whether the coil was changed
)

// Refusals lists every refusal, for metrics and documentation.
func Refusals() []Refusal {
	return []Refusal{TooShort, Undecided, Unsteady, Drifting, Temperature, BelowRange, OnHold,
		MeterLost, SameCoilDoubt}
}

// Manner says how a measurement came about.
type Manner string

const (
	ByRule   Manner = "recorded"
	ByForce  Manner = "forced"
	ByTyping Manner = "manual"
)

// Entry is one reading kept as evidence of a measurement.
type Entry struct {
	driver.Reading
	// FromProbe is true for a temperature.
	FromProbe bool
	// InWindow is true for the resistances of the steady window, Outlier for
	// those of them that were left out of the mean.
	InWindow, Outlier bool
}

// Result is one finished measurement.
type Result struct {
	// Time is that of the last reading of the window, Contact that of the
	// first reading after the coil was clipped on.
	Time, Contact time.Time
	Inputs        r20.Inputs
	R20           r20.Result
	// Judgement is nil when there is no tolerance.
	Judgement *conformity.Judgement
	Manner    Manner
	// Reason is what the person who forced it said.
	Reason string
	// Copper is what the readings say of the copper's temperature.
	Copper warmth.Estimate
	// AtRemoval is true when it was taken from the last good window after the
	// clips came off.
	AtRemoval bool
	// Improves is true for a better result of a coil that stayed on after it was
	// recorded: it takes the place of the first of this contact.
	Improves bool
	// Outliers is how many readings of the window were left out.
	Outliers int
	// HeldUntil is when the last hold was lifted; zero when there was none.
	HeldUntil time.Time
	Settings  Settings
	// Readings holds the approach, the window and the temperatures, by time.
	Readings []Entry
}

// Ended tells that the clips came off, or the meter went away.
type Ended struct {
	// Measured is true when this contact gave a measurement; otherwise Refusal
	// says why not. A brief touch gives neither.
	Measured bool
	Refusal  Refusal
	// Words says the refusal in a sentence; empty when measured.
	Words string
	// TimeConstant is what a coil left on long enough showed of itself; nil
	// mostly.
	TimeConstant *TimeConstantEstimate
}

// Outcome is what one input led to. Any part may be nil.
type Outcome struct {
	Result *Result
	Ended  *Ended
}

// View is how a capture stands, for people.
type View struct {
	State State
	// Words is one short sentence: what is going on and what to do.
	Words string
	Since time.Time
	// Have of Want readings are in the window while it fills.
	Have, Want int
	// ResistanceOhms is the latest usable reading; nil when there is none.
	ResistanceOhms *float64
	// TemperatureCelsius is the latest usable temperature; nil when there is
	// none, or it is too old.
	TemperatureCelsius *float64
	// R20 belongs to the present window; nil when it cannot be had.
	R20       *r20.Result
	Judgement *conformity.Judgement
	// Copper is how much warmer the copper is than the probe, as far as the
	// readings tell; nil until they do.
	Copper *warmth.Estimate
	// AheadPercent is what U will be in [Ahead], in percent of R20, if the coil
	// stays on; nil while there is no R20.
	AheadPercent *float64
}
