package pages

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/url"

	"coilkeep/internal/chart"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
	"coilkeep/internal/uncertainty"
	"coilkeep/internal/web/api"
	"coilkeep/internal/words"
	"coilkeep/internal/workshop"
)

// shownDeeds is how many entries of the journal the page of a coil shows.
const shownDeeds = 50

// coilView is the page of one coil.
type coilView struct {
	frame
	record.Coil
	// Shown is the measurement that is shown in full.
	Shown    record.Measurement
	Stands   bool
	Largest  *uncertainty.Component // of the budget; nil without one
	Spec     *record.Design         // what it was judged by; nil without a design
	Scale    drawing
	Capture  drawing
	Outliers int
	// MeterCalibration and ProbeCalibration were in force then.
	MeterCalibration, ProbeCalibration *calibrationView
	Journal                            []record.JournalEntry
	// Outside are the comparisons with what buyers measured.
	Outside []record.Comparison
	// Assembly is what it is sold in; nil for a coil that is sold alone.
	Assembly *record.Assembly
	// Doubts speak against selling it so.
	Doubts []string
	Form   form
}

// ByPerson is true when the reason of the measurement is somebody's, and false for
// a coil that stayed on the clips and was measured better.
func (v coilView) ByPerson() bool { return v.Shown.Reason != record.MeasuredLonger }

// Older is true when an older formula gave the measurement, and it stands.
func (v coilView) Older() bool { return workshop.OlderFormula(v.Shown) }

// supersededBy is the measurement that took the place of m; nil when none did.
func supersededBy(m record.Measurement, all []record.Measurement) *record.Measurement {
	for i := range all {
		if all[i].Supersedes == m.ID {
			return &all[i]
		}
	}
	return nil
}

// copperAgainstProbe says how the temperature of the copper was had; "" where that
// is part of an uncertainty told as a whole.
func copperAgainstProbe(in r20.Inputs) string {
	if in.ToldExpandedUncertaintyOhms != 0 {
		return ""
	}
	if in.CopperExcessUncertaintyKelvin == 0 {
		return fmt.Sprintf("not estimated: taken to be within %s of each other, a bound that was reckoned with as a rectangle",
			words.AtMost(in.CoilDifferenceHalfWidthKelvin, 2)+" K")
	}
	within := uncertainty.CoverageFactor(0) * in.CopperExcessUncertaintyKelvin
	where := "above it"
	if in.CopperExcessKelvin < 0 {
		where = "below it"
	}
	text := fmt.Sprintf("estimated %s ± %s %s (95 %%)", words.KelvinWithin(math.Abs(in.CopperExcessKelvin), within),
		words.KelvinWithin(within, within), where)
	if in.CoilDifferenceHalfWidthKelvin > 0 {
		text += fmt.Sprintf(", and lastingly within %s K of it", words.AtMost(in.CoilDifferenceHalfWidthKelvin, 2))
	}
	if in.CopperExcessOrigin != "" {
		text += "; from " + in.CopperExcessOrigin
	}
	return text
}

// calibrationView is a calibration as it stood at some time.
type calibrationView struct {
	record.Calibration
	// Overdue is true when its due date had passed by then.
	Overdue bool
}

// coilPage shows a coil. The number of an assembly that was not measured itself
// leads to its first coil.
func (s coilPages) coilPage(w http.ResponseWriter, r *http.Request) error {
	err := s.showCoilPage(w, r, http.StatusOK, form{})
	if !errors.Is(err, record.ErrNotFound) {
		return err
	}
	a, otherwise := workshop.AssemblyOf(r.Context(), s.History, r.PathValue("serial"))
	if a == nil || otherwise != nil || a.First == r.PathValue("serial") {
		return cmp.Or(otherwise, err)
	}
	http.Redirect(w, r, pagePath("coils", a.First), http.StatusSeeOther)
	return nil
}

