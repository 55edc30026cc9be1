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
