package pages

import (
	"context"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"coilkeep/internal/bench"
	"coilkeep/internal/gauge"
	"coilkeep/internal/record"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

// studiesView lists the studies.
type studiesView struct {
	frame
	Studies []record.Study
	Designs []record.Design
	Benches []string
	Form    form
}

func (s studyPages) studiesPage(w http.ResponseWriter, r *http.Request) error {
	return s.showStudies(w, r, http.StatusOK, filledIn(url.Values{"parts": {"10"}, "operators": {""}, "repeats": {"3"}}))
}

func (s studyPages) showStudies(w http.ResponseWriter, r *http.Request, status int, f form) error {
	view := studiesView{frame: s.frame(windingSection, "Studies of the measuring"), Form: f, Benches: s.benches.Names()}
	var err error
	if view.Studies, err = s.History.Studies(r.Context()); err != nil {
		return err
	}
	if view.Designs, err = s.History.Designs(r.Context()); err != nil {
		return err
	}
	return s.renderPageAs(w, status, "drift/studies", view)
}

// planStudy reads the form that begins a study, and leads to its page.
func (s studyPages) planStudy(w http.ResponseWriter, r *http.Request) error {
	return s.submit(w, r, func(f form) (string, error) {
		plan, err := studyPlan(f)
		if err != nil {
			return "", err
		}
		return pagePath("studies", plan.Study) + "?" + f.values.Encode(), nil
	}, func(status int, f form) error { return s.showStudies(w, r, status, f) })
}

// studyPlan reads the form that begins a study, which goes along in the address of
// its page.
func studyPlan(f form) (workshop.StudyPlan, error) {
	count := func(field string) int {
		n, err := strconv.Atoi(f.Get(field))
		if err != nil {
			return 0 // none is what the plan refuses
		}
		return n
	}
	return workshop.StudyRequest{Study: f.Get("study"), Design: f.Get("design"), Bench: f.Get("bench"), Parts: count("parts"),
		Operators: strings.Split(f.Get("operators"), ","), Repeats: count("repeats")}.Plan()
}

// studyView is the page of one study.
type studyView struct {
	frame
	Plan workshop.StudyPlan
	// Query is the plan as it goes along.
	Query url.Values
	Rows  []workshop.StudyPart
	Taken int
	// What to measure next; Part is empty when all is done.
	workshop.StudyTrial
	workshop.Study
	Form form
}

func (s studyPages) studyPage(w http.ResponseWriter, r *http.Request) error {
	return s.showStudy(w, r, http.StatusOK, filledIn(r.URL.Query()))
}

func (s studyPages) showStudy(w http.ResponseWriter, r *http.Request, status int, f form) error {
	name := r.PathValue("study")
	found, err := workshop.FindStudy(r.Context(), s.History, name)
	if err != nil {
		return err
	}
	f.values.Set("study", name)
	plan, err := studyPlan(f)
	if err != nil { // without a plan in the address it goes on as it was begun
		if len(found.Readings) == 0 {
			return api.NoStudy(name)
		}
		plan = workshop.StudyPlanFollowed(found.Readings)
	}
	return s.renderPageAs(w, status, "drift/study", studyView{frame: s.frame(windingSection, "Study "+name), Plan: plan,
		Query: planQuery(plan),
		Rows:  plan.Taken(found.Readings), Taken: len(found.Readings), StudyTrial: plan.Next(found.Readings), Study: found, Form: f})
}

// planQuery is a plan as fields of a form.
func planQuery(p workshop.StudyPlan) url.Values {
	return url.Values{"study": {p.Study}, "design": {p.Design}, "bench": {p.Bench}, "parts": {strconv.Itoa(len(p.Parts))},
		"operators": {strings.Join(p.Operators, ", ")}, "repeats": {strconv.Itoa(p.Repeats)}}
}

// measureStudy measures the coil on the clips for a study.
func (s studyPages) measureStudy(w http.ResponseWriter, r *http.Request) error {
	name := r.PathValue("study")
	return s.submit(w, r, func(f form) (string, error) {
		f.values.Set("study", name)
		b, err := s.benches.Named(f.Get("bench"))
		if err != nil {
			return "", problem.Invalid.InField("bench", "there is no bench %q", f.Get("bench"))
		}
		design, err := s.studyDesign(r.Context(), name, f.Get("design"))
		if err != nil {
			return "", err
		}
		_, err = b.MeasureStudy(r.Context(), bench.StudyCoil{Study: name, Part: f.Get("part"), Operator: f.Get("operator"), Design: design})
		if err != nil {
			return "", err
		}
		f.values.Del("part")
		f.values.Del("operator")
		return pagePath("studies", name) + "?" + f.values.Encode() + "#next", nil
	}, func(status int, f form) error { return s.showStudy(w, r, status, f) })
}

// studyDesign is the design of a study: that of its first reading, or the newest
// revision of the one it is begun with.
func (s studyPages) studyDesign(ctx context.Context, study, design string) (record.Design, error) {
	begun, err := workshop.StudyDesign(ctx, s.History, study)
	if err != nil {
		return record.Design{}, err
	}
	if begun != nil {
		return *begun, nil
	}
	return api.DesignNamed(ctx, s.History, design)
}

// sources lists the parts of the variation, for the table of a result.
func sources(s gauge.Study) []struct {
	Name string
	gauge.Share
} {
	type source = struct {
		Name string
		gauge.Share
	}
	return []source{{"Measuring, in all", s.Gauge}, {"the same hands again (repeatability)", s.Repeatability},
		{"different hands (reproducibility)", s.Reproducibility}, {"From coil to coil", s.PartVariation}, {"Total", s.Total}}
}
