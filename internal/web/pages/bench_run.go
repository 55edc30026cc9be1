package pages

import (
	"context"
	"html/template"
	"net/http"
	"strconv"

	"coilkeep/internal/bench"
	"coilkeep/internal/chart"
	"coilkeep/internal/drift"
	"coilkeep/internal/record"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
)

const (
	// shownMeasurements is how many of a bench's measurements its page lists.
	shownMeasurements = 10
	// chartedMeasurements is how many of a batch its page draws.
	chartedMeasurements = 150
	// shownNotes is how many of the notes of a batch its page shows.
	shownNotes = 3
	// narrowLegend is the width in pixels below which a picture is drawn higher.
	narrowLegend = 480
)

// runView is what the page of a bench shows of the records: the batch so far
// and the latest measurements.
type runView struct {
	Bench string
	Batch *record.Batch
	// Misfit says that the latest coils miss the design of the batch; "" when not.
	Misfit string
	// Sums are those of the batch.
	Sums sumsView
	// Chart is the picture of the batch; empty without a measurement.
	Chart template.HTML
	// Recent lists the latest measurements, the newest first.
	Recent []record.Measurement
	// Drift says how the batch fares; its Drift is nil without a coil.
	Drift driftView
	Notes []record.JournalEntry
	// Trouble is why the history cannot be read; empty when it can.
	Trouble string
	// Start is shown until the first coil is measured.
	Start *startView
}

// run serves the records of a bench's page. With ?width= the picture is drawn
// so many pixels wide.
func (s benchPages) run(w http.ResponseWriter, r *http.Request) error {
	b, err := s.benches.Named(r.PathValue("bench"))
	if err != nil {
		return err
	}
	width := 0
	if text := r.URL.Query().Get("width"); text != "" {
		if width, err = strconv.Atoi(text); err != nil || width < 1 {
			return problem.Invalid.InField("width", "%q is not a whole number of pixels", text)
		}
	}
	return s.renderPart(w, "run", s.runView(r.Context(), b.Snapshot(), width))
}

// runView asks the history. When it cannot be read the page says so and still
// shows what is on the clips.
func (s benchPages) runView(ctx context.Context, snapshot bench.Snapshot, width int) runView {
	view := runView{Bench: snapshot.Bench, Batch: snapshot.Batch}
	if err := s.fillRun(ctx, &view, snapshot, width); err != nil {
		s.Logger.Error("the page cannot show the records", "bench", snapshot.Bench, "err", err)
		view.Trouble = problem.Classify(err).Detail
	}
	return view
}

func (s benchPages) fillRun(ctx context.Context, view *runView, snapshot bench.Snapshot, width int) (err error) {
	kept := s.History
	if view.Start, err = s.startView(ctx, snapshot); err != nil {
		return err
	}
	recent, _, err := kept.Measurements(ctx, record.Filter{Bench: snapshot.Bench, Newest: true, Limit: 2 * shownMeasurements})
	recent = withoutFirsts(recent)
	view.Recent = recent[:min(len(recent), shownMeasurements)]
	if err != nil || snapshot.Batch == nil {
		return err
	}
	view.Drift = s.drift.liveDrift(ctx, snapshot.Batch.Name)
	view.Notes, err = kept.Journal(ctx, record.JournalFilter{Bench: snapshot.Bench, Action: api.NoteAction,
		From: snapshot.Batch.OpenedAt, Limit: shownNotes})
	if err != nil {
		return err
	}
	if view.Sums, err = s.batches.batchSums(ctx, snapshot.Batch.Name, view.Drift.Drift); err != nil {
		return err
	}
	coils, _, err := kept.Measurements(ctx, record.Filter{Batch: snapshot.Batch.Name, Newest: true, Limit: chartedMeasurements})
	if err != nil || len(coils) == 0 {
		return err
	}
	if view.Misfit, err = s.batches.misfit(ctx, *snapshot.Batch, coils); err != nil {
		return err
	}
	var report *drift.Report
	if d := view.Drift.Drift; d != nil {
		report = &d.Report
	}
	view.Chart, err = drawRun(snapshot, liveRun(report, withoutFirsts(coils), snapshot.Batch.Spools), width)
	return err
}

// drawRun draws the run of a batch; width 0 takes the picture's own.
func drawRun(snapshot bench.Snapshot, run chart.Run, width int) (template.HTML, error) {
	run.View, run.Title = inPage(), "Batch "+snapshot.Batch.Name
	if d := snapshot.Design; run.Design == nil && d != nil && d.Name == snapshot.Batch.Design {
		run.Design = d
	}
	if width > 0 {
		run.Size = chart.Size{Width: float64(min(max(width, 300), 1200)), Height: 300}
		if width < narrowLegend {
			run.Size.Height = 380 // the legend takes several lines
		}
	}
	return drawnSVG(run.Picture())
}
