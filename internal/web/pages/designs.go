package pages

import (
	"errors"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"coilkeep/internal/chart"
	"coilkeep/internal/quantity"
	"coilkeep/internal/record"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/words"
	"coilkeep/internal/workshop"
)

// designsView is the list of designs, with a form to add one.
type designsView struct {
	frame
	Designs []record.Design
	Form    form
}

func (s designPages) designsPage(w http.ResponseWriter, r *http.Request) error {
	return s.showDesigns(w, r, http.StatusOK, filledIn(designValues(workshop.BlankDesign())))
}

func (s designPages) showDesigns(w http.ResponseWriter, r *http.Request, status int, f form) error {
	designs, err := s.History.Designs(r.Context())
	if err != nil {
		return err
	}
	return s.renderPageAs(w, status, "records/designs", designsView{s.frame(designsSection, "Designs"), designs, f})
}

// addDesignForm adds the design that a person filled in.
func (s designPages) addDesignForm(w http.ResponseWriter, r *http.Request) error {
	return s.submit(w, r, func(f form) (string, error) {
		request, err := f.design(workshop.BlankDesign())
		if err != nil {
			return "", err
		}
		request.Name = f.Get("name")
		design, err := workshop.NewDesign(request)
		if err != nil {
			return "", atField(err)
		}
		design, err = s.History.AddDesign(r.Context(), design, api.Requester(r))
		return pagePath("designs", design.Name), err
	}, func(status int, f form) error { return s.showDesigns(w, r, status, f) })
}

// designView is the page of one design.
type designView struct {
	frame
	record.Design
	// Earlier lists the revisions before the latest, the newest first.
	Earlier []record.Design
	Scale   drawing
	Wire    *wireView // nil without a gauge
	Batches []batchRow
	More    bool // there are more batches than these
	Learned learnedView
	// Trouble is why what was learned was not taken into use; empty otherwise.
	Trouble string
	Form    form
}

func (s designPages) designPage(w http.ResponseWriter, r *http.Request) error {
	return s.showDesignPage(w, r, http.StatusOK, nil, "")
}

// showDesignPage shows a design, with its own values in the form when f is
// nil, and trouble with what its coils propose.
func (s designPages) showDesignPage(w http.ResponseWriter, r *http.Request, status int, f *form, trouble string) error {
	revisions, err := s.History.DesignRevisions(r.Context(), r.PathValue("design"))
	if err != nil {
		return err
	}
	last := len(revisions) - 1
	design := revisions[last]
	view := designView{frame: s.frame(designsSection, design.Name), Design: design, Wire: newWireView(design), Trouble: trouble}
	if view.Learned, err = s.learned(r, design); err != nil {
		return err
	}
	for i := last - 1; i >= 0; i-- {
		view.Earlier = append(view.Earlier, revisions[i])
	}
	view.Form = filledIn(designValues(design))
	if f != nil {
		view.Form = *f
	}
	view.Form.values.Set(learnedField, learnedWords(design))
	if f == nil || status == http.StatusConflict { // who sends it again has seen what is new
		view.Form.values.Set(revisionField, strconv.Itoa(design.Revision))
	}
	view.Scale = s.drawn("Picture of the tolerance", true, func(v chart.View) (*chart.Picture, error) {
		return chart.Scale{View: v, Tolerance: design.Tolerance(), TargetOhms: design.TargetOhms}.Picture()
	})
	var next string
	view.Batches, next, err = s.batches.batchRows(r, record.BatchSearch{Design: design.Name, Limit: foundBatches})
	if err != nil {
		return err
	}
	view.More = next != ""
	return s.renderPageAs(w, status, "records/design", view)
}

// revisionField carries which revision a person has changed, unseen.
const revisionField = "revision"

// reviseDesignForm stores the next revision of a design as a person filled it
// in.
func (s designPages) reviseDesignForm(w http.ResponseWriter, r *http.Request) error {
	name := r.PathValue("design")
	return s.submit(w, r, func(f form) (string, error) {
		latest, err := s.History.Design(r.Context(), name)
		if err != nil {
			return "", err
		}
		request, err := f.design(latest)
		if err != nil {
			return "", err
		}
		revision, err := strconv.Atoi(f.Get(revisionField))
		if err != nil {
			return "", problem.Invalid.InField(revisionField, "is missing: load the page of the design again")
		}
		request.Revision = &revision
		latest.Bobbin = nil // the form shows it whole, or none
		design, err := workshop.ReviseDesign(latest, request)
		if err != nil {
			return "", atField(err)
		}
		design, err = s.History.ReviseDesign(r.Context(), design, api.Requester(r))
		return pagePath("designs", design.Name), err
	}, func(status int, f form) error { return s.showDesignPage(w, r, status, &f, "") })
}

// designValues is a design as a person would fill it in.
func designValues(d record.Design) url.Values {
	values := url.Values{}
	put := func(name string, value float64) {
		if value != 0 {
			values.Set(name, words.Plain(value))
		}
	}
	values.Set("name", d.Name)
	put("target_ohms", d.TargetOhms)
	// A tolerance in ohms is some endless percentage, which would not come back.
	if percent, even := workshop.TolerancePercent(d); even && percent == math.Round(percent*1e6)/1e6 {
		put("tolerance", percent)
	} else {
		put("lower_ohms", d.LowerOhms)
		put("upper_ohms", d.UpperOhms)
	}
	values.Set("tolerance_unit", "percent")
	values.Set("guard_factor", words.Plain(d.GuardFactor))
	put("gauge_awg", float64(d.GaugeAWG))
	put("turns", float64(d.Turns))
	if b := d.Bobbin; b != nil {
		values.Set("bobbin.straight_mm", words.Plain(b.StraightMM))
		values.Set("bobbin.core_radius_mm", words.Plain(b.CoreRadiusMM))
		values.Set("bobbin.build_mm", words.Plain(b.BuildMM))
	}
	put("alpha_per_kelvin", d.AlphaPerKelvin)
	put(wantedField, d.WantedUncertaintyPercent)
	values.Set(timeConstantField, shownMinutes(d))
	values.Set("note", d.Note)
	return values
}