func (s coilPages) showCoilPage(w http.ResponseWriter, r *http.Request, status int, f form) error {
	kept, ctx := s.History, r.Context()
	coil, err := kept.Coil(ctx, r.PathValue("serial"))
	if err != nil {
		return err
	}
	query := r.URL.Query()
	if coil.Serial != r.PathValue("serial") {
		to := pagePath("coils", coil.Serial)
		if len(query) > 0 {
			to += "?" + query.Encode()
		}
		http.Redirect(w, r, to, http.StatusSeeOther)
		return nil
	}
	if id := f.Get("measurement"); id != "" {
		query = url.Values{"measurement": {id}}
	}
	m, err := pickMeasurement(coil, query)
	if err != nil {
		return err
	}
	m, readings, err := kept.Measurement(ctx, m.ID)
	if err != nil {
		return err
	}
	view := coilView{
		frame: s.frame(coilsSection, "Coil "+coil.Serial), Coil: coil, Shown: m, Stands: m.Stands(),
		Capture: s.drawn("Picture of the capture", true, func(v chart.View) (*chart.Picture, error) {
			return chart.Capture{View: v, Measurement: m, Readings: readings}.Picture()
		}),
		Form: f,
	}
	if len(m.Budget) > 0 {
		view.Largest = &m.Budget[0] // the largest comes first
	}
	for _, reading := range readings {
		if reading.Outlier {
			view.Outliers++
		}
	}
	if m.Verdict != "" {
		view.Scale = s.drawn("Picture of R20 on its tolerance", true, func(v chart.View) (*chart.Picture, error) {
			return chart.Scale{View: v, Tolerance: m.Tolerance, R20Ohms: m.R20Ohms,
				ExpandedUncertaintyOhms: m.ExpandedUncertaintyOhms, Verdict: m.Verdict}.Picture()
		})
	}
	if err := s.surround(r, &view); err != nil {
		return err
	}
	return s.renderPageAs(w, status, "records/coil", view)
}

// surround adds what is known about the measurement from other records.
func (s coilPages) surround(r *http.Request, view *coilView) error {
	kept, ctx, m := s.History, r.Context(), view.Shown
	if m.Design != "" {
		design, err := kept.DesignRevision(ctx, m.Design, m.DesignRevision)
		if err != nil {
			return err
		}
		view.Spec = &design
	}
	meter, probe, err := s.documents.behind(ctx, m)
	if err != nil {
		return err
	}
	view.MeterCalibration, view.ProbeCalibration = asOf(meter, m), asOf(probe, m)
	if view.Outside, err = kept.ComparisonsOf(ctx, view.Serial); err != nil {
		return err
	}
	if view.Assembly, err = workshop.AssemblyOf(ctx, kept, view.Serial); err != nil {
		return err
	}
	if view.Assembly != nil {
		if view.Doubts, err = workshop.DoubtsAboutAssembly(ctx, kept, *view.Assembly); err != nil {
			return err
		}
	}
	view.Journal, err = kept.Journal(ctx, record.JournalFilter{Subject: view.Serial, Limit: shownDeeds})
	return err
}

// asOf is how a calibration stood when m was measured; nil without one.
func asOf(c *record.Calibration, m record.Measurement) *calibrationView {
	if c == nil {
		return nil
	}
	return &calibrationView{*c, !c.DueAt.IsZero() && c.DueAt.Before(m.Time)}
}

// voidCoil withdraws a measurement of a coil, with a reason.
func (s coilPages) voidCoil(w http.ResponseWriter, r *http.Request) error {
	serial := r.PathValue("serial")
	return s.submit(w, r, func(f form) (string, error) {
		coil, err := s.History.Coil(r.Context(), serial)
		if err != nil {
			return "", err
		}
		m, err := pickMeasurement(coil, url.Values{"measurement": {f.Get("measurement")}})
		if err != nil {
			return "", err
		}
		if m, err = s.History.Void(r.Context(), m.ID, f.Get("reason"), api.Requester(r)); err != nil {
			return "", err
		}
		return measurementPath(m), nil
	}, func(status int, f form) error { return s.showCoilPage(w, r, status, f) })
}
