package web

import (
	"context"
	"errors"
	"math"
	"net/http"
	"strings"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
)

const (
	// mostRechecked bounds how many measurements are computed again for one
	// page.
	mostRechecked = 20000
	// shownRechecked is how many of each list the page shows.
	shownRechecked = 500
)

// ChangedCount is how many measurements have another verdict.
func (v recheckView) ChangedCount() int { return len(v.Changed) + v.MoreChanged }

// correction is what an instrument should have been corrected by.
type correction struct {
	Role record.Role
	// Value is in percent for a meter: the true resistance is what it showed
	// times (1 + Value/100). For a probe it is in kelvin, to be added to what
	// it showed.
	Value float64
}

// Unit is the unit of Value.
func (c correction) Unit() string {
	if c.Role == record.Probe {
		return "K"
	}
	return "%"
}

// over returns what a measurement would have been computed from. A correction
// of the meter takes the place of the recorded one.
func (c correction) over(in r20.Inputs) r20.Inputs {
	if c.Role == record.Probe {
		in.TemperatureCelsius += c.Value
		return in
	}
	in.CorrectionRatio = c.Value / 100
	return in
}

// rechecked is a measurement beside what it would be under a correction.
type rechecked struct {
	record.Measurement
	Corrected r20.Result
	// NewVerdict is "" for a coil that was not judged.
	NewVerdict conformity.Verdict
	// Trouble is why it cannot be computed; empty when it can.
	Trouble string
}

// Changed is true when a measurement that stands has another verdict.
func (r rechecked) Changed() bool {
	return r.Trouble == "" && r.Stands() && r.NewVerdict != r.Verdict
}

