// Package report writes what goes into the box and into the file: the
// certificate of a coil, as a fragment of a page and as PDF, and sheets of labels
// as PDF. It takes records and returns documents; where records come from and
// where documents go is the business of others.
//
// Every number on a document is computed again from what the record was computed
// from. A record that does not give its own result again, or no longer stands,
// gets no document.
package report

import (
	"time"

	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// Workshop is who made the coil, as configured; either may be empty.
type Workshop struct{ Name, Contact string }

// compactText is what the QR code of a measurement says.
func compactText(m record.Measurement, zone *time.Location) string {
	return words.LabelText(m.Serial, m.R20Ohms, m.ExpandedUncertaintyOhms, date(m.Time, zone))
}

// date writes the day of a time on a document; without a zone it is that of UTC.
func date(t time.Time, zone *time.Location) string { return words.Day(t, orUTC(zone)) }

func orUTC(zone *time.Location) *time.Location {
	if zone == nil {
		return time.UTC
	}
	return zone
}
