package pages

import (
	"bytes"
	"context"
	"errors"
	"html/template"
	"net/http"
	"strconv"
	"strings"
	"time"

	"coilkeep/internal/chart"
	"coilkeep/internal/record"
	"coilkeep/internal/report"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/words"
	"coilkeep/internal/workshop"
)

// mostCharted is how many coils one picture of a page shows.
const mostCharted = 1000

// driftView is what a page shows of a drift analysis.
type driftView struct {
	// Batch is the name of the batch, "" for a winder; PDF is where the report is.
	Batch, PDF string
	// Drift is nil while there is no coil.
	Drift *workshop.Drift
	Chart drawing
	// More is true when the picture leaves the first coils out.
	More bool
	// Controls are the control charts, for those who ask.
	Controls []drawing
	// Trouble is why there is no analysis; empty when there is.
	Trouble string
	// Acknowledge and Baseline are the forms, with what was filled in.
	Acknowledge, Baseline form
}

// Signals says the signals that stand, in words.
func (v driftView) Signals() []string {
	words := map[string]string{workshop.SignalEWMA: "EWMA", workshop.SignalCUSUM: "CUSUM", workshop.SignalStep: "a step",
		workshop.SignalTrend: "a trend"}
	var list []string
	for _, name := range v.Drift.Standing {
		if w, ok := words[name]; ok {
			list = append(list, w)
		} else {
			list = append(list, "rule "+name)
		}
	}
	return list
}

// driftForms are the forms about a batch; the one that was sent holds what was
// filled in.
type driftForms struct{ Acknowledge, Baseline form }

// batchDrift is what the page of a batch shows of its drift. An analysis that
// fails does not hide the rest of the page.
func (s driftPages) batchDrift(ctx context.Context, batch record.Batch, coils []record.Measurement, all bool, forms driftForms) driftView {
	view := driftView{Batch: batch.Name, PDF: pagePath("batches", batch.Name, "drift.pdf"), Acknowledge: forms.Acknowledge,
		Baseline: forms.Baseline}
	d, err := s.Drift.Batch(ctx, batch.Name)
	if err != nil {
		if !errors.Is(err, workshop.ErrNoCoils) {
			s.Logger.Warn("no drift analysis", "batch", batch.Name, "err", err)
			view.Trouble = problem.Classify(err).Detail
		}
		if len(coils) > 0 { // all withdrawn
			view.Chart = s.drawnRun(chart.Run{Measurements: coils, Spools: batch.Spools})
		}
		return view
	}
	if all {
		run := chart.Wander(d.Report, byID(coils))
		run.Measurements = coils // the withdrawn ones too
		s.fillDrift(&view, d, run)
		return view
	}
	newest, _, err := s.History.Measurements(ctx, record.Filter{Batch: batch.Name, Newest: true, Limit: mostCharted})
	if err != nil {
		s.Logger.Warn("no picture of the batch", "batch", batch.Name, "err", err)
		view.Drift, view.Chart = &d, drawing{Trouble: problem.Classify(err).Detail}
		return view
	}
	s.fillDrift(&view, d, liveRun(&d.Report, withoutFirsts(newest), batch.Spools))
	view.More = true
	return view
}

// fillDrift adds the analysis and its pictures.
func (s driftPages) fillDrift(view *driftView, d workshop.Drift, run chart.Run) {
	view.Drift = &d
	view.More = len(run.Measurements) > mostCharted
	run = latestRun(run, mostCharted)
	view.Chart = s.drawnRun(run)
	for _, c := range chart.Controls(d.Report, mostCharted) {
		view.Controls = append(view.Controls, s.drawn(c.Title, len(c.Sequences) <= chartedNarrow, func(v chart.View) (*chart.Picture, error) {
			c.View = pageWide(v)
			return c.Picture()
		}))
	}
}

// pageWide has a picture take the whole width of a page; one for a telephone is
// drawn higher, because its legend takes several lines.
func pageWide(v chart.View) chart.View {
	if v.Size.Width == 0 {
		v.Size.Width = 1120
	} else {
		v.Size.Height = 400
	}
	return v
}

func (s driftPages) drawnRun(run chart.Run) drawing {
	return s.drawn("The coils in the order they were wound", len(run.Measurements) <= chartedNarrow,
		func(v chart.View) (*chart.Picture, error) {
			run.View = pageWide(v)
			return run.Picture()
		})
}

// driftWords are the template functions of these pages.
func driftWords() template.FuncMap {
	return template.FuncMap{
		"join":       strings.Join,
		"prose":      typesetSentence,
		"sources":    sources,
		"add":        func(a, b int) int { return a + b },
		"usualParts": func() int { return workshop.UsualStudyParts },
		"known":      knownWords,
	}
}

// typesetSentence sets the sentences of the analysis as a page sets numbers: with minus
// signs, and units that stay on the line of their number.
func typesetSentence(text string) string {
	return strings.NewReplacer(" %", "\u00a0%", " Ω", "\u00a0Ω", " kΩ", "\u00a0kΩ").Replace(words.Minus(text))
}

// acknowledgeForm keeps a note about the signals that stand.
func (s batchPages) acknowledgeForm(w http.ResponseWriter, r *http.Request) error {
	batch := r.PathValue("batch")
	return s.submit(w, r, func(f form) (string, error) {
		_, err := s.Drift.Acknowledge(r.Context(), batch, f.Get("note"), signedBy(f, r))
		return pagePath("batches", batch) + "#drift", err
	}, func(status int, f form) error {
		return s.showBatch(w, r, status, driftForms{Acknowledge: f})
	})
}

// baselineForm has other coils set the limits.
func (s batchPages) baselineForm(w http.ResponseWriter, r *http.Request) error {
	batch := r.PathValue("batch")
	return s.submit(w, r, func(f form) (string, error) {
		choice := workshop.BaselineChoice{Batch: batch, Reason: f.Get("reason"), Who: signedBy(f, r)}
		for _, field := range []struct {
			name  string
			place *int
		}{{"from", &choice.From}, {"count", &choice.Count}} {
			n, err := strconv.Atoi(f.Get(field.name))
			if err != nil {
				return "", problem.Invalid.InField(field.name, "%q is not a whole number", f.Get(field.name))
			}
			*field.place = n
		}
		_, err := s.Drift.Revise(r.Context(), choice)
		return pagePath("batches", batch) + "#drift", err
	}, func(status int, f form) error {
		return s.showBatch(w, r, status, driftForms{Baseline: f})
	})
}

// batchDriftPDF downloads the report of a batch.
func (s driftPages) batchDriftPDF(w http.ResponseWriter, r *http.Request) error {
	batch, err := s.History.Batch(r.Context(), r.PathValue("batch"))
	if err != nil {
		return err
	}
	d, err := s.Drift.Batch(r.Context(), batch.Name)
	if err != nil {
		return err
	}
	return s.driftPDF(w, r, "Batch "+batch.Name, d)
}

// driftPDF downloads a report.
func (s driftPages) driftPDF(w http.ResponseWriter, r *http.Request, heading string, d workshop.Drift) error {
	document, err := report.NewDrift(heading, d.Report)
	if err != nil {
		return err
	}
	document.Workshop = report.Workshop{Name: s.Workshop, Contact: s.Contact}
	document.Made, document.Zone = s.Now(), time.Local
	var b bytes.Buffer
	if err := document.WritePDF(&b); err != nil {
		return err
	}
	s.download(w, "application/pdf", "drift of "+heading+".pdf", b.Bytes())
	return nil
}
