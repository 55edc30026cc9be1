package record

import (
	"time"

	"coilkeep/internal/compare"
)

// Comparison is what somebody else measured, set against the record of a coil.
type Comparison struct {
	ID   string    `json:"id"`
	Time time.Time `json:"time"`
	// Serial and Measurement, an id, name the record of the coil; both are empty
	// when a resistance was typed in its place.
	Serial      string `json:"serial,omitempty"`
	Measurement string `json:"measurement,omitempty"`
	// TheirMeter is what they call their meter.
	TheirMeter string `json:"their_meter,omitempty"`
	// Letter is what was sent to them, as it was edited; Result.Answer is what
	// was proposed.
	Letter string `json:"letter,omitempty"`
	Note   string `json:"note,omitempty"`
	By     string `json:"by,omitempty"`
	// Result follows from Input by the formula of version Result.Formula.
	Input  compare.Input  `json:"input"`
	Result compare.Result `json:"result"`

	// Origin is where the coil came from, filled in on reading.
	Origin Origin `json:"-"`
}

// Origin is what the measurement of a coil says of its making; all empty without
// one.
type Origin struct {
	Design, Batch, Bench, Meter string
	// Stands is false when the measurement was withdrawn or replaced since.
	Stands bool
}

// MaxLetter bounds a letter, in characters.
const MaxLetter = 20000

// ComparisonFilter picks comparisons; a zero field picks all.
type ComparisonFilter struct {
	Serial, Design string
	// After is the id of the last comparison of the page before.
	After string
	// Limit is how many at most; 0 means DefaultPage, more than MaxPage is
	// refused.
	Limit int
}
