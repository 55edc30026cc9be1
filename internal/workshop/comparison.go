package workshop

import (
	"fmt"

	"coilkeep/internal/compare"
	"coilkeep/internal/record"
)

// OverloadAnswer is the answer when their meter showed an overload and no number,
// which is not kept.
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
