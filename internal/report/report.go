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
)

// Workshop is who made the coil, as configured; either may be empty.
type Workshop struct{ Name, Contact string }

// compactText is what a QR code says of a measurement: serial number, R20 and
// date, in plain letters that every reader shows: "HN-0042 R20 6.690 +- 0.018 kohm
// 2026-03-14".
func compactText(m record.Measurement, zone *time.Location) string {
	return m.Serial + " R20 " + plainOhms(m.R20Ohms, m.ExpandedUncertaintyOhms) + " " + date(m.Time, zone)
}

func date(t time.Time, zone *time.Location) string { return inZone(t, zone).Format("2006-01-02") }

func clock(t time.Time, zone *time.Location) string {
	return inZone(t, zone).Format("2006-01-02 15:04 MST")
}

func inZone(t time.Time, zone *time.Location) time.Time {
	if zone == nil {
		zone = time.UTC
	}
	return t.In(zone)
}
