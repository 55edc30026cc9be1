package web

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"coilkeep/internal/bench"
	"coilkeep/internal/gauge"
	"coilkeep/internal/record"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
)

// usualParts is how many coils a study should have (common practice in measurement
// systems analysis, no source).
const usualParts = 10

// The most a study may have of each; the least is two.
const (
	mostParts     = 50
	mostOperators = 10
	mostRepeats   = 10
)

// studyPlan is who measures what how often. It goes along in the address of the
// page; without it a study goes on as it was begun.
type studyPlan struct {
	Study, Design, Bench string
	Parts, Operators     []string
	Repeats              int
}

// studiesView lists the studies.
type studiesView struct {
	frame
	Studies []record.Study
	Designs []record.Design
	Benches []string
	Form    form
}

func (s *site) studiesPage(w http.ResponseWriter, r *http.Request) error {
	return s.showStudies(w, r, http.StatusOK, filledIn(url.Values{"parts": {"10"}, "operators": {""}, "repeats": {"3"}}))
}

func (s *site) showStudies(w http.ResponseWriter, r *http.Request, status int, f form) error {
	view := studiesView{frame: s.frame(windingSection, "Studies of the measuring"), Form: f, Benches: s.benches.Names()}
	var err error
	if view.Studies, err = s.server.History.Studies(r.Context()); err != nil {
		return err
	}
	if view.Designs, err = s.server.History.Designs(r.Context()); err != nil {
		return err
	}
	return s.renderPageAs(w, status, "drift/studies", view)
}

// planStudy reads the form that begins a study, and leads to its page.
func (s *site) planStudy(w http.ResponseWriter, r *http.Request) error {
	return s.submit(w, r, func(f form) (string, error) {
		plan, err := planOf(f)
		if err != nil {
			return "", err
		}
		return pagePath("studies", plan.Study) + "?" + f.values.Encode(), nil
	}, func(status int, f form) error { return s.showStudies(w, r, status, f) })
}

// planOf reads a plan; a *problem.Fault names what is wrong with it.
func planOf(f form) (studyPlan, error) {
	p := studyPlan{Study: f.Get("study"), Design: f.Get("design"), Bench: f.Get("bench")}
	if p.Study == "" {
		return p, problem.Invalid.InField("study", "give the study a name")
	}
	number := func(field string, most int) (int, error) {
		n, err := strconv.Atoi(f.Get(field))
		if err != nil || n < 2 || n > most {
			return 0, problem.Invalid.InField(field, "must be a whole number from 2 to %d", most)
		}
		return n, nil
	}
	parts, err := number("parts", mostParts)
	if err != nil {
		return p, err
	}
	for i := range parts {
		p.Parts = append(p.Parts, strconv.Itoa(i+1))
	}
	for name := range strings.SplitSeq(f.Get("operators"), ",") {
		if name = strings.TrimSpace(name); name != "" && !slices.Contains(p.Operators, name) {
			p.Operators = append(p.Operators, name)
		}
	}
	if n := len(p.Operators); n < 2 || n > mostOperators {
		return p, problem.Invalid.InField("operators", "name 2 to %d people, with commas between them", mostOperators)
	}
	p.Repeats, err = number("repeats", mostRepeats)
	return p, err
}

// studyView is the page of one study.
type studyView struct {
	frame
	Plan studyPlan
	// Query is the plan as it goes along.
	Query url.Values
	Rows  []studyRow
	Taken int
	// Part, Operator and Round are what to measure next; Part is empty when all is
	// done.
	Part, Operator string
	Round          int
	studied
	Form form
}

// Wanted is how many readings the plan asks for.
func (v studyView) Wanted() int {
	return len(v.Plan.Parts) * len(v.Plan.Operators) * v.Plan.Repeats
}

// studyRow is one part, with how often each operator measured it.
type studyRow struct {
	Part  string
	Taken []int
}

func (s *site) studyPage(w http.ResponseWriter, r *http.Request) error {
	return s.showStudy(w, r, http.StatusOK, filledIn(r.URL.Query()))
}

