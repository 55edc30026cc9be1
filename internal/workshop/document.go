package workshop

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// ErrNoDocument is wrapped by every error that is due to a record nobody can be
// handed a document for; the text says why.
var ErrNoDocument = errors.New("no document for this measurement")

// noDocument says in its own words why there is no document: one of the errors
// about records, or ErrNoDocument.
type noDocument struct {
	why  string
	kind error
}

func (n *noDocument) Error() string { return n.why }
func (n *noDocument) Unwrap() error { return n.kind }

// DocumentStore is what documents are made from.
type DocumentStore interface {
	CoilStore
	Measurements(ctx context.Context, f record.Filter) (page []record.Measurement, next string, err error)
	DesignRevision(ctx context.Context, name string, revision int) (record.Design, error)
	Calibrations(ctx context.Context, bench string) ([]record.Calibration, error)
	Assembly(ctx context.Context, serial string) (record.Assembly, error)
}

// Certified is what a certificate says, as records.
type Certified struct {
	// Measurement is the whole record of the coil, with its inputs.
	Measurement record.Measurement
	// Design is the revision the coil was judged by; nil leaves out gauge and
	// turns.
	Design *record.Design
	// Meter and Probe are the calibrations that the measurement rests on; nil says
	// that none was recorded.
	Meter, Probe *record.Calibration
	// Assembly is nil for a coil that is sold alone.
	Assembly *CertifiedAssembly
}

// CertifiedAssembly is two coils sold as one; the measurement certified is that
// of the first.
type CertifiedAssembly struct {
	// Serial is the number of the assembly.
	Serial string
	// Second is the other coil, measured alone.
	Second record.Measurement
	// Together is both measured in series; nil when that was not done.
	Together *record.Measurement
}

// CertifiedBy puts together what a certificate says that is asked for with a
// measurement: of its coil, or of the assembly the coil is in. A certificate of a
// whole assembly is one of its first coil. Whether it can be handed out, is for
// [Certified.Check] to say; the error is ErrNoDocument when a part of the assembly
// has no measurement that stands.
func CertifiedBy(ctx context.Context, store DocumentStore, m record.Measurement) (c Certified, err error) {
	if c.Measurement, c.Assembly, err = assembled(ctx, store, m); err != nil {
		return c, err
	}
	m = c.Measurement
	if m.Design != "" {
		design, err := store.DesignRevision(ctx, m.Design, m.DesignRevision)
		if err != nil {
			return c, err
		}
		c.Design = &design
	}
	calibrations, err := store.Calibrations(ctx, m.Bench)
	c.Meter, c.Probe = CalibrationsBehind(calibrations, m)
	return c, err
}

// assembled puts together what a certificate says of the assembly that the
// measured coil is in: the other coil, and both in series where that was
// measured. First replaces the measurement of the whole.
func assembled(ctx context.Context, store DocumentStore, m record.Measurement) (first record.Measurement, _ *CertifiedAssembly, err error) {
	a, err := AssemblyOf(ctx, store, m.Serial)
	if err != nil || a == nil {
		return m, nil, err
	}
	document, other := &CertifiedAssembly{Serial: a.Serial}, a.Second
	switch first = m; m.Serial {
	case a.Serial:
		document.Together = &m
		if first, err = neededPart(ctx, store, a.First); err != nil {
			return first, nil, err
		}
	case a.Second:
		other = a.First
	}
	if document.Second, err = neededPart(ctx, store, other); err != nil {
		return first, nil, err
	}
	if document.Together == nil {
		document.Together, err = StandingMeasurement(ctx, store, a.Serial)
	}
	return first, document, err
}

// neededPart is the measurement of a coil that the document of its assembly cannot
// do without.
func neededPart(ctx context.Context, store CoilStore, serial string) (record.Measurement, error) {
	m, err := StandingMeasurement(ctx, store, serial)
	if err == nil && m == nil {
		err = &noDocument{fmt.Sprintf("no measurement of %s stands; measure it again, or sell another coil with this one", serial),
			ErrNoDocument}
	}
	if err != nil {
		return record.Measurement{}, err
	}
	return *m, nil
}

// LabelledOf lists what labels of a batch say, in its order: of each coil the
// measurement that stands, of those in tolerance only, or of all. The error wraps
// ErrNoDocument for a batch too large for one document, and record.ErrNotFound for
// one without such a coil.
func LabelledOf(ctx context.Context, store DocumentStore, batch string, all bool) ([]record.Measurement, error) {
	list, next, err := store.Measurements(ctx, record.Filter{Batch: batch, Limit: record.MaxPage})
	if err != nil {
		return nil, err
	}
	if next != "" {
		return nil, &noDocument{fmt.Sprintf("batch %s has more than %d measurements, too many for one document; print coil by coil", batch,
			record.MaxPage), ErrNoDocument}
	}
	var picked []record.Measurement
	for _, m := range StandingOfEach(list) {
		if all || m.Verdict == conformity.In {
			picked = append(picked, m)
		}
	}
	if len(picked) == 0 {
		return nil, &noDocument{fmt.Sprintf("batch %s has no coil to print a label for", batch), record.ErrNotFound}
	}
	return picked, nil
}

