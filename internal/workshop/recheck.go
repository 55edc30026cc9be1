package workshop

import (
	"context"
	"errors"
	"math"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
)

const (
	// MostRechecked bounds how many measurements are computed again for one
	// answer.
	MostRechecked = 20000
	// ListedRechecked is how many of each list an answer holds.
	ListedRechecked = 500
)

// greatestCorrection bounds what an instrument may have been off by, in percent or
// kelvin; more is taken for a slip of the pen.
const greatestCorrection = 10

// Correction is what an instrument should have been corrected by.
type Correction struct {
	Role record.Role
	// Value is in percent for a meter: the true resistance is what it showed
	// times (1 + Value/100). For a probe it is in kelvin, to be added to what
	// it showed.
	Value float64
}

// Unit is the unit of Value.
func (c Correction) Unit() string {
	if c.Role == record.Probe {
		return "K"
	}
	return "%"
}

// over returns what a measurement would have been computed from. A correction
// of the meter takes the place of the recorded one.
func (c Correction) over(in r20.Inputs) r20.Inputs {
	if c.Role == record.Probe {
		in.TemperatureCelsius += c.Value
		return in
	}
	in.CorrectionRatio = c.Value / 100
	return in
}

// RecheckRequest asks which coils an instrument that was off has touched.
type RecheckRequest struct {
	// Instrument is one that has measured; the zero value is none.
	Instrument record.Instrument
	// From is the earliest time, To the first one that is too late; zero is no
	// bound.
	From, To   time.Time
	Correction Correction
}

// Check says what cannot be answered, as a *record.FieldError.
func (r RecheckRequest) Check() error {
	switch {
	case r.Instrument.Identity == "":
		return record.Invalid("instrument", "choose an instrument that this bench has measured with")
	case !r.From.IsZero() && !r.To.IsZero() && !r.From.Before(r.To):
		return record.Invalid("to", "must not be before the first day")
	case !(math.Abs(r.Correction.Value) <= greatestCorrection):
		return record.Invalid("correction", "must be from -%d to %d %s, not %g", greatestCorrection, greatestCorrection,
			r.Correction.Unit(), r.Correction.Value)
	}
	return nil
}

// RecheckedMeasurement is a measurement beside what it would be under a correction.
type RecheckedMeasurement struct {
	record.Measurement
	Corrected r20.Result
	// NewVerdict is "" for a coil that was not judged.
	NewVerdict conformity.Verdict
	// Trouble is why it cannot be computed; empty when it can.
	Trouble string
}

// Changed is true when a measurement that stands has another verdict.
func (r RecheckedMeasurement) Changed() bool {
	return r.Trouble == "" && r.Stands() && r.NewVerdict != r.Verdict
}

// RecheckMeasurement computes a measurement anew under a correction, and judges it
// by the tolerance it was judged by then.
func RecheckMeasurement(m record.Measurement, c Correction) RecheckedMeasurement {
	r := RecheckedMeasurement{Measurement: m}
	var err error
	if r.Corrected, err = r20.Evaluate(c.over(m.Inputs)); err != nil {
		r.Trouble = err.Error()
		return r
	}
	if m.Verdict == "" {
		return r
	}
	judgement, err := conformity.Judge(r.Corrected.R20Ohms, r.Corrected.StandardUncertaintyOhms, r.Corrected.ExpandedUncertaintyOhms,
		m.Tolerance)
	if err != nil {
		r.Trouble = err.Error()
	}
	r.NewVerdict = judgement.Verdict
	return r
}

// RecheckAnswer is the answer to "the meter was off; which coils?".
type RecheckAnswer struct {
	// Count is how many measurements were computed, Coils how many coils they
	// are of.
	Count, Coils int
	// Changed are those with another verdict, Same the others, in order of
	// time; each at most ListedRechecked.
	Changed, Same []RecheckedMeasurement
	// MoreChanged and MoreSame are how many further ones there are.
	MoreChanged, MoreSame int
	// Troubled is how many of Same cannot be computed.
	Troubled int
	Cut      bool // there are more than were computed
	// LargestShift and MeanShift are of R20, as a ratio of what is recorded.
	LargestShift, MeanShift float64
}

// ChangedCount is how many measurements have another verdict.
func (a RecheckAnswer) ChangedCount() int { return len(a.Changed) + a.MoreChanged }

// UseStore tells what an instrument was used for.
type UseStore interface {
	EachUse(ctx context.Context, f record.UseFilter, fn func(record.Measurement) error) error
}

// errEnough ends a list that is longer than wanted.
var errEnough = errors.New("enough")

// Recheck takes the measurements of an instrument one by one, in order of time, and
// says what each would be under the correction. Nothing is changed. After an error
// there is no answer: half a list would look like a whole one.
func Recheck(ctx context.Context, store UseStore, r RecheckRequest) (RecheckAnswer, error) {
	if err := r.Check(); err != nil {
		return RecheckAnswer{}, err
	}
	var a RecheckAnswer
	coils := map[string]bool{}
	shifts := 0.0
	filter := record.UseFilter{Bench: r.Instrument.Bench, Role: r.Instrument.Role, Identity: r.Instrument.Identity, From: r.From, To: r.To}
	err := store.EachUse(ctx, filter, func(m record.Measurement) error {
		if a.Count == MostRechecked {
			a.Cut = true
			return errEnough
		}
		coils[m.Serial] = true
		shifts += a.take(RecheckMeasurement(m, r.Correction))
		return nil
	})
	if err != nil && !errors.Is(err, errEnough) {
		return RecheckAnswer{}, err
	}
	a.Coils = len(coils)
	if computed := a.Count - a.Troubled; computed > 0 {
		a.MeanShift = shifts / float64(computed)
	}
	return a, nil
}

// take counts a measurement in, and returns how far its R20 moves.
func (a *RecheckAnswer) take(one RecheckedMeasurement) (shift float64) {
	a.Count++
	if one.Trouble != "" {
		a.Troubled++
	} else {
		shift = one.Corrected.R20Ohms/one.R20Ohms - 1
		if math.Abs(shift) > math.Abs(a.LargestShift) {
			a.LargestShift = shift
		}
	}
	if one.Changed() {
		a.MoreChanged += listRechecked(&a.Changed, one)
	} else {
		a.MoreSame += listRechecked(&a.Same, one)
	}
	return shift
}

// listRechecked appends to a list that is shown, and returns 1 when it is full.
func listRechecked(list *[]RecheckedMeasurement, one RecheckedMeasurement) int {
	if len(*list) >= ListedRechecked {
		return 1
	}
	*list = append(*list, one)
	return 0
}
