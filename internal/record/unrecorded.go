package record

import (
	"cmp"
	"time"
)

// Unrecorded is a coil that left the clips without a record. It stays open until
// that coil is measured or somebody dismisses it.
type Unrecorded struct {
	ID    string    `json:"id"`
	Time  time.Time `json:"time"` // when the clips opened
	Bench string    `json:"bench"`
	// Serial is what it would have been filed under; empty when that was not
	// known. Stage goes with it.
	Serial string `json:"serial"`
	Stage  string `json:"stage"`
	// ByPattern is true when the bench's pattern gave Serial: no other coil is
	// given it then, whatever becomes of this one.
	ByPattern bool `json:"by_pattern"`
	// Refusal is the reason as a fixed word of the capture, Words says it.
	Refusal string `json:"refusal"`
	Words   string `json:"words"`
	// End is nil while it is open.
	End *UnrecordedEnd `json:"end,omitempty"`
}

// UnrecordedEnd says what became of a coil that was not recorded.
type UnrecordedEnd struct {
	Time time.Time      `json:"time"`
	How  UnrecordedFate `json:"how"`
	Who  string         `json:"who,omitempty"`
}

// UnrecordedFate is what became of a coil that was not recorded.
type UnrecordedFate string

const (
	Measured  UnrecordedFate = "measured"  // it was measured later
	Dismissed UnrecordedFate = "dismissed" // somebody said that it need not be
)

// ValidateUnrecorded says which field of what was not recorded cannot be right,
// as a *FieldError; nil when it may be stored.
func ValidateUnrecorded(u Unrecorded) error {
	if e := u.End; e != nil {
		if e.How != Measured && e.How != Dismissed {
			return Invalid("end.how", "must be %q or %q, not %q", Measured, Dismissed, e.How)
		}
		if err := ValidateLabel("end.who", e.Who); err != nil {
			return err
		}
	}
	return cmp.Or(ValidateName("bench", u.Bench), ValidateText("serial", u.Serial, 0, maxSerial), ValidateStage(u.Stage),
		ValidateName("refusal", u.Refusal), ValidateReason(u.Words))
}

// UnrecordedCoils describes coils that were not recorded.
var UnrecordedCoils = Kind[Unrecorded]{
	Name: "unrecorded", One: "coil not recorded", Many: "coils not recorded", Table: "unrecorded",
	Fields: []Field[Unrecorded]{
		{Column: "id", Place: func(u *Unrecorded) any { return &u.ID }},
		{Column: "time_us", Place: func(u *Unrecorded) any { return &u.Time }},
		{Column: "bench", Place: func(u *Unrecorded) any { return &u.Bench }},
		{Column: "serial", Place: func(u *Unrecorded) any { return &u.Serial }},
		{Column: "stage", Place: func(u *Unrecorded) any { return &u.Stage }},
		{Column: "by_pattern", Place: func(u *Unrecorded) any { return &u.ByPattern }},
		{Column: "refusal", Place: func(u *Unrecorded) any { return &u.Refusal }},
		{Column: "words", Place: func(u *Unrecorded) any { return &u.Words }},
		{Column: "ended_us", Place: func(u *Unrecorded) any { return ofEnd(u, func(e *UnrecordedEnd) *time.Time { return &e.Time }) }},
		{Column: "ended_how", Place: func(u *Unrecorded) any { return ofEnd(u, func(e *UnrecordedEnd) *UnrecordedFate { return &e.How }) }},
		{Column: "ended_by", Place: func(u *Unrecorded) any { return ofEnd(u, func(e *UnrecordedEnd) *string { return &e.Who }) }},
	},
	New: func() Unrecorded { return Unrecorded{End: new(UnrecordedEnd)} },
	Complete: func(u *Unrecorded) error {
		if u.End != nil && u.End.Time.IsZero() {
			u.End = nil
		}
		return nil
	},
	Check: ValidateUnrecorded,
}

// ofEnd is a place in the end of u; there is none while it is open.
func ofEnd[V any](u *Unrecorded, place func(*UnrecordedEnd) *V) *V {
	if u.End == nil {
		return nil
	}
	return place(u.End)
}
