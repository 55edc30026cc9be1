package record

import (
	"cmp"
	"time"
)

// Soak says since when a coil, or every coil of a batch, has been lying beside
// the probe. The newest one counts: whoever took the coils away says a later
// Since. One for a batch is meant for coils that are wound: a coil wound later has
// not lain there.
type Soak struct {
	ID     string    `json:"id"`               // its id
	Time   time.Time `json:"time"`             // when it was said
	Bench  string    `json:"bench"`            // the bench
	Serial string    `json:"serial,omitempty"` // the coil; left out for a batch
	Batch  string    `json:"batch,omitempty"`  // the batch; left out for a coil
	Since  time.Time `json:"since"`            // since when
	Who    string    `json:"who,omitempty"`    // who said so
}

// ValidateSoak says which field of a soak cannot be right, as a *FieldError; nil
// when it may be stored.
func ValidateSoak(k Soak) error {
	switch {
	case (k.Serial == "") == (k.Batch == ""):
		return Invalid("serial", "must be told, or else batch, and not both")
	case k.Since.After(k.Time):
		return Invalid("since", "must not be in the future, but is %s", k.Since.Format(time.RFC3339))
	case k.Time.Sub(k.Since) > LongestSoak:
		return Invalid("since", "must be within the last year, but is %s", k.Since.Format(time.RFC3339))
	}
	return cmp.Or(ValidateName("bench", k.Bench), ValidateText("serial", k.Serial, 0, maxSerial),
		ValidateText("batch", k.Batch, 0, MaxName), ValidateLabel("who", k.Who))
}

// LongestSoak is the oldest Since that is taken: an older one is a mistyped date.
const LongestSoak = 366 * 24 * time.Hour

// Soaks describes soaks.
var Soaks = Kind[Soak]{
	Name: "soak", One: "soak", Many: "soaks", Table: "soaks",
	Fields: []Field[Soak]{
		{Column: "id", Place: func(k *Soak) any { return &k.ID }},
		{Column: "time_us", Place: func(k *Soak) any { return &k.Time }},
		{Column: "bench", Place: func(k *Soak) any { return &k.Bench }},
		{Column: "serial", Place: func(k *Soak) any { return &k.Serial }},
		{Column: "batch", Place: func(k *Soak) any { return &k.Batch }},
		{Column: "since_us", Place: func(k *Soak) any { return &k.Since }},
		{Column: "who", Place: func(k *Soak) any { return &k.Who }},
	},
	Check: ValidateSoak,
}
