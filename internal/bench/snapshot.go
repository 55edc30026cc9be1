// Package bench runs one bench: it opens the meter and the probe and opens
// them again when they are lost, feeds their readings to the capture, hands
// finished measurements to the history and tells whoever listens.
package bench

import (
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/record"
)

// Snapshot is how a bench stands at one instant. Values that are not known now
// are nil: nothing old is ever shown as live.
type Snapshot struct {
	Bench string    `json:"bench"`
	Time  time.Time `json:"time"`
	// State is the capture's state, a fixed word; Words says it for people.
	State string    `json:"state"`
	Words string    `json:"words"`
	Since time.Time `json:"since"`
	// ReadingsHave of ReadingsWanted are in the window while it fills.
	ReadingsHave   int `json:"readings_have"`
	ReadingsWanted int `json:"readings_wanted"`

	ResistanceOhms     *float64 `json:"resistance_ohms"`
	TemperatureCelsius *float64 `json:"temperature_celsius"`
	// R20Ohms and its uncertainty are those of the present window, before it
	// is recorded; afterwards those of the coil still on the clips.
	R20Ohms                 *float64 `json:"r20_ohms"`
	ExpandedUncertaintyOhms *float64 `json:"expanded_uncertainty_ohms"`
	// DifferenceKelvin is the estimate of how much warmer the copper is than the
	// probe, and DifferenceHalfWidthKelvin half of the interval that holds it
	// with 95 %; nil while nothing is known of it.
	DifferenceKelvin          *float64 `json:"difference_kelvin"`
	DifferenceHalfWidthKelvin *float64 `json:"difference_half_width_kelvin"`
	// AheadPercent is what the uncertainty will be in AheadSeconds, in percent of
	// R20, if the coil stays on.
	AheadPercent *float64 `json:"ahead_percent"`
	AheadSeconds float64  `json:"ahead_seconds"`

	Meter Instrument `json:"meter"`
	Probe Instrument `json:"probe"`

	// Batch is the open batch; nil when there is none.
	Batch *record.Batch `json:"batch"`
	// Design is that of the batch, or of the coil asked for by serial.
	Design *record.Design `json:"design"`
	// NextSerial is what the next measurement will be filed under; empty when
	// a person must say. Stage goes with it.
	NextSerial string `json:"next_serial"`
	Stage      string `json:"stage"`
	// NextRemark says what is unusual in a NextSerial that a person gave: another
	// form than the bench's pattern, or far ahead of it.
	NextRemark string `json:"next_remark,omitempty"`
	// Unrecorded lists the coils that left this bench without a record and were
	// neither measured nor dismissed since, the latest first, each serial number
	// once.
	Unrecorded []Unrecorded `json:"unrecorded"`
	// Changed is the verdict that changed while the last coil stayed on the clips;
	// nil when none did.
	Changed *VerdictChange `json:"changed"`
	// Last is the latest recorded measurement of this bench.
	Last *record.Measurement `json:"last"`
	// LastDeed is the id of the latest entry of the journal. When it changes
	// somebody did something to the records, here or elsewhere: a void, a note.
	LastDeed string `json:"last_deed,omitempty"`
	// Unsaved is why the last measurement is not on the disk yet; empty when
	// all is saved.
	Unsaved string `json:"unsaved,omitempty"`
}

// Unrecorded is a coil that left the clips without a record.
type Unrecorded struct {
	ID   string    `json:"id"`
	Time time.Time `json:"time"`
	// Serial is what it would have been filed under; empty when that was not
	// known.
	Serial string `json:"serial"`
	Stage  string `json:"stage"`
	// Refusal is the reason as a fixed word, Words says it in a sentence.
	Refusal string `json:"refusal"`
	Words   string `json:"words"`
	// Asked is true while the bench waits for somebody to say whether the next
	// coil is this one.
	Asked bool `json:"asked"`
}

// VerdictChange tells that a coil that stayed on the clips is judged otherwise
// than when it was recorded first.
type VerdictChange struct {
	Bench  string             `json:"bench"`
	Time   time.Time          `json:"time"`
	Serial string             `json:"serial"`
	From   conformity.Verdict `json:"from"`
	To     conformity.Verdict `json:"to"`
}

// UnrecordedData is a coil that was not recorded, as an event.
type UnrecordedData struct {
	Bench string `json:"bench"`
	Unrecorded
}

// Instrument is how a meter or probe stands.
type Instrument struct {
	Role record.Role `json:"role"`
	// Driver and Port are as configured; Identity is what it says of itself.
	Driver   string `json:"driver"`
	Port     string `json:"port,omitempty"`
	Identity string `json:"identity,omitempty"`
	Up       bool   `json:"up"`
	// Fault says what is wrong and what to try; empty when nothing is.
	Fault      string     `json:"fault,omitempty"`
	Reconnects int        `json:"reconnects"`
	LastAt     *time.Time `json:"last_at"`
	LastRaw    string     `json:"last_raw,omitempty"`
	LastStatus string     `json:"last_status,omitempty"`
}

// EventType is the kind of a live event; its text is contract.
type EventType string

const (
	ReadingEvent     EventType = "reading"     // Data is a ReadingData
	StateEvent       EventType = "state"       // Data is a Snapshot
	MeasurementEvent EventType = "measurement" // Data is a record.Measurement, durable
	InstrumentEvent  EventType = "instrument"  // Data is an InstrumentData
	UnrecordedEvent  EventType = "unrecorded"  // Data is an UnrecordedData
	VerdictEvent     EventType = "verdict"     // Data is a VerdictChange, durable
)

// Event is something that happened at a bench.
type Event struct {
	Type  EventType
	Bench string
	Data  any
}

// ReadingData is one live reading.
type ReadingData struct {
	Bench      string      `json:"bench"`
	Role       record.Role `json:"role"`
	Time       time.Time   `json:"time"`
	Value      *float64    `json:"value"` // ohms or degrees Celsius; null unless ok
	Unit       string      `json:"unit"`  // "ohm" or "celsius"
	Resolution float64     `json:"resolution"`
	Status     string      `json:"status"`
	Reason     string      `json:"reason,omitempty"`
	Raw        string      `json:"raw"`
}

// InstrumentData is a change of an instrument's health.
type InstrumentData struct {
	Bench string `json:"bench"`
	Instrument
}
