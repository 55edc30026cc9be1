package workshop

import (
	"fmt"
	"time"

	"coilkeep/internal/compare"
	"coilkeep/internal/record"
)

// ComparisonAnswer is a comparison for programs: the result, with what it is of.
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

// AnswerComparison is the answer about a comparison; one without an id was not
// kept.
func AnswerComparison(c record.Comparison) ComparisonAnswer {
	a := ComparisonAnswer{
		Result: c.Result, Serial: c.Serial, Measurement: c.Measurement, Design: c.Origin.Design, Batch: c.Origin.Batch,
		TheirMeter: c.TheirMeter, Letter: c.Letter, Note: c.Note, By: c.By, Input: c.Input,
	}
	if c.ID != "" {
		a.ID, a.Time = &c.ID, &c.Time
	}
	return a
}

// OverloadAnswer answers for a meter that showed an overload.
type OverloadAnswer struct {
	compare.Overload
	Serial string `json:"serial"` // the coil; empty when a resistance was told in its place
	// The answer once more, under the name that the API had for it alone.
	Again compare.Overload `json:"overload"`
}

// AnswerOverload answers a question about a meter that showed an overload. The
// error about what was asked is a *record.FieldError.
func AnswerOverload(q Question) (OverloadAnswer, error) {
	o, err := compare.AnswerOverload(q.Input)
	return OverloadAnswer{Overload: o, Serial: q.Serial, Again: o}, q.explain(err)
}

// Compare answers a question that has a number in it; nothing is kept. The error
// about what was asked is a *record.FieldError.
func Compare(q Question) (record.Comparison, error) {
	if q.Overload != "" {
		return record.Comparison{}, record.Invalid(Theirs, "%q is an overload, not a resistance: its answer can be read (keep=false) "+
			"and copied, but not kept or printed", q.Overload)
	}
	result, err := compare.Compare(q.Input)
	if err != nil {
		return record.Comparison{}, q.explain(err)
	}
	return record.Comparison{Serial: q.Serial, Measurement: q.Measurement, Origin: q.Origin, TheirMeter: q.TheirMeter, Letter: q.Letter,
		Note: q.Note, Input: q.Input, Result: result}, nil
}

// Today computes a comparison of another formula again by the present one; nil for
// one of the present formula.
func Today(c record.Comparison) (*compare.Result, error) {
	if c.Result.Formula == compare.Formula {
		return nil, nil
	}
	again, err := compare.Compare(c.Input)
	if err != nil {
		return nil, fmt.Errorf("compute comparison %s by formula %d: %w", c.ID, compare.Formula, err)
	}
	return &again, nil
}