func (s *site) showStudy(w http.ResponseWriter, r *http.Request, status int, f form) error {
	name := r.PathValue("study")
	found, err := s.studied(r.Context(), name)
	if err != nil {
		return err
	}
	f.values.Set("study", name)
	plan, err := planOf(f)
	if err != nil {
		if len(found.Readings) == 0 {
			return noStudy(name)
		}
		plan = planFrom(found.Readings)
	}
	view := studyView{frame: s.frame(windingSection, "Study "+name), Plan: plan, Taken: len(found.Readings), studied: found, Form: f,
		Query: plan.query()}
	view.next(found.Readings)
	return s.renderPageAs(w, status, "drift/study", view)
}

// planFrom is the plan that readings follow.
func planFrom(readings []record.StudyReading) studyPlan {
	last := readings[len(readings)-1]
	p := studyPlan{Study: last.Study, Design: last.Design, Bench: last.Bench}
	count := map[[2]string]int{}
	for _, r := range readings {
		if !slices.Contains(p.Parts, r.Part) {
			p.Parts = append(p.Parts, r.Part)
		}
		if !slices.Contains(p.Operators, r.Operator) {
			p.Operators = append(p.Operators, r.Operator)
		}
		count[[2]string{r.Part, r.Operator}]++
		p.Repeats = max(2, p.Repeats, count[[2]string{r.Part, r.Operator}])
	}
	return p
}

// query is the plan as fields of a form.
func (p studyPlan) query() url.Values {
	return url.Values{"study": {p.Study}, "design": {p.Design}, "bench": {p.Bench}, "parts": {strconv.Itoa(len(p.Parts))},
		"operators": {strings.Join(p.Operators, ", ")}, "repeats": {strconv.Itoa(p.Repeats)}}
}

// next fills in what is done and what comes next: round by round, so that nobody
// measures a coil twice in a row and what changes slowly is spread over all.
func (v *studyView) next(readings []record.StudyReading) {
	count := map[[2]string]int{}
	for _, r := range readings {
		count[[2]string{r.Part, r.Operator}]++
	}
	for _, part := range v.Plan.Parts {
		row := studyRow{Part: part}
		for _, operator := range v.Plan.Operators {
			row.Taken = append(row.Taken, count[[2]string{part, operator}])
		}
		v.Rows = append(v.Rows, row)
	}
	for round := range v.Plan.Repeats {
		for _, operator := range v.Plan.Operators {
			for _, part := range v.Plan.Parts {
				if count[[2]string{part, operator}] <= round {
					v.Part, v.Operator, v.Round = part, operator, round+1
					return
				}
			}
		}
	}
}

// studied is the readings of a study and what comes of them.
type studied struct {
	Readings []record.StudyReading
	// Design is the revision the coils are of; zero without readings.
	Design record.Design
	// Result is nil until every operator has measured every coil equally often;
	// Incomplete says why it is, and is empty without readings.
	Result     *gauge.Study
	Incomplete string
}

// studied finds a study and judges the measuring by it. A study without readings
// is none yet.
func (s *site) studied(ctx context.Context, name string) (studied, error) {
	var found studied
	var err error
	if found.Readings, err = s.server.History.StudyReadings(ctx, name); err != nil || len(found.Readings) == 0 {
		return found, err
	}
	first := found.Readings[0]
	if found.Design, err = s.server.History.DesignRevision(ctx, first.Design, first.DesignRevision); err != nil {
		return found, err
	}
	var values []gauge.Reading
	for _, reading := range found.Readings {
		values = append(values, gauge.Reading{Part: reading.Part, Operator: reading.Operator, Value: reading.R20Ohms})
	}
	result, err := gauge.AnalyseCrossed(values, found.Design.UpperOhms-found.Design.LowerOhms)
	switch {
	case errors.Is(err, gauge.ErrInput):
		found.Incomplete = err.Error()
		return found, nil
	case err != nil:
		return found, err
	}
	found.Result = &result
	return found, nil
}

func noStudy(name string) error { return problem.NotFound.Because("there is no study %q", name) }

// measureStudy measures the coil on the clips for a study.
func (s *site) measureStudy(w http.ResponseWriter, r *http.Request) error {
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
func (s *site) studyDesign(ctx context.Context, study, design string) (record.Design, error) {
	readings, err := s.server.History.StudyReadings(ctx, study)
	if err != nil {
		return record.Design{}, err
	}
	if len(readings) > 0 {
		return s.server.History.DesignRevision(ctx, readings[0].Design, readings[0].DesignRevision)
	}
	return api.DesignNamed(ctx, s.server.History, design)
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
