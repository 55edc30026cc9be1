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
	"cmp"
	"errors"
	"fmt"
	"math"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/quantity"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
)

// Workshop is who made the coil, as configured; either may be empty.
type Workshop struct{ Name, Contact string }

// ErrNoDocument is wrapped by every error that is due to a record nobody can be
// handed a document for; the rest of the text says why.
var ErrNoDocument = errors.New("no document for this measurement")

// recomputedResult returns the result of a measurement computed anew, or an error that wraps
// ErrNoDocument unless the measurement stands and says the same.
func recomputedResult(m record.Measurement) (r20.Result, error) {
	refuse := func(format string, args ...any) (r20.Result, error) { return r20.Result{}, refusal(m, format, args...) }
	switch m.Status {
	case record.Recorded, record.Forced, record.Manual:
	case record.Void, record.Superseded:
		return refuse("it is %s (%s); take the one that stands, or measure again", m.Status, cmp.Or(m.Reason, "no reason kept"))
	default:
		return refuse("its status is %q", m.Status)
	}
	if m.Serial == "" {
		return refuse("it was filed without a serial number")
	}
	result, err := r20.Evaluate(m.Inputs)
	if err != nil {
		return refuse("its inputs give no result: %v", err)
	}
	if !nearlyEqual(result.R20Ohms, m.R20Ohms) || !nearlyEqual(result.ExpandedUncertaintyOhms, m.ExpandedUncertaintyOhms) {
		return refuse("its inputs give %s now, but the record says %s; verify the history",
			quantity.FormatOhmsWithin(result.R20Ohms, result.ExpandedUncertaintyOhms),
			quantity.FormatOhmsWithin(m.R20Ohms, m.ExpandedUncertaintyOhms))
	}
	if m.Verdict == "" {
		return result, nil
	}
	j, err := conformity.Judge(result.R20Ohms, result.StandardUncertaintyOhms, result.ExpandedUncertaintyOhms, m.Tolerance)
	if err != nil {
		return refuse("it has a verdict, but %v", err)
	}
	if j.Verdict != m.Verdict {
		return refuse("its numbers say %s, but the record says %s; verify the history", j.Verdict.Words(), m.Verdict.Words())
	}
	return result, nil
}

// refusal says why there is no document for a measurement.
func refusal(m record.Measurement, format string, args ...any) error {
	return fmt.Errorf("%s, %s: %w: %s", cmp.Or(m.Serial, "no serial number"), m.ID, ErrNoDocument, fmt.Sprintf(format, args...))
}

// nearlyEqual allows for the last bits of another processor.
func nearlyEqual(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Abs(b) }

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
