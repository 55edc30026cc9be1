package workshop

import (
	"slices"
	"time"

	"coilkeep/internal/record"
)

// CalibrationInForce is the one calibration that holds for an instrument at an
// instant: of those made by then the newest that is of its role and of that very
// instrument, or was entered without the name of one. list holds the
// calibrations of its bench, the newest first; those of other instruments never
// change the answer. It is nil when there is none.
//
// An instrument goes by the label that measurements keep of it: what it says it
// is, or else its driver and port ("manual" when a person types what it shows). One
// that says something else now is another instrument, and has only what was
// entered under its new label. Without a label it has only what names none. Where an
// instrument was known by another label before, all of its labels are told.
func CalibrationInForce(list []record.Calibration, role record.Role, at time.Time, labels ...string) *record.Calibration {
	return newest(list, at, func(c record.Calibration) (time.Time, bool) {
		return c.Time, c.Role == role && isOf(c.Instrument, labels)
	})
}

// LeadZeroInForce is the one lead zero that holds for a meter at an instant, as
// [CalibrationInForce] does for calibrations.
func LeadZeroInForce(list []record.LeadZero, at time.Time, labels ...string) *record.LeadZero {
	return newest(list, at, func(z record.LeadZero) (time.Time, bool) {
		return z.Time, isOf(z.Meter, labels)
	})
}

// CalibrationsBehind are the calibrations of meter and probe that a measurement
// rests on; nil where there was none, or where list lacks it. A measurement names
// them; one that does not, because it is older than that, is taken to rest on those
// in force at its time by what is known today, but not on one of the meter whose
// correction is not the one that was applied.
func CalibrationsBehind(list []record.Calibration, m record.Measurement) (meter, probe *record.Calibration) {
	if m.MeterCalibrationID != nil {
		meter = calibrationOf(list, *m.MeterCalibrationID)
	} else if c := CalibrationInForce(list, record.Meter, m.Time, m.Meter); c != nil && c.CorrectionRatio == m.Inputs.CorrectionRatio {
		meter = c
	}
	if m.ProbeCalibrationID != nil {
		return meter, calibrationOf(list, *m.ProbeCalibrationID)
	}
	return meter, CalibrationInForce(list, record.Probe, m.Time, m.Probe)
}

// calibrationOf is the calibration of an id; nil when there is none.
func calibrationOf(list []record.Calibration, id string) *record.Calibration {
	i := slices.IndexFunc(list, func(c record.Calibration) bool { return c.ID == id })
	if i < 0 {
		return nil
	}
	return &list[i]
}

// isOf says whether a statement about an instrument is about this one. A
// statement without a name is about whatever the bench has.
func isOf(named string, labels []string) bool { return named == "" || slices.Contains(labels, named) }

// newest picks from a list, the newest first, the newest of those that apply and
// are not after an instant; the first one when several are as new.
func newest[T any](list []T, at time.Time, applies func(T) (made time.Time, ok bool)) (found *T) {
	var foundAt time.Time
	for i := range list {
		made, ok := applies(list[i])
		if ok && !made.After(at) && (found == nil || made.After(foundAt)) {
			found, foundAt = &list[i], made
		}
	}
	return found
}
