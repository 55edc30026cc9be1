// Package history keeps every record in one SQLite file: designs, batches,
// coils, measurements and the readings behind them. Records are only ever
// added. A measurement is acknowledged when it is on the disk, not before.
package history

import (
	"encoding/json"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/r20"
	"coilkeep/internal/uncertainty"
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

// Batch is a run of coils of one design on one winder.
type Batch struct {
	Name           string     `json:"batch"`
	Bench          string     `json:"bench"`
	Design         string     `json:"design"`
	DesignRevision int        `json:"design_revision"`
	Winder         string     `json:"winder,omitempty"`
	Operator       string     `json:"operator,omitempty"`
	OpenedAt       time.Time  `json:"opened_at"`
	ClosedAt       *time.Time `json:"closed_at,omitempty"`
	// Spools lists the spool the batch began with and every change, in order.
	Spools []SpoolMark `json:"spools"`
	// LastSequence is the number of the last coil measured; 0 before the first.
	LastSequence int `json:"last_sequence"`
}

// Spool is the spool in use; empty when none was told.
func (b Batch) Spool() string {
	if len(b.Spools) == 0 {
		return ""
	}
	return b.Spools[len(b.Spools)-1].Spool
}

// SpoolMark says from which coil of a batch on a spool was in use.
type SpoolMark struct {
	FromSequence int       `json:"from_sequence"`
	Spool        string    `json:"spool"`
	At           time.Time `json:"at"`
}

// Status says how a measurement stands today.
type Status string

const (
	Recorded   Status = "recorded"   // captured by the rules
	Forced     Status = "forced"     // recorded because a person insisted
	Manual     Status = "manual"     // typed in
	Void       Status = "void"       // withdrawn, with a reason
	Superseded Status = "superseded" // replaced by a later one, with a reason
)

// MeasuredLonger is the reason of a measurement that takes the place of the first
// one of the same contact, because the coil stayed on the clips. The two are one
// coil measured once.
const MeasuredLonger = "measured longer on the same contact"

// Measurement is the result for one coil at one time. The JSON names are
// contract, in this order.
type Measurement struct {
	ID                      string             `json:"id"`
	Time                    time.Time          `json:"time"` // end of the steady window, UTC, whole microseconds
	Bench                   string             `json:"bench"`
	Batch                   string             `json:"batch"`
	Sequence                int                `json:"sequence"`
	Design                  string             `json:"design"`
	DesignRevision          int                `json:"design_revision"`
	Serial                  string             `json:"serial"`
	ResistanceOhms          float64            `json:"resistance_ohms"` // as the meter showed it
	TemperatureCelsius      float64            `json:"temperature_celsius"`
	R20Ohms                 float64            `json:"r20_ohms"`
	ExpandedUncertaintyOhms float64            `json:"expanded_uncertainty_ohms"`
	CoverageFactor          float64            `json:"coverage_factor"`
	Verdict                 conformity.Verdict `json:"verdict"`
	ConformityProbability   float64            `json:"conformity_probability"`
	Status                  Status             `json:"status"`
	Reason                  string             `json:"reason"` // why forced, void or superseded; where a value came from that was imported
	Spool                   string             `json:"spool"`
	Winder                  string             `json:"winder"`
	Operator                string             `json:"operator"`
	Meter                   string             `json:"meter"` // identity as the instrument gave it, or its driver and port
	Probe                   string             `json:"probe"`
	Stage                   string             `json:"stage"` // wound, potted, assembled
	AlphaPerKelvin          float64            `json:"alpha_per_kelvin"`

	// What the result was computed from and by.
	Formula   int                     `json:"formula"`
	Inputs    r20.Inputs              `json:"inputs"`
	Tolerance conformity.Tolerance    `json:"tolerance"`
	Budget    []uncertainty.Component `json:"budget,omitempty"`
	// Settings is the capture's settings as JSON, enough to replay the readings.
	Settings json.RawMessage `json:"settings,omitempty"`
	// Context is the capture's state before its first reading, as JSON.
	Context json.RawMessage `json:"context,omitempty"`
	// Notes lists what a reader of this number should know: outliers left out,
	// how warm the coil was.
	Notes []string `json:"notes,omitempty"`
	// Supersedes is the id of the measurement this one replaces; empty mostly.
	Supersedes string `json:"supersedes,omitempty"`
	// CaptureSeconds is from contact to the last reading of the window.
	CaptureSeconds float64 `json:"capture_seconds"`
}

// Stands is true for a measurement that counts: neither void nor superseded.
func (m Measurement) Stands() bool { return m.Status != Void && m.Status != Superseded }

// Role says which instrument of a bench a reading came from.
type Role string

const (
	Meter Role = "meter"
	Probe Role = "probe"
)

// Reading is one stored answer of an instrument, as the capture saw it.
type Reading struct {
	Time       time.Time `json:"time"`
	Role       Role      `json:"role"`
	Value      float64   `json:"value"` // ohms or degrees Celsius; 0 unless Status is ok
	Resolution float64   `json:"resolution"`
	Status     string    `json:"status"` // a driver.Status
	Reason     string    `json:"reason,omitempty"`
	Raw        string    `json:"raw"`
	// InWindow is true for the readings the result is made of.
	InWindow bool `json:"in_window"`
	// Outlier is true for a reading of the window left out of the mean.
	Outlier bool `json:"outlier,omitempty"`
}

// Calibration is one statement about an instrument: a certificate, or a
// measured lead zero.
type Calibration struct {
	ID              string    `json:"id"`
	Time            time.Time `json:"time"`
	Bench           string    `json:"bench"`
	Role            Role      `json:"role"`
	Instrument      string    `json:"instrument"`
	Certificate     string    `json:"certificate,omitempty"`
	DueAt           time.Time `json:"due_at"` // zero when none
	CorrectionRatio float64   `json:"correction_ratio"`
	Note            string    `json:"note,omitempty"`
	By              string    `json:"by,omitempty"`
}

// CheckMeasurement is one measurement of a check standard.
type CheckMeasurement struct {
	ID                 string    `json:"id"`
	Time               time.Time `json:"time"`
	Bench              string    `json:"bench"`
	Standard           string    `json:"standard"`
	NominalOhms        float64   `json:"nominal_ohms"` // its reference value
	MeasuredOhms       float64   `json:"measured_ohms"`
	TemperatureCelsius *float64  `json:"temperature_celsius,omitempty"`
	Meter              string    `json:"meter"`
	By                 string    `json:"by,omitempty"`
	Note               string    `json:"note,omitempty"`
	DeviationRatio     float64   `json:"deviation_ratio"` // measured/nominal − 1, filled in on reading
}

// JournalEntry says who did what.
type JournalEntry struct {
	ID      string    `json:"id"`
	Time    time.Time `json:"time"`
	Bench   string    `json:"bench,omitempty"`
	Who     string    `json:"who,omitempty"`
	Action  string    `json:"action"` // one lower-case word or two: "void", "forced", "spool change"
	Subject string    `json:"subject"`
	Detail  string    `json:"detail,omitempty"`
}