// design is what a person asks a design to be, who filled in all that the form
// asks; base is what the form began with.
func (f form) design(base record.Design) (workshop.DesignRequest, error) {
	note := strings.ReplaceAll(f.Get("note"), "\r\n", "\n")
	r := workshop.DesignRequest{Note: &note, Confirm: f.Get("confirm") != ""}
	var err error
	if r.TargetOhms, err = given(f.ohms("target_ohms")); err != nil {
		return r, err
	}
	if err := f.tolerance(&r); err != nil {
		return r, err
	}
	for _, field := range []struct {
		name  string
		place **float64
	}{{"guard_factor", &r.GuardFactor}, {"alpha_per_kelvin", &r.AlphaPerKelvin}, {wantedField, &r.WantedUncertaintyPercent}} {
		if *field.place, err = given(f.number(field.name)); err != nil {
			return r, err
		}
	}
	if r.GaugeAWG, err = given(f.whole("gauge_awg")); err != nil {
		return r, err
	}
	if r.Turns, err = given(f.whole("turns")); err != nil {
		return r, err
	}
	if r.TimeConstantSeconds, err = f.timeConstant(base); err != nil {
		return r, err
	}
	r.Bobbin, err = f.bobbin()
	return r, err
}

// bobbin is nil when none of its sides was filled in.
func (f form) bobbin() (*record.Bobbin, error) {
	var b record.Bobbin
	filled := ""
	for _, side := range []struct {
		name  string
		place *float64
	}{{"bobbin.straight_mm", &b.StraightMM}, {"bobbin.core_radius_mm", &b.CoreRadiusMM}, {"bobbin.build_mm", &b.BuildMM}} {
		var err error
		if *side.place, err = f.number(side.name); err != nil {
			return nil, err
		}
		filled += f.Get(side.name)
	}
	if filled == "" {
		return nil, nil
	}
	return &b, nil
}

// tolerance takes the limits: a distance from the target either way, in the unit
// chosen, or both limits.
func (f form) tolerance(r *workshop.DesignRequest) (err error) {
	for _, limit := range []struct {
		name  string
		place **float64
	}{{"lower_ohms", &r.LowerOhms}, {"upper_ohms", &r.UpperOhms}} {
		if f.Get(limit.name) == "" {
			continue
		}
		if *limit.place, err = given(f.ohms(limit.name)); err != nil {
			return err
		}
	}
	if f.Get("tolerance") == "" {
		if r.LowerOhms == nil && r.UpperOhms == nil {
			return problem.Invalid.InField("tolerance", "say how far a coil may be off the target")
		}
		return nil
	}
	width, err := given(f.number("tolerance"))
	if err != nil {
		return err
	}
	switch f.Get("tolerance_unit") {
	case "percent":
		r.TolerancePercent = width
	case "ohms":
		r.ToleranceOhms = width
	default:
		return problem.Invalid.InField("tolerance", "say whether it is in percent or in ohms")
	}
	return nil
}

// ohms reads a resistance as people write it.
func (f form) ohms(name string) (float64, error) {
	if f.Get(name) == "" {
		return 0, problem.Invalid.InField(name, "is missing: write a resistance such as 6690 or 6.69k")
	}
	ohms, _, err := quantity.ParseOhms(f.Get(name))
	if err != nil {
		return 0, problem.Invalid.InField(name, "%v", err)
	}
	return ohms, nil
}

// number reads a number, with a decimal point or comma; 0 when nothing was
// filled in.
func (f form) number(name string) (float64, error) {
	text := f.Get(name)
	if text == "" {
		return 0, nil
	}
	if strings.Count(text, ",") == 1 && !strings.Contains(text, ".") {
		text = strings.Replace(text, ",", ".", 1)
	}
	value, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(value) || math.IsInf(value, 0) {
		return 0, problem.Invalid.InField(name, "%q is not a number", f.Get(name))
	}
	return value, nil
}

// whole reads a number without a fraction; 0 when nothing was filled in.
func (f form) whole(name string) (int, error) {
	value, err := f.number(name)
	if err == nil && (value != math.Trunc(value) || math.Abs(value) > 1e9) {
		err = problem.Invalid.InField(name, "%g is not a whole number that can be", value)
	}
	return int(value), err
}

// given is a value that was told, for a request that may leave it out.
func given[T any](value T, err error) (*T, error) { return &value, err }

// atField names the fields of a design's form that ask for something in another
// way than a request does.
func atField(err error) error {
	wrong := (*record.FieldError)(nil)
	if !errors.As(err, &wrong) {
		return err
	}
	switch wrong.Field {
	case "tolerance_percent", "tolerance_ohms":
		return problem.Invalid.InField("tolerance", "%s", wrong.Problem)
	case "time_constant_seconds":
		return problem.Invalid.InField(timeConstantField, "%s", wrong.Problem)
	}
	return err
}
