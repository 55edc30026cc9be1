package record

import (
	"cmp"
	"time"
)

// JournalEntry says who did what.
type JournalEntry struct {
	ID      string    `json:"id"`               // its id
	Time    time.Time `json:"time"`             // when it was done
	Bench   string    `json:"bench,omitempty"`  // where; left out when it was at no bench
	Who     string    `json:"who,omitempty"`    // who did it; left out when not told
	Action  string    `json:"action"`           // a word or two, such as void, forced or note
	Subject string    `json:"subject"`          // the coil, batch or bench it is about
	Detail  string    `json:"detail,omitempty"` // what there is to say of it
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