// recheck computes a measurement anew under a correction.
func recheck(m record.Measurement, c correction) rechecked {
	r := rechecked{Measurement: m}
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

// recheckView is the answer to "the meter was off; which coils?".
type recheckView struct {
	frame
	Bench      string
	Known      []record.Instrument
	Instrument record.Instrument
	Correction correction
	Form       form
	// Asked is true when there is something to compute.
	Asked bool
	// compute shows what is above it and fills in what follows; the error says
	// why it cannot.
	compute func() error
	// Count is how many measurements were computed, Coils how many coils they
	// are of.
	Count, Coils int
	// Changed are those with another verdict, Same the others, in order of
	// time; each at most as many as are shown.
	Changed, Same           []rechecked
	MoreChanged, MoreSame   int
	Troubled                int
	Cut                     bool // there are more than were computed
	LargestShift, MeanShift float64
}

// Trouble computes the answer. It is called where the page shows the answer, so
// that everything above is on the screen by then: thousands of measurements take
// a while. It returns why there is no answer; "" when there is one.
func (v *recheckView) Trouble() string {
	if err := v.compute(); err != nil {
		v.Count = 0 // half a list is none
		return problem.Classify(err).Detail
	}
	return ""
}

// recheckPage lists every measurement that an instrument was used for between
// two dates, as recorded and as it would be under another correction.
func (s *site) recheckPage(w http.ResponseWriter, r *http.Request) error {
	b, err := s.benches.Named(r.PathValue("bench"))
	if err != nil {
		return err
	}
	name := b.Snapshot().Bench
	view := &recheckView{frame: s.frame(instrumentsSection, "Which coils?"), Bench: name, Form: filledIn(r.URL.Query())}
	if view.Known, err = s.server.History.Instruments(r.Context(), name); err != nil {
		return err
	}
	status := http.StatusOK
	if view.Form.Get("correction") != "" {
		filter, err := askRecheck(view)
		if err != nil {
			trouble := problem.Classify(err)
			if trouble.Kind != problem.Invalid {
				return err
			}
			view.Form.Field, view.Form.Problem, status = trouble.Field, trouble.Detail, problem.Invalid.Status
		} else {
			view.Asked = true
			view.compute = func() error {
				err := http.NewResponseController(w).Flush()
				if err == nil {
					err = s.fillRecheck(r.Context(), view, filter, mostRechecked)
				}
				if err != nil && r.Context().Err() == nil {
					s.log.Error("measurements not computed again", "bench", view.Bench, "err", err)
				}
				return err
			}
			return s.streamPage(w, "records/recheck", view)
		}
	}
	return s.renderPageAs(w, status, "records/recheck", view)
}

// instrumentKey names an instrument in the form.
func instrumentKey(i record.Instrument) string { return string(i.Role) + ":" + i.Identity }

// askRecheck reads the form into view and returns what to look through.
func askRecheck(view *recheckView) (filter record.UseFilter, err error) {
	for _, i := range view.Known {
		if instrumentKey(i) == view.Form.Get("instrument") {
			view.Instrument = i
		}
	}
	if view.Instrument.Identity == "" {
		return filter, problem.Invalid.InField("instrument", "choose an instrument that this bench has measured with")
	}
	filter = record.UseFilter{Bench: view.Bench, Role: view.Instrument.Role, Identity: view.Instrument.Identity}
	if filter.From, err = view.Form.day("from"); err != nil {
		return filter, err
	}
	if filter.To, err = view.Form.day("to"); err != nil {
		return filter, err
	}
	if !filter.To.IsZero() {
		_, filter.To = dayOf(filter.To) // the last day is one of them
	}
	if !filter.From.IsZero() && !filter.To.IsZero() && !filter.From.Before(filter.To) {
		return filter, problem.Invalid.InField("to", "must not be before the first day")
	}
	view.Correction = correction{Role: view.Instrument.Role}
	if view.Correction.Value, err = view.Form.number("correction"); err != nil {
		return filter, err
	}
	if v := view.Correction.Value; !(v >= -10 && v <= 10) {
		return filter, problem.Invalid.InField("correction", "must be from -10 to 10 %s, not %g", view.Correction.Unit(), v)
	}
	return filter, nil
}

// errEnough ends a list that is longer than wanted.
var errEnough = errors.New("enough")

// fillRecheck computes at most so many measurements anew.
func (s *site) fillRecheck(ctx context.Context, view *recheckView, filter record.UseFilter, most int) error {
	coils := map[string]bool{}
	shifts := 0.0
	err := s.server.History.EachUse(ctx, filter, func(m record.Measurement) error {
		if view.Count == most {
			view.Cut = true
			return errEnough
		}
		one := recheck(m, view.Correction)
		view.Count++
		coils[m.Serial] = true
		if one.Trouble != "" {
			view.Troubled++
		} else {
			shift := one.Corrected.R20Ohms/m.R20Ohms - 1
			shifts += shift
			if math.Abs(shift) > math.Abs(view.LargestShift) {
				view.LargestShift = shift
			}
		}
		if one.Changed() {
			view.MoreChanged += appendShown(&view.Changed, one)
		} else {
			view.MoreSame += appendShown(&view.Same, one)
		}
		return nil
	})
	if err != nil && !errors.Is(err, errEnough) {
		return err
	}
	view.Coils = len(coils)
	if computed := view.Count - view.Troubled; computed > 0 {
		view.MeanShift = shifts / float64(computed)
	}
	return nil
}

// appendShown appends to a list that is shown, and returns 1 when it is full.
func appendShown(list *[]rechecked, one rechecked) int {
	if len(*list) >= shownRechecked {
		return 1
	}
	*list = append(*list, one)
	return 0
}

// Between says which days were asked for.
func (v recheckView) Between() string {
	var parts []string
	if from := v.Form.Get("from"); from != "" {
		parts = append(parts, "from "+from)
	}
	if to := v.Form.Get("to"); to != "" {
		parts = append(parts, "to "+to)
	}
	if len(parts) == 0 {
		return "since its first use on " + v.Instrument.FirstAt.Local().Format(time.DateOnly)
	}
	return strings.Join(parts, " ")
}
