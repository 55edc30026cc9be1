package pages

import (
	"context"
	"fmt"
	"net/http"
	"strings"

	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// home serves the page of the only bench, or the overview of all.
func (s benchPages) home(w http.ResponseWriter, r *http.Request) error {
	if len(s.Benches) == 1 {
		return s.showPage(w, r, s.Benches[0])
	}
	view := overviewView{frame: s.frame(benchesSection, "")}
	for _, snapshot := range s.benches.Snapshots() {
		view.Panels = append(view.Panels, newPanel(snapshot))
	}
	if len(view.Panels) > 0 {
		start, err := s.startView(r.Context(), view.Panels[0].Snapshot)
		if err != nil {
			return err
		}
		view.Start = start
	}
	return s.renderPage(w, "pages/benches", view)
}

// overviewView is what the overview shows.
type overviewView struct {
	frame
	Panels []panelView
	// Start is shown until the first coil is measured.
	Start *startView
}

// benchPage serves the page of one bench.
func (s benchPages) benchPage(w http.ResponseWriter, r *http.Request) error {
	b, err := s.benches.Named(r.PathValue("bench"))
	if err != nil {
		return err
	}
	return s.showPage(w, r, b)
}

func (s benchPages) showPage(w http.ResponseWriter, r *http.Request, b Bench) error {
	panel := newPanel(b.Snapshot())
	run := s.runView(r.Context(), panel.Snapshot, 0)
	return s.renderPage(w, "pages/bench", benchView{
		frame: s.frame(benchesSection, "Bench "+panel.Bench), Panel: panel, Run: run,
		Stages: []string{record.StageWound, record.StagePotted, record.StageAssembled},
	})
}

// benchView is everything the page of a bench shows.
type benchView struct {
	frame
	Panel  panelView
	Run    runView
	Stages []string
}

// panel serves what the page shows of the clips; the page's script fetches it
// when something has changed.
func (s benchPages) panel(w http.ResponseWriter, r *http.Request) error {
	b, err := s.benches.Named(r.PathValue("bench"))
	if err != nil {
		return err
	}
	return s.renderPart(w, "panel", newPanel(b.Snapshot()))
}

// panelView is what a page shows of a bench without asking the history.
type panelView struct {
	bench.Snapshot
	Instruments []bench.Instrument
	// Judged is the measurement of the coil on the clips, once it is recorded.
	Judged *record.Measurement
	// Before is the last measurement while nothing is on the clips: it stays large
	// until the next coil touches them.
	Before *record.Measurement
	// Deviation says how far the coil that is told about is from its target.
	Deviation string
	// Value is what is known of the coil on the clips, as recorded or so far, or was
	// recorded of the one before. It is nil when nothing is.
	Value *valueView
	Scale *scaleView
	// Gain says how well that is known and what leaving the coil on gives, Copper
	// how much warmer the copper is than the probe; "" while it is not known.
	Gain, Copper string
	// Lost are the coils that were not recorded.
	Lost lostView
	// Asking is true when a person is asked what to do with the clips.
	Asking bool
	// Typed lists the instruments that a person reads.
	Typed []bench.Instrument
}

// Told is the measurement whose verdict is shown: of the coil on the clips, or of the
// one before while they are open; nil when neither is there.
func (v panelView) Told() *record.Measurement {
	if v.Judged != nil {
		return v.Judged
	}
	return v.Before
}

// WhyNotAgain says why the last coil cannot be measured again now; "" when it can.
func (v panelView) WhyNotAgain() string {
	switch {
	case v.Batch == nil:
		return noBatch
	case v.Last == nil:
		return "No coil has been measured on this bench yet."
	}
	return ""
}

// WhyNotForce says why nothing can be recorded against the rules now; "" when it
// can.
func (v panelView) WhyNotForce() string {
	switch {
	case v.Batch == nil:
		return noBatch
	case v.State == capture.Offline || v.State == capture.Open:
		return "There is nothing on the clips to record."
	}
	return ""
}

// WhyNotVoid says why the last measurement cannot be withdrawn; "" when it can.
func (v panelView) WhyNotVoid() string {
	if v.Last != nil && !v.Last.Stands() {
		return "The last measurement is withdrawn already."
	}
	return ""
}

const noBatch = "No batch is open: start one first."

// valueView is an R20 with its expanded uncertainty.
type valueView struct{ R20Ohms, ExpandedOhms float64 }

// newPanel gathers what a page shows of the clips of a bench.
func newPanel(snapshot bench.Snapshot) panelView {
	view := panelView{Snapshot: snapshot, Asking: snapshot.State == capture.Asking, Copper: copperWords(snapshot),
		Lost: newLost(snapshot)}
	for _, instrument := range []bench.Instrument{snapshot.Meter, snapshot.Probe} {
		if instrument.Driver != "" || instrument.Fault != "" {
			view.Instruments = append(view.Instruments, instrument)
		}
		if instrument.Driver == "manual" {
			view.Typed = append(view.Typed, instrument)
		}
	}
	if asked := view.Lost.asked(); asked != nil && strings.HasPrefix(view.Words, asked.Serial+" was not recorded") {
		view.Words = "Waiting: is this " + asked.Serial + " again, or the next one?" // the rest stands in the alert
	}
	last := snapshot.Last
	if last != nil && !last.Stands() {
		last = nil
	}
	switch {
	case snapshot.State == capture.Recorded && last != nil:
		view.Judged = last
		view.Value = &valueView{last.R20Ohms, last.ExpandedUncertaintyOhms}
	case snapshot.R20Ohms != nil && snapshot.ExpandedUncertaintyOhms != nil:
		view.Value = &valueView{*snapshot.R20Ohms, *snapshot.ExpandedUncertaintyOhms}
	case snapshot.ResistanceOhms == nil:
		view.Before = last
		if last != nil {
			view.Value = &valueView{last.R20Ohms, last.ExpandedUncertaintyOhms}
		}
	}
	view.Gain = gainWords(snapshot, view.Judged)
	m, d := view.Told(), snapshot.Design
	ofDesign := m != nil && d != nil && m.Design == d.Name && m.DesignRevision == d.Revision
	shown := view.Value
	if m != nil && !ofDesign {
		shown = nil // it was judged by another
	}
	view.Scale = newScale(d, shown)
	if ofDesign {
		view.Deviation = words.PercentOff(m.R20Ohms, d.TargetOhms) + " from target"
	}
	return view
}

// startView is the way to the first measured coil, and how much of it is done.
type startView struct {
	HasDesign, HasBatch bool
	Bench               string
}

// startView returns nil once anything was measured.
func (s benchPages) startView(ctx context.Context, first bench.Snapshot) (*startView, error) {
	if first.Last != nil {
		return nil, nil
	}
	any, _, err := s.History.Measurements(ctx, record.Filter{Newest: true, Limit: 1})
	if err != nil || len(any) > 0 {
		return nil, err
	}
	designs, err := s.History.Designs(ctx)
	if err != nil {
		return nil, fmt.Errorf("designs for the page: %w", err)
	}
	return &startView{HasDesign: len(designs) > 0, HasBatch: first.Batch != nil, Bench: first.Bench}, nil
}
