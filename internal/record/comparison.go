package record

import (
	"time"

	"coilkeep/internal/compare"
)

// Comparison is what somebody else measured, set against the record of a coil.
type Comparison struct {
	ID   string
	Time time.Time
	// Serial and Measurement, an id, name the record of the coil; both are empty
	// when a resistance was typed in its place.
	Serial      string
	Measurement string
	// TheirMeter is what they call their meter.
	TheirMeter string
	// Letter is what was sent to them, as it was edited; Result.Answer is what
	// was proposed.
	Letter string
	Note   string
	By     string
	// Result follows from Input by the formula of version Result.Formula.
	Input  compare.Input
	Result compare.Result

	// Origin is where the coil came from, filled in on reading.
	Origin Origin
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

// ComparisonAnswer is what somebody else measured, set against the record of a coil.
type ComparisonAnswer struct {
	compare.Result
	ID   *string    `json:"id"`   // its id; null when it was not kept
	Time *time.Time `json:"time"` // when it was kept; null when it was not
	// Of our coil; empty when a resistance was told in its place.
	Serial      string        `json:"serial"`
	Measurement string        `json:"measurement"` // id of the record compared with; empty without one
	Design      string        `json:"design"`      // of the coil
	Batch       string        `json:"batch"`       // of the coil
	TheirMeter  string        `json:"their_meter"` // what they call their meter
	Letter      string        `json:"letter"`      // what was sent, as it was edited
	Note        string        `json:"note"`        // our own note
	By          string        `json:"by"`          // who kept it
	Input       compare.Input `json:"input"`       // all that it was computed from
	// What the same input gives by the present formula, when it was kept under
	// another; null otherwise and in lists.
	Today *compare.Result `json:"today"`
}

// AnswerComparison is the answer about a comparison, the same object in the API,
// from commands and in JSON Lines; one without an id was not kept.
func AnswerComparison(c Comparison) ComparisonAnswer {
	a := ComparisonAnswer{
		Result: c.Result, Serial: c.Serial, Measurement: c.Measurement, Design: c.Origin.Design, Batch: c.Origin.Batch,
		TheirMeter: c.TheirMeter, Letter: c.Letter, Note: c.Note, By: c.By, Input: c.Input,
	}
	if c.ID != "" {
		a.ID, a.Time = &c.ID, &c.Time
	}
	return a
}

// ComparisonLine is a comparison in JSON Lines.
type ComparisonLine struct {
	ComparisonAnswer
	// Nested is the result once more, under the name it had in the lines of before;
	// nil in lines without it.
	Nested *compare.Result `json:"result,omitempty"`
}

// LineOfComparison is the line of a comparison that was kept.
func LineOfComparison(c Comparison) ComparisonLine {
	return ComparisonLine{AnswerComparison(c), &c.Result}
}

// Comparison is the comparison of a line, also of one of before, in which the
// result stood under its own name alone. Where the coil came from, the history
// says that it comes to.
func (l ComparisonLine) Comparison() Comparison {
	c := Comparison{Serial: l.Serial, Measurement: l.Measurement, TheirMeter: l.TheirMeter, Letter: l.Letter, Note: l.Note, By: l.By,
		Input: l.Input, Result: l.Result}
	if l.ID != nil {
		c.ID = *l.ID
	}
	if l.Time != nil {
		c.Time = *l.Time
	}
	if c.Result.Formula == 0 && l.Nested != nil {
		c.Result = *l.Nested
	}
	return c
}
