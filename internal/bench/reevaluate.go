package bench

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"coilkeep/internal/capture"
	"coilkeep/internal/conformity"
	"coilkeep/internal/quantity"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
	"coilkeep/internal/warmth"
)

// Knowledge is what is known today of how coils come to a bench and how they
// cool, for evaluating an older measurement. A zero field tells nothing; what is
// not known is then taken from the settings of the day.
type Knowledge struct {
	Arrive warmth.Arrival
	// Design is the newest revision of the coil's design: what was learned of
	// its time constant since.
	Design *record.Design
}

// in is the settings of the day with what is known today.
func (k Knowledge) in(s capture.Settings) capture.Settings {
	if k.Arrive != warmth.Unknown {
		s.Arrive = k.Arrive
	}
	if k.Design != nil && k.Design.TimeConstantSeconds > 0 {
		s = coolingOf(s, *k.Design)
	}
	return s
}

// OlderRules is true for a measurement that today's rules may evaluate again: it
// was captured or computed by older ones, and its uncertainty was not told as a
// whole. The error is for a context that cannot be read.
func OlderRules(m record.Measurement) (bool, error) {
	if len(m.Context) == 0 { // from a table
		return m.Formula < r20.Formula && m.Inputs.ToldExpandedUncertaintyOhms == 0, nil
	}
	s, err := newStored(m, nil)
	return err == nil && s.context.Rules < capture.Rules, err
}

// Reevaluate makes of a measurement of older rules what today's rules make of its
// readings, those of the same window, judged by the tolerance of the day. The
// new measurement supersedes the old one; why is kept as its reason. Nothing is
// stored. The error says for people why there is none.
func Reevaluate(m record.Measurement, readings []record.Reading, k Knowledge, why string) (record.Measurement, []record.Reading, error) {
	if len(m.Settings) == 0 || len(m.Context) == 0 {
		return reevaluateTyped(m, readings, k, why)
	}
	old, err := newStored(m, readings)
	if err != nil {
		return record.Measurement{}, nil, err
	}
	result, err := capture.Reassess(k.in(old.settings), old.context.Circumstances, old.entries())
	if err != nil {
		return record.Measurement{}, nil, err
	}
	if !result.Time.Equal(m.Time) {
		return record.Measurement{}, nil, errors.New("its readings do not end when it was taken: they are not those of the day")
	}
	again, entries, err := NewRecord(*result, Filing{})
	if err != nil {
		return record.Measurement{}, nil, err
	}
	again.Context, err = json.Marshal(captureContext{Rules: capture.Rules, Reassessed: true, Circumstances: result.Circumstances()})
	return succeed(again, m, why), entries, err
}

// unwatchedTimeConstant is that of a coil nobody watched, where it plays no part.
const unwatchedTimeConstant = 10 * time.Minute

// reevaluateTyped evaluates a value from a table, which has neither settings nor
// an approach: only what is taken to be known of the copper is new.
func reevaluateTyped(m record.Measurement, readings []record.Reading, k Knowledge, why string) (record.Measurement, []record.Reading,
	error) {
	if m.Inputs.ToldExpandedUncertaintyOhms != 0 {
		return record.Measurement{}, nil, errors.New("its uncertainty was told as a whole, and is not known in parts")
	}
	again := m
	again.ID = ""
	again.Notes = nil
	again.Inputs = k.in(capture.Settings{TimeConstant: unwatchedTimeConstant}).Unwatched(m.Inputs)
	result, err := r20.Evaluate(again.Inputs)
	if err != nil {
		return record.Measurement{}, nil, err
	}
	judged, err := conformity.Judge(result.R20Ohms, result.StandardUncertaintyOhms, result.ExpandedUncertaintyOhms, m.Tolerance)
	if err != nil {
		return record.Measurement{}, nil, err
	}
	again.Formula, again.Budget = r20.Formula, result.Budget
	again.R20Ohms, again.ExpandedUncertaintyOhms, again.CoverageFactor = result.R20Ohms, result.ExpandedUncertaintyOhms, result.CoverageFactor
	again.Verdict, again.ConformityProbability = judged.Verdict, judged.Probability
	return succeed(again, m, why), readings, nil
}

// succeed makes of a new result the measurement that takes the place of old: of
// the same coil, measured by the same people with the same instruments.
func succeed(again, old record.Measurement, why string) record.Measurement {
	again.Bench, again.Batch, again.Sequence = old.Bench, old.Batch, old.Sequence
	again.Design, again.DesignRevision, again.Tolerance = old.Design, old.DesignRevision, old.Tolerance
	again.Serial, again.Stage = old.Serial, old.Stage
	again.Spool, again.Winder, again.Operator = old.Spool, old.Winder, old.Operator
	again.Meter, again.Probe, again.CaptureSeconds = old.Meter, old.Probe, old.CaptureSeconds
	again.Status, again.Reason, again.Supersedes = old.Status, old.Reason, old.ID
	if old.Reason == "" {
		again.Reason = "evaluated again: " + why
	}
	again.Notes = append(again.Notes, fmt.Sprintf("evaluated again from its readings, the copper's temperature estimated; before, %s",
		quantity.FormatOhmsWithin(old.R20Ohms, old.ExpandedUncertaintyOhms)))
	return again
}
