package record

import (
	"cmp"
	"fmt"
	"time"

	"coilkeep/internal/conformity"
)

// Batch is a run of coils of one design on one winder.
type Batch struct {
	Name   string `json:"batch"`  // its name
	Bench  string `json:"bench"`  // where it is measured
	Design string `json:"design"` // the design
	// Its revision.
	DesignRevision int         `json:"design_revision" openapi:"minimum=1"`
	Winder         string      `json:"winder,omitempty"`                  // the winding machine
	Operator       string      `json:"operator,omitempty"`                // the person
	OpenedAt       time.Time   `json:"opened_at"`                         // when it was opened
	ClosedAt       *time.Time  `json:"closed_at,omitempty"`               // when it was closed
	Spools         []SpoolMark `json:"spools"`                            // the spool it began with and every change
	LastSequence   int         `json:"last_sequence" openapi:"minimum=0"` // the number of the last coil measured; 0 before the first
}

// Spool is the spool in use; empty when none was told.
func (b Batch) Spool() string {
	if len(b.Spools) == 0 {
		return ""
	}
	return b.Spools[len(b.Spools)-1].Spool
}

// reopenWithin is how long a batch that was closed by mistake may be opened again: the
// same day, also of who works past midnight.
const reopenWithin = 24 * time.Hour

// CanReopen says why a batch cannot be opened again at an instant, wrapping
// ErrConflict; nil when it can.
func (b Batch) CanReopen(now time.Time) error {
	switch {
	case b.ClosedAt == nil:
		return fmt.Errorf("%w: batch %s is open", ErrConflict, b.Name)
	case now.Sub(*b.ClosedAt) > reopenWithin:
		return fmt.Errorf("%w: batch %s was closed more than a day ago; start another batch of the design instead", ErrConflict, b.Name)
	}
	return nil
}

// SpoolMark says from which coil of a batch on a spool was in use.
type SpoolMark struct {
	FromSequence int       `json:"from_sequence"` // number of the first coil wound from it
	Spool        string    `json:"spool"`         // the spool
	At           time.Time `json:"at"`            // when it was put on
}

// ValidateBatch says which field of a batch cannot be right, as a *FieldError;
// nil when it may be stored.
func ValidateBatch(b Batch) error {
	for _, mark := range b.Spools {
		if mark.FromSequence < 1 {
			return Invalid("spools.from_sequence", "must be at least 1, not %d", mark.FromSequence)
		}
		if err := ValidateName("spools.spool", mark.Spool); err != nil {
			return err
		}
	}
	return cmp.Or(
		ValidateName("batch", b.Name),
		ValidateName("bench", b.Bench),
		AllValid(ValidateLabel, "winder", b.Winder, "operator", b.Operator))
}

// BatchStart says what batch to open.
type BatchStart struct {
	// Name is the batch's; empty makes one of the date and the design.
	Name   string
	Bench  string
	Design string
	// Winder, Operator and Spool are empty when not told.
	Winder, Operator, Spool string
	// Who opens it.
	Who string
}

// BatchFilter picks batches; a zero field picks all.
type BatchFilter struct {
	Bench, Design, Winder string
	OpenOnly              bool
	// Limit is how many at most; 0 means 100.
	Limit int
}

// BatchSearch picks batches for a list; a zero field picks all.
type BatchSearch struct {
	// Text is part of the batch's name, design, winder or operator, or of the
	// name of a spool it used, in capitals or small letters.
	Text   string
	Design string
	// OpenedFrom is the earliest opening, OpenedTo the first one that is too
	// late.
	OpenedFrom, OpenedTo time.Time
	// After is the name of the last batch of the page before.
	After string
	// Limit is how many at most; 0 means DefaultPage.
	Limit int
}

// BatchStatistics sums up the R20 of a batch: of every coil the newest
// measurement that stands.
type BatchStatistics struct {
	Count int `json:"count"`
	// MeanOhms, MinimumOhms and MaximumOhms mean something when Count is at
	// least 1, the sample standard deviation when it is at least 2; otherwise
	// they are 0.
	MeanOhms              float64 `json:"mean_ohms"`
	StandardDeviationOhms float64 `json:"standard_deviation_ohms"`
	MinimumOhms           float64 `json:"minimum_ohms"`
	MaximumOhms           float64 `json:"maximum_ohms"`
}

// Verdicts counts coils by verdict.
type Verdicts map[conformity.Verdict]int

// Total is the number of coils counted.
func (v Verdicts) Total() int {
	total := 0
	for _, n := range v {
		total += n
	}
	return total
}
