package pages

import (
	"html/template"
	"net/http"
	"strings"
	"time"

	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/words"
	"coilkeep/internal/workshop"
)

// recheckView is the page that asks which coils an instrument has touched that was
// off, and answers.
type recheckView struct {
	frame
	Bench      string
	Known      []record.Instrument
	Instrument record.Instrument
	Form       form
	// Correction is what was asked about.
	Correction workshop.Correction
	// Asked is true when there is something to answer.
	Asked bool
	workshop.RecheckAnswer
	// Trouble is why there is no answer; "" when there is one.
	Trouble string
}

// recheckPage lists every measurement that an instrument was used for between
// two dates, as recorded and as it would be under another correction.
func (s instrumentPages) recheckPage(w http.ResponseWriter, r *http.Request) error {
	b, err := s.benches.Named(r.PathValue("bench"))
	if err != nil {
		return err
	}
	name := b.Snapshot().Bench
	view := &recheckView{frame: s.frame(instrumentsSection, "Which coils?"), Bench: name, Form: filledIn(r.URL.Query())}
	if view.Known, err = s.History.Instruments(r.Context(), name); err != nil {
		return err
	}
	if view.Form.Get("correction") == "" {
		return s.renderPage(w, "records/recheck", view)
	}
	request, err := recheckRequest(view.Known, view.Form)
	if err == nil {
		err = request.Check()
	}
	if err != nil {
		if problem.Classify(err).Kind != problem.Invalid {
			return err
		}
		view.Form.fault(err)
		return s.renderPageAs(w, problem.Invalid.Status, "records/recheck", view)
	}
	view.Asked, view.Instrument, view.Correction = true, request.Instrument, request.Correction
	return s.streamPage(w, "records/recheck", view, func(func(template.HTML)) {
		var err error
		if view.RecheckAnswer, err = workshop.Recheck(r.Context(), s.History, request); err != nil {
			view.Trouble = problem.Classify(err).Detail
			if r.Context().Err() == nil {
				s.Logger.Error("measurements not computed again", "bench", name, "err", err)
			}
		}
	})
}

// instrumentKey names an instrument in the form.
func instrumentKey(i record.Instrument) string { return string(i.Role) + ":" + i.Identity }

// recheckRequest reads the form, where one of the known instruments is chosen.
func recheckRequest(known []record.Instrument, f form) (r workshop.RecheckRequest, err error) {
	for _, i := range known {
		if instrumentKey(i) == f.Get("instrument") {
			r.Instrument = i
		}
	}
	if r.From, err = f.day("from"); err != nil {
		return r, err
	}
	if r.To, err = f.day("to"); err != nil {
		return r, err
	}
	if !r.To.IsZero() {
		_, r.To = dayOf(r.To) // the last day is one of them
	}
	value, err := f.number("correction")
	r.Correction = workshop.Correction{Role: r.Instrument.Role, Value: value}
	return r, err
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
		return "since its first use on " + words.Day(v.Instrument.FirstAt, time.Local)
	}
	return strings.Join(parts, " ")
}
