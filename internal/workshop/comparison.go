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
	// ID and Time are nil for a comparison that was not kept.
	ID          *string       `json:"id"`
	Time        *time.Time    `json:"time"`
	Serial      string        `json:"serial"`
	Measurement string        `json:"measurement"`
	Design      string        `json:"design"`
	Batch       string        `json:"batch"`
	TheirMeter  string        `json:"their_meter"`
	Letter      string        `json:"letter"`
	Note        string        `json:"note"`
	By          string        `json:"by"`
	Input       compare.Input `json:"input"`
	// Today is what the same input gives by the present formula, when the
	// comparison was kept under another; nil otherwise, and in lists.
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
	Serial string `json:"serial"`
	// Again is the answer once more, under the name that the API had for it alone.
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
