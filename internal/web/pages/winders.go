package pages

import (
	"net/http"
	"net/url"

	"coilkeep/internal/chart"
	"coilkeep/internal/record"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

// windersView lists what was wound on which winder.
type windersView struct {
	frame
	Windings []workshop.Winding
}

func (s windingPages) windersPage(w http.ResponseWriter, r *http.Request) error {
	view := windersView{frame: s.frame(windingSection, "Winding")}
	var err error
	if view.Windings, err = s.Drift.Windings(r.Context()); err != nil {
		return err
	}
	return s.renderPage(w, "drift/winders", view)
}

// winderView is the page of one winder: one design over all its batches.
type winderView struct {
	frame
	Winder, Design string
	// Others are further designs that this winder wound.
	Others []string
	Drift  driftView
}

func (s windingPages) winderPage(w http.ResponseWriter, r *http.Request) error {
	winder, design := r.PathValue("winder"), r.URL.Query().Get("design")
	windings, err := s.Drift.Windings(r.Context())
	if err != nil {
		return err
	}
	view := winderView{frame: s.frame(windingSection, "Winder "+winder), Winder: winder}
	for _, of := range windings {
		switch {
		case of.Winder != winder:
		case view.Design == "" && (design == "" || design == of.Design):
			view.Design = of.Design
		default:
			view.Others = append(view.Others, of.Design)
		}
	}
	if view.Design == "" {
		return problem.NotFound.Because("winder %q has wound nothing%s", winder, designClause(design))
	}
	d, err := s.Drift.Winder(r.Context(), winder, view.Design)
	if err != nil {
		return err
	}
	view.Drift.PDF = pagePath("winders", winder, "drift.pdf") + "?design=" + url.QueryEscape(view.Design)
	s.drift.fillDrift(&view.Drift, d, chart.Wander(d.Report, nil))
	return s.renderPage(w, "drift/winder", view)
}

// designClause names a design that was asked for.
func designClause(design string) string {
	if design == "" {
		return ""
	}
	return " of design " + design
}

func (s windingPages) winderDriftPDF(w http.ResponseWriter, r *http.Request) error {
	d, err := s.winderDrift(r)
	if err != nil {
		return err
	}
	return s.drift.driftPDF(w, r, "Winder "+r.PathValue("winder")+designClause(r.URL.Query().Get("design")), d)
}

// spoolsView is the spool book of one design.
type spoolsView struct {
	frame
	workshop.SpoolBook
	// Designs are those there are, to choose from.
	Designs []record.Design
}

func (s windingPages) spoolsPage(w http.ResponseWriter, r *http.Request) error {
	view := spoolsView{frame: s.frame(windingSection, "Spool book")}
	var err error
	if view.Designs, err = s.History.Designs(r.Context()); err != nil {
		return err
	}
	if view.SpoolBook, err = api.SpoolsOf(r.Context(), s.Drift, s.History, r.URL.Query().Get("design")); err != nil {
		return err
	}
	return s.renderPage(w, "drift/spools", view)
}
