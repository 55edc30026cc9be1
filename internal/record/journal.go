package record

import (
	"cmp"
	"time"
)

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

// ValidateEntry says which field of a journal entry cannot be right, as a
// *FieldError; nil when it may be stored.
func ValidateEntry(e JournalEntry) error {
	return cmp.Or(
		ValidateName("action", e.Action),
		AllValid(ValidateLabel, "bench", e.Bench, "who", e.Who, "subject", e.Subject),
		ValidateLines("detail", e.Detail, MaxDetail))
}

// Journal describes the entries of the journal.
var Journal = Kind[JournalEntry]{
	Name: "journal", One: "journal entry", Many: "journal entries", Table: "journal",
	Fields: []Field[JournalEntry]{
		{Column: "id", Place: func(e *JournalEntry) any { return &e.ID }},
		{Column: "time_us", Place: func(e *JournalEntry) any { return &e.Time }},
		{Column: "bench", Place: func(e *JournalEntry) any { return &e.Bench }},
		{Column: "who", Place: func(e *JournalEntry) any { return &e.Who }},
		{Column: "action", Place: func(e *JournalEntry) any { return &e.Action }},
		{Column: "subject", Place: func(e *JournalEntry) any { return &e.Subject }},
		{Column: "detail", Place: func(e *JournalEntry) any { return &e.Detail }},
	},
	Check: ValidateEntry,
}

// JournalFilter picks journal entries; a zero field picks all.
type JournalFilter struct {
	Bench, Action, Subject string
	// From is the earliest time, To the first one that is too late.
	From, To time.Time
	// Limit is how many at most; 0 means DefaultPage.
	Limit int
}
