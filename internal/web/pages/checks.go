package pages

import (
	"context"
	"errors"
	"fmt"

	"coilkeep/internal/chart"
	"coilkeep/internal/control"
	"coilkeep/internal/gauge"
	"coilkeep/internal/record"
)

// watchedChecks is how many measurements of check standards are looked at.
const watchedChecks = 500

// checkView is the chart of the check standard measured last at a bench.
type checkView struct {
	Standard string
	Sentence string
	// Signal is true when the latest measurement is beyond its limits.
	Signal bool
	Chart  drawing
}

// checkChart charts the check standard that a bench measured last; the zero view
// when it has measured none.
func (s instrumentPages) checkChart(ctx context.Context, bench string) (checkView, error) {
	checks, err := s.History.CheckMeasurements(ctx, record.CheckFilter{Bench: bench, Limit: watchedChecks})
	if err != nil || len(checks) == 0 {
		return checkView{}, err
	}
	view := checkView{Standard: checks[0].Standard}
	c := chart.Control{Name: view.Standard, Ohms: true, Axis: "measurement"}
	var occasions []float64
	for i := len(checks) - 1; i >= 0; i-- {
		if checks[i].Standard != view.Standard {
			continue
		}
		ohms := checks[i].MeasuredOhms
		occasions = append(occasions, ohms)
		c.Values = append(c.Values, &ohms)
		c.Sequences = append(c.Sequences, len(occasions))
	}
	n := len(occasions)
	watched, err := gauge.WatchCheckStandard(occasions, gauge.CheckBaseline(n), control.StandardScheme())
	switch {
	case errors.Is(err, gauge.ErrInput):
		c.Centre = reference(checks, view.Standard)
		view.Sentence = fmt.Sprintf("No limits for %s yet: they need %d measurements, and there are %d.", view.Standard, gauge.MinCheckBaseline,
			n)
	case err != nil:
		return checkView{}, err
	default:
		c.Centre, c.Lower, c.Upper = watched.Centre, []float64{watched.Lower}, []float64{watched.Upper}
		c.Signals = watched.Outside
		view.say(watched)
	}
	view.Chart = s.drawn("Check standard "+view.Standard, n <= chartedNarrow, func(v chart.View) (*chart.Picture, error) {
		c.View = v
		return c.Picture()
	})
	return view, nil
}

// reference is the reference value of a standard as last told.
func reference(checks []record.CheckMeasurement, standard string) float64 {
	for _, c := range checks {
		if c.Standard == standard {
			return c.NominalOhms
		}
	}
	return 0
}

// say tells how the standard stands against its own limits.
func (v *checkView) say(w gauge.CheckStandard) {
	last := func(indices []int) bool { return len(indices) > 0 && indices[len(indices)-1] == w.Count }
	limits := fmt.Sprintf("its limits come from its first %d measurements", w.BaselineCount)
	v.Signal = last(w.Outside) || last(w.EWMAOutside)
	switch {
	case last(w.Outside):
		v.Sentence = fmt.Sprintf("The latest measurement of %s is beyond its limits: measure it again, then look at the clips, the leads "+
			"and the meter before the winder; %s.", v.Standard, limits)
	case v.Signal:
		v.Sentence = fmt.Sprintf("The running mean of %s has moved: the meter, its leads or the room drift; %s.", v.Standard, limits)
	default:
		v.Sentence = fmt.Sprintf("%s is within its limits; %s.", v.Standard, limits)
	}
}
