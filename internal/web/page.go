package web

import (
	"context"
	"fmt"
	"net/http"

	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
	"coilkeep/internal/history"
)

// shownMeasurements is how many of a bench's measurements the page lists.
const shownMeasurements = 10

// pageView is everything the status page shows.
type pageView struct {
	frame
	Panels []panelView
	// Start is shown until the first coil is measured.
	Start *startView
}

// startView is the way to the first measured coil, and how much of it is done.
type startView struct {
	HasDesign, HasBatch bool
	Bench               string
}

// panelView is what the page shows of one bench.
type panelView struct {
	bench.Snapshot
	Instruments []bench.Instrument
	// Recent lists the latest measurements, the newest first.
	Recent []history.Measurement
	// Trouble is why they cannot be listed; empty when they can.
	Trouble string
	// Judged is the measurement of the coil on the clips, once it is recorded.
	Judged *history.Measurement
	// Deviation says how far that coil is from its target.
	Deviation string
	// Value is what is known of the coil on the clips: as recorded, or so far.
	// It is nil when nothing is.
	Value *valueView
	Scale *scaleView
}

// valueView is an R20 with its expanded uncertainty.
type valueView struct{ R20Ohms, ExpandedOhms float64 }

// page serves the status page.
func (s *site) page(w http.ResponseWriter, r *http.Request) error {
	view := pageView{frame: s.frame(benchesSection, "")}
	used := len(s.server.Benches) == 0
	for _, snapshot := range s.snapshots() {
		panel := s.panelView(r.Context(), snapshot)
		used = used || len(panel.Recent) > 0 || panel.Trouble != ""
		view.Panels = append(view.Panels, panel)
	}
	if !used {
		designs, err := s.server.History.Designs(r.Context())
		if err != nil {
			return fmt.Errorf("designs for the page: %w", err)
		}
		first := view.Panels[0]
		view.Start = &startView{HasDesign: len(designs) > 0, HasBatch: first.Batch != nil, Bench: first.Bench}
	}
	return s.renderPage(w, "pages/benches", view)
}

// panel serves the part of the page that belongs to one bench; the page's
// script fetches it when something has changed.
func (s *site) panel(w http.ResponseWriter, r *http.Request) error {
	b, err := s.bench(r)
	if err != nil {
		return err
	}
	return s.renderPart(w, "panel", s.panelView(r.Context(), b.Snapshot()))
}

// panelView gathers what the page shows of a bench. A history that cannot be
// read does not hide what is on the clips.
func (s *site) panelView(ctx context.Context, snapshot bench.Snapshot) panelView {
	view := panelView{Snapshot: snapshot}
	for _, instrument := range []bench.Instrument{snapshot.Meter, snapshot.Probe} {
		if instrument.Driver != "" || instrument.Fault != "" {
			view.Instruments = append(view.Instruments, instrument)
		}
	}
	switch {
	case snapshot.State == string(capture.Recorded) && snapshot.Last != nil:
		view.Judged = snapshot.Last
		view.Value = &valueView{view.Judged.R20Ohms, view.Judged.ExpandedUncertaintyOhms}
	case snapshot.R20Ohms != nil && snapshot.ExpandedUncertaintyOhms != nil:
		view.Value = &valueView{*snapshot.R20Ohms, *snapshot.ExpandedUncertaintyOhms}
	}
	view.Scale = newScale(snapshot.Design, view.Value)
	if m, d := view.Judged, snapshot.Design; m != nil && d != nil && m.Design == d.Name && m.DesignRevision == d.Revision {
		view.Deviation = deviation(m.R20Ohms, d.TargetOhms)
	}
	recent, _, err := s.server.History.Measurements(ctx,
		history.Filter{Bench: snapshot.Bench, Newest: true, Limit: shownMeasurements})
	if err != nil {
		s.log.Error("the page cannot list measurements", "bench", snapshot.Bench, "err", err)
		view.Trouble = classify(err).detail
	}
	view.Recent = recent
	return view
}