// Documented returns the result of a measurement computed anew, or an error that
// wraps ErrNoDocument unless the measurement stands and says the same.
func Documented(m record.Measurement) (r20.Result, error) {
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
			words.OhmsWithin(result.R20Ohms, result.ExpandedUncertaintyOhms),
			words.OhmsWithin(m.R20Ohms, m.ExpandedUncertaintyOhms))
	}
	if m.Verdict == "" {
		return result, nil
	}
	j, err := conformity.Judge(result.R20Ohms, result.StandardUncertaintyOhms, result.ExpandedUncertaintyOhms, m.Tolerance)
	if err != nil {
		return refuse("it has a verdict, but %v", err)
	}
	if j.Verdict != m.Verdict {
		return refuse("its numbers say %s, but the record says %s; verify the history", words.Verdict(j.Verdict), words.Verdict(m.Verdict))
	}
	return result, nil
}

// refusal says why there is no document for a measurement.
func refusal(m record.Measurement, format string, args ...any) error {
	return fmt.Errorf("%s, %s: %w: %s", cmp.Or(m.Serial, "no serial number"), m.ID, ErrNoDocument, fmt.Sprintf(format, args...))
}

// nearlyEqual allows for the last bits of another processor.
func nearlyEqual(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Abs(b) }

// Check returns the result of the coil computed anew. The error wraps
// ErrNoDocument for a measurement that does not stand or does not follow from its
// inputs, for a date of issue before it, for calibrations that belong elsewhere or
// to a later time, for a design other than the one the coil was judged by, and for
// an assembly whose parts do not add up to what they measure together. Its dates
// are those of a time zone; nil is UTC.
func (c Certified) Check(issued time.Time, zone *time.Location) (r20.Result, error) {
	result, err := Documented(c.Measurement)
	if err != nil {
		return result, err
	}
	if zone == nil {
		zone = time.UTC
	}
	if err := c.checkDates(issued, func(t time.Time) string { return words.Day(t, zone) }); err != nil {
		return result, err
	}
	if c.Assembly != nil {
		err = c.Assembly.check(c.Measurement)
	}
	return result, err
}

// checkDates says whether design, calibrations and date of issue are of this
// measurement; day writes a date.
func (c Certified) checkDates(issued time.Time, day func(time.Time) string) error {
	m := c.Measurement
	if issued.Before(m.Time) {
		return refusal(m, "it would be issued on %s, before the coil was measured on %s", day(issued), day(m.Time))
	}
	if d := c.Design; d != nil && (d.Name != m.Design || d.Revision != m.DesignRevision) {
		return refusal(m, "it was judged by %s revision %d, not by %s revision %d", m.Design, m.DesignRevision, d.Name, d.Revision)
	}
	for role, k := range map[record.Role]*record.Calibration{record.Meter: c.Meter, record.Probe: c.Probe} {
		switch {
		case k == nil:
		case k.Bench != m.Bench || k.Role != role:
			return refusal(m, "calibration %s is of the %s of bench %s, not of the %s of bench %s", k.ID, k.Role, k.Bench, role, m.Bench)
		case k.Time.After(m.Time):
			return refusal(m, "calibration %s of the %s is of %s, after the coil was measured", k.ID, role, day(k.Time))
		}
	}
	return nil
}

// check says whether both parts stand, and whether they add up.
func (a CertifiedAssembly) check(first record.Measurement) error {
	if _, err := Documented(a.Second); err != nil {
		return err
	}
	if a.Second.Serial == first.Serial {
		return fmt.Errorf("%s: %w: both parts of assembly %s have this serial number", first.Serial, ErrNoDocument, a.Serial)
	}
	if a.Together == nil {
		return nil
	}
	if _, err := Documented(*a.Together); err != nil {
		return err
	}
	sum := first.R20Ohms + a.Second.R20Ohms
	room := first.ExpandedUncertaintyOhms + a.Second.ExpandedUncertaintyOhms
	if math.Abs(a.Together.R20Ohms-sum) > room+a.Together.ExpandedUncertaintyOhms {
		return fmt.Errorf("assembly %s: %w: its parts add up to %s, but together they measure %s; look for a short, an open lead or a wrong "+
			"serial number, and measure again",
			a.Serial, ErrNoDocument, words.OhmsWithin(sum, room),
			words.OhmsWithin(a.Together.R20Ohms, a.Together.ExpandedUncertaintyOhms))
	}
	return nil
}
