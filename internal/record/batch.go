package record

import (
	"cmp"
	"time"
)

// Batch is a run of coils of one design on one winder.
type Batch struct {
	Name           string     `json:"batch"`
	Bench          string     `json:"bench"`
	Design         string     `json:"design"`
	DesignRevision int        `json:"design_revision"`
	Winder         string     `json:"winder,omitempty"`
	Operator       string     `json:"operator,omitempty"`
	OpenedAt       time.Time  `json:"opened_at"`
	ClosedAt       *time.Time `json:"closed_at,omitempty"`
	// Spools lists the spool the batch began with and every change, in order.
	Spools []SpoolMark `json:"spools"`
	// LastSequence is the number of the last coil measured; 0 before the first.
	LastSequence int `json:"last_sequence"`
}

// Spool is the spool in use; empty when none was told.
func (b Batch) Spool() string {
	if len(b.Spools) == 0 {
		return ""
	}
	return b.Spools[len(b.Spools)-1].Spool
}

// SpoolMark says from which coil of a batch on a spool was in use.
type SpoolMark struct {
	FromSequence int       `json:"from_sequence"`
	Spool        string    `json:"spool"`
	At           time.Time `json:"at"`
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
