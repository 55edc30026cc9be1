// Package bench runs one bench: it opens the meter and the probe and opens
// them again when they are lost, feeds their readings to the capture, hands
// finished measurements to the history and tells whoever listens.
package bench

import (
	"time"

	"coilkeep/internal/capture"
	"coilkeep/internal/conformity"
	"coilkeep/internal/record"
)

// Snapshot is how a bench stands at one instant. Values that are not known now
// are nil: nothing old is ever shown as live.
type Snapshot struct {
	Bench          string        `json:"bench"`                               // its name
	Time           time.Time     `json:"time"`                                // the moment
	State          capture.State `json:"state"`                               // what the capture is doing, a fixed word
	Words          string        `json:"words"`                               // the state for people
	Since          time.Time     `json:"since"`                               // since when
	ReadingsHave   int           `json:"readings_have" openapi:"minimum=0"`   // readings in the window so far
	ReadingsWanted int           `json:"readings_wanted" openapi:"minimum=0"` // readings wanted in the window; 0 when none is filling

	ResistanceOhms     *float64 `json:"resistance_ohms"`     // live reading of the meter, ohms
	TemperatureCelsius *float64 `json:"temperature_celsius"` // live temperature, °C
	// R20 of the present window, or of the recorded coil still on the clips, ohms.
	R20Ohms                 *float64 `json:"r20_ohms"`
	ExpandedUncertaintyOhms *float64 `json:"expanded_uncertainty_ohms"` // its expanded uncertainty, ohms
	// How much warmer the copper is estimated to be than the probe, kelvin; null
	// while nothing is known of it.
	DifferenceKelvin *float64 `json:"difference_kelvin"`
	// Half of the interval that holds it with 95 %, kelvin.
	DifferenceHalfWidthKelvin *float64 `json:"difference_half_width_kelvin"`
	// What the expanded uncertainty will be in ahead_seconds if the coil stays on,
	// percent of R20.
	AheadPercent *float64 `json:"ahead_percent"`
	AheadSeconds float64  `json:"ahead_seconds"` // how far ahead_percent looks, seconds

	Meter Instrument `json:"meter"` // how the meter stands
	Probe Instrument `json:"probe"` // how the probe stands

	Batch *record.Batch `json:"batch"` // the open batch; null when there is none
	// That of the batch, or of the coil asked for by serial number.
	Design *record.Design `json:"design"`
	// What the next measurement will be filed under; empty when a person must say.
	NextSerial string `json:"next_serial"`
	Stage      string `json:"stage"` // and at which stage
	// What is unusual in the serial number a person gave: another form than the
	// bench's pattern, or far ahead of it. Left out when nothing is.
	NextRemark string `json:"next_remark,omitempty"`
	// Coils that left this bench without a record and were neither measured nor
	// dismissed since, the latest first, each serial number once.
	Unrecorded []Unrecorded `json:"unrecorded"`
	// The verdict that changed while the last coil stayed on the clips; null when
	// none did.
	Changed *VerdictChange      `json:"changed"`
	Last    *record.Measurement `json:"last"` // the latest recorded measurement of this bench
	// Id of the latest entry of the journal. When it changes somebody did something
	// to the records, here or elsewhere: a void, a note.
	LastDeed string `json:"last_deed,omitempty"`
	// Why the last measurement is not on the disk yet; left out when all is saved.
	Unsaved string `json:"unsaved,omitempty"`
}

// Unrecorded is a coil that left the clips without a record.
type Unrecorded struct {
	ID   string    `json:"id"`   // what it is answered by
	Time time.Time `json:"time"` // when the clips opened
	// What it would have been filed under; empty when that was not known.
	Serial string `json:"serial"`
	Stage  string `json:"stage"` // and at which stage
	// Why, as a fixed word: the reason of coilkeep_captures_refused_total.
	Refusal string `json:"refusal"`
	Words   string `json:"words"` // why, in a sentence
	// Whether the bench waits for somebody to say if the next coil is this one.
	Asked bool `json:"asked"`
}

// VerdictChange is a verdict that changed while the coil stayed on the clips after
// its first record.
type VerdictChange struct {
	Bench  string             `json:"bench"`  // the bench
	Time   time.Time          `json:"time"`   // when
	Serial string             `json:"serial"` // the coil
	From   conformity.Verdict `json:"from"`   // the verdict of the first record
	To     conformity.Verdict `json:"to"`     // the verdict of the one that takes its place
}

// UnrecordedData is a coil that was not recorded, as an event.
type UnrecordedData struct {
	Bench string `json:"bench"` // the bench
	Unrecorded
}

// Instrument is how a meter or probe stands.
type Instrument struct {
	Role       record.Role `json:"role"`                  // which instrument of the bench
	Driver     string      `json:"driver"`                // as configured; empty when the bench has none
	Port       string      `json:"port,omitempty"`        // as configured
	Name       string      `json:"name,omitempty"`        // what it is called when it says nothing of itself
	Identity   string      `json:"identity,omitempty"`    // what it says of itself
	Up         bool        `json:"up"`                    // whether it answers
	Fault      string      `json:"fault,omitempty"`       // what is wrong and what to try
	Reconnects int         `json:"reconnects"`            // how often it was opened again
	LastAt     *time.Time  `json:"last_at"`               // its latest reading, good or bad
	LastRaw    string      `json:"last_raw,omitempty"`    // that reading as received
	LastStatus string      `json:"last_status,omitempty"` // its status
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
	Bench      string      `json:"bench"`                            // where
	Role       record.Role `json:"role"`                             // which instrument of the bench
	Time       time.Time   `json:"time"`                             // when it arrived
	Value      *float64    `json:"value"`                            // ohms or °C; null unless status is ok
	Unit       string      `json:"unit" openapi:"words=ohm|celsius"` // unit of the value
	Resolution float64     `json:"resolution"`                       // one step of its last digit; 0 when unknown
	Status     string      `json:"status"`                           // ok, overload, unreadable or impossible
	Reason     string      `json:"reason,omitempty"`                 // what is wrong
	Raw        string      `json:"raw"`                              // as received
}

// InstrumentData is a change of an instrument's health.
type InstrumentData struct {
	Bench string `json:"bench"` // the bench
	Instrument
}
