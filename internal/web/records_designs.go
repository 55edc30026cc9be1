package web

import (
	"cmp"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"coilkeep/internal/chart"
	"coilkeep/internal/quantity"
	"coilkeep/internal/record"
)

// designsView is the list of designs, with a form to add one.
type designsView struct {
	frame
	Designs []record.Design
	Form    form
}

func (s *site) designsPage(w http.ResponseWriter, r *http.Request) error {
	return s.showDesigns(w, r, http.StatusOK, filledIn(designValues(newDesign())))
}

func (s *site) showDesigns(w http.ResponseWriter, r *http.Request, status int, f form) error {
	designs, err := s.server.History.Designs(r.Context())
	if err != nil {
		return err
	}
	return s.renderPageAs(w, status, "records/designs", designsView{s.frame(designsSection, "Designs"), designs, f})
}

// addDesignForm adds the design that a person filled in.
func (s *site) addDesignForm(w http.ResponseWriter, r *http.Request) error {
	return s.submit(w, r, func(f form) (string, error) {
		design, err := f.design(newDesign())
		if err != nil {
			return "", err
		}
		if err := s.measurable(design.TargetOhms); err != nil {
			return "", err
		}
		design.Name = f.Get("name")
		design, err = s.server.History.AddDesign(r.Context(), design, who(r))
		return at("designs", design.Name), err
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

func (s *site) designPage(w http.ResponseWriter, r *http.Request) error {
	return s.showDesignPage(w, r, http.StatusOK, nil, "")
}

// showDesignPage shows a design, with its own values in the form when f is
// nil, and trouble with what its coils propose.
func (s *site) showDesignPage(w http.ResponseWriter, r *http.Request, status int, f *form, trouble string) error {
	revisions, err := s.server.History.DesignRevisions(r.Context(), r.PathValue("design"))
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
	view.Batches, next, err = s.batchRows(r, record.BatchSearch{Design: design.Name, Limit: foundBatches})
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
func (s *site) reviseDesignForm(w http.ResponseWriter, r *http.Request) error {
	name := r.PathValue("design")
	return s.submit(w, r, func(f form) (string, error) {
		latest, err := s.server.History.Design(r.Context(), name)
		if err != nil {
			return "", err
		}
		design, err := f.design(latest)
		if err != nil {
			return "", err
		}
		if err := s.measurable(design.TargetOhms); err != nil {
			return "", err
		}
		if design.Revision, err = strconv.Atoi(f.Get(revisionField)); err != nil || design.Revision < 1 {
			return "", invalid.of(revisionField, "is missing: load the page of the design again")
		}
		design, err = s.server.History.ReviseDesign(r.Context(), design, who(r))
		return at("designs", design.Name), err
	}, func(status int, f form) error { return s.showDesignPage(w, r, status, &f, "") })
}

// measurable refuses a target that no bench takes for a coil: a person who fills
// in a form has left out a k.
func (s *site) measurable(targetOhms float64) error {
	var ranges []string
	meant := ""
	for _, name := range sortedKeys(s.benches) {
		low, high := s.benches[name].Takes()
		if targetOhms >= low && targetOhms <= high {
			return nil
		}
		ranges = append(ranges, fmt.Sprintf("bench %s takes %s to %s", name, plainOhms(low), plainOhms(high)))
		meant = cmp.Or(meant, quantity.MeantOhms(targetOhms, low, high))
	}
	if len(ranges) == 0 {
		return nil
	}
	question := "if it is meant so, widen bench.contact in the configuration first"
	if meant != "" {
		question = "did you mean " + meant + "? Otherwise widen bench.contact in the configuration first"
	}
	return invalid.of("target_ohms", "%s can be measured on no bench: %s; %s", plainOhms(targetOhms), strings.Join(ranges, ", "), question)
}

// designValues is a design as a person would fill it in.
func designValues(d record.Design) url.Values {
	values := url.Values{}
	put := func(name string, value float64) {
		if value != 0 {
			values.Set(name, number(value))
		}
	}
	values.Set("name", d.Name)
	put("target_ohms", d.TargetOhms)
	percent := (d.UpperOhms/d.TargetOhms - 1) * 100
	rounded := math.Round(percent*1e6) / 1e6
	if math.Abs(d.UpperOhms+d.LowerOhms-2*d.TargetOhms) < 1e-9*d.TargetOhms && d.TargetOhms > 0 && math.Abs(percent-rounded) < 1e-8 {
		put("tolerance", rounded)
	} else {
		put("lower_ohms", d.LowerOhms)
		put("upper_ohms", d.UpperOhms)
	}
	values.Set("tolerance_unit", "percent")
	values.Set("guard_factor", number(d.GuardFactor))
	put("gauge_awg", float64(d.GaugeAWG))
	put("turns", float64(d.Turns))
	if b := d.Bobbin; b != nil {
		values.Set("bobbin.straight_mm", number(b.StraightMM))
		values.Set("bobbin.core_radius_mm", number(b.CoreRadiusMM))
		values.Set("bobbin.build_mm", number(b.BuildMM))
	}
	put("alpha_per_kelvin", d.AlphaPerKelvin)
	put(wantedField, d.WantedUncertaintyPercent)
	values.Set(timeConstantField, shownMinutes(d))
	values.Set("note", d.Note)
	return values
}

// design is what a person filled in, over base for what the form does not ask.
func (f form) design(base record.Design) (record.Design, error) {
	d := base
	var err error
	if d.TargetOhms, err = f.ohms("target_ohms"); err != nil {
		return d, err
	}
	if err := f.tolerance(&d); err != nil {
		return d, err
	}
	var gauge, turns float64
	var straight, radius, build float64
	for _, field := range []struct {
		name  string
		place *float64
	}{
		{"guard_factor", &d.GuardFactor}, {"gauge_awg", &gauge}, {"turns", &turns},
		{"bobbin.straight_mm", &straight}, {"bobbin.core_radius_mm", &radius}, {"bobbin.build_mm", &build},
		{"alpha_per_kelvin", &d.AlphaPerKelvin}, {wantedField, &d.WantedUncertaintyPercent},
	} {
		if *field.place, err = f.number(field.name); err != nil {
			return d, err
		}
	}
	if err := f.timeConstant(&d); err != nil {
		return d, err
	}
	if d.GaugeAWG, err = whole("gauge_awg", gauge); err != nil {
		return d, err
	}
	if d.Turns, err = whole("turns", turns); err != nil {
		return d, err
	}
	d.Bobbin = nil
	if f.Get("bobbin.straight_mm") != "" || f.Get("bobbin.core_radius_mm") != "" || f.Get("bobbin.build_mm") != "" {
		d.Bobbin = &record.Bobbin{StraightMM: straight, CoreRadiusMM: radius, BuildMM: build}
	}
	d.Note = strings.ReplaceAll(f.Get("note"), "\r\n", "\n")
	return d, nil
}

// tolerance sets the limits of d: a distance from the target either way, or
// both limits.
func (f form) tolerance(d *record.Design) (err error) {
	limits := f.Get("lower_ohms") != "" || f.Get("upper_ohms") != ""
	switch {
	case limits && f.Get("tolerance") != "":
		return invalid.of("tolerance", "give either a tolerance or both limits, not both; empty one of them")
	case limits:
		if d.LowerOhms, err = f.ohms("lower_ohms"); err != nil {
			return err
		}
		d.UpperOhms, err = f.ohms("upper_ohms")
		return err
	case f.Get("tolerance") == "":
		return invalid.of("tolerance", "say how far a coil may be off the target")
	}
	width, err := f.number("tolerance")
	if err != nil {
		return err
	}
	switch f.Get("tolerance_unit") {
	case "percent":
		width *= d.TargetOhms / 100
	case "ohms":
	default:
		return invalid.of("tolerance", "say whether it is in percent or in ohms")
	}
	if !(width > 0 && width < d.TargetOhms) {
		return invalid.of("tolerance", "must be more than nothing and less than the target itself")
	}
	d.LowerOhms, d.UpperOhms = d.TargetOhms-width, d.TargetOhms+width
	return nil
}

// ohms reads a resistance as people write it.
func (f form) ohms(name string) (float64, error) {
	if f.Get(name) == "" {
		return 0, invalid.of(name, "is missing: write a resistance such as 6690 or 6.69k")
	}
	ohms, _, err := quantity.ParseOhms(f.Get(name))
	if err != nil {
		return 0, invalid.of(name, "%v", err)
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
		return 0, invalid.of(name, "%q is not a number", f.Get(name))
	}
	return value, nil
}

// whole refuses a number with a fraction.
func whole(name string, value float64) (int, error) {
	if value != math.Trunc(value) || math.Abs(value) > 1e9 {
		return 0, invalid.of(name, "%g is not a whole number that can be", value)
	}
	return int(value), nil
}
