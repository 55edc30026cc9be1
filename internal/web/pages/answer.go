package pages

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"coilkeep/internal/chart"
	"coilkeep/internal/compare"
	"coilkeep/internal/record"
	"coilkeep/internal/report"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

// moreReadings is how many further readings the form has room for.
const moreReadings = 3

// answerView is the page for the moment somebody calls: the form, and the answer
// as far as it is known.
type answerView struct {
	frame
	Form form
	// More are the numbers of the further readings the form has room for.
	More []int
	// MoreTold is true when one of them is filled in, and DetailTold when
	// something else is that is seldom told.
	MoreTold, DetailTold bool
	Answer               answerShown
}

// answerShown is a comparison as it is shown, or why there is none yet.
type answerShown struct {
	// Asked is true when there is a comparison.
	Asked bool
	// Waiting says what is still to be told, when nothing is wrong.
	Waiting string
	// Field and Problem say what is wrong; both are empty when nothing is.
	Field, Problem string

	record.Comparison
	// Overload is the answer, in the place of a comparison, when their meter
	// showed one; nil otherwise.
	Overload *compare.Overload
	Letter   string
	Picture  drawing
	// Live is true while the form is on the page as well.
	Live bool
}

// foremost is how many causes are shown at first.
const foremost = 3

// shownCause is a cause in the list, with its rank from 1.
type shownCause struct {
	compare.Explanation
	Rank int
	// Settled is true when no test is needed.
	Settled bool
}

// Foremost are the causes shown at first: the most probable ones, and the first
// fault of the coil where one is plausible.
func (a answerShown) Foremost() []shownCause { return a.causes(true) }

// Hindmost are the other causes.
func (a answerShown) Hindmost() []shownCause { return a.causes(false) }

func (a answerShown) causes(first bool) []shownCause {
	all := a.Result.Explanations
	fault := slices.IndexFunc(all, func(x compare.Explanation) bool { return x.Damage })
	var list []shownCause
	for i, x := range all {
		if first == (i < foremost || i == fault && a.Result.Damage.Plausible) {
			list = append(list, shownCause{x, i + 1, a.Result.Agrees && x.Cause == compare.MeterAccuracy})
		}
	}
	return list
}

// Theirs is the reading that decides.
func (a answerShown) Theirs() compare.Reading { return a.Input.Theirs[a.Result.Reading] }

func (s answerPages) newAnswerView(f form) answerView {
	v := answerView{frame: s.frame(answersSection, "What a buyer measured"), Form: f}
	for i := range moreReadings {
		v.More = append(v.More, i)
	}
	for name, values := range f.values {
		told := strings.TrimSpace(strings.Join(values, "")) != ""
		v.MoreTold = v.MoreTold || told && strings.HasPrefix(name, "also.")
		v.DetailTold = v.DetailTold || told && slices.Contains(seldomTold, name)
	}
	return v
}

// seldomTold are the fields that are out of sight until they are wanted.
var seldomTold = []string{"r20", "uncertainty", "mate", "wiring", "temperature_uncertainty", "meter_percent", "meter_digits",
	"meter_uncertainty", "control_tolerance", "cable", "date", "note"}

// answerPage shows the form, filled in from the query: links from the page of a
// coil name its serial number.
func (s answerPages) answerPage(w http.ResponseWriter, r *http.Request) error {
	return s.showAnswer(w, r, http.StatusOK, filledIn(r.URL.Query()))
}

func (s answerPages) showAnswer(w http.ResponseWriter, r *http.Request, status int, f form) error {
	view := s.newAnswerView(f)
	shown, err := s.shown(r, f)
	if err != nil {
		return err
	}
	view.Answer = shown
	view.Form.Field, view.Form.Problem = cmp.Or(f.Field, shown.Field), cmp.Or(f.Problem, shown.Problem)
	return s.renderPageAs(w, status, "answer/form", view)
}

// shown compares what a form tells. What a person can mend is in what is
// returned; the error is for all else.
func (s answerPages) shown(r *http.Request, f form) (answerShown, error) {
	request := requestOf(f)
	a := answerShown{Live: true, Letter: string(request.Letter)}
	switch coil, theirs := f.Get("serial") != "" || f.Get("r20") != "", f.Get("theirs") != ""; {
	case !coil && !theirs:
		a.Waiting = "Type the serial number of the coil and what they read."
		return a, nil
	case !coil:
		a.Waiting = "Which coil? Type its serial number."
		return a, nil
	case !theirs:
		a.Waiting = "What did they read? Type it as they said it, such as 6.3 k."
	}
	err := s.fillAnswer(r, request, &a)
	if err == nil {
		a.Waiting = ""
		return a, nil
	}
	trouble := problem.Classify(err)
	switch {
	case trouble.Kind != problem.Invalid && trouble.Kind != problem.Conflict:
		return a, err
	case a.Waiting != "" && trouble.Field == workshop.Theirs:
		return a, nil
	}
	a.Waiting, a.Field, a.Problem = "", trouble.Field, sentence(trouble.Detail)
	return a, nil
}

// fillAnswer fills in the comparison, or the answer to an overload.
func (s answerPages) fillAnswer(r *http.Request, request workshop.ComparisonRequest, a *answerShown) error {
	q, err := request.Ask(r.Context(), s.History)
	if err != nil {
		return api.ComplaintFault(err)
	}
	if q.Overload != "" {
		o, err := workshop.AnswerOverload(q)
		a.Overload, a.Input, a.Letter = &o.Overload, q.Input, cmp.Or(q.Letter, o.Answer)
		return api.ComplaintFault(err)
	}
	c, err := workshop.Compare(q)
	if err != nil {
		return api.ComplaintFault(err)
	}
	a.Asked, a.Comparison, a.Letter = true, c, cmp.Or(q.Letter, c.Result.Answer)
	a.Picture = s.drawnComparison(c)
	return nil
}

// sentence makes a problem stand for itself.
func sentence(problem string) string {
	if problem == "" || strings.HasPrefix(problem, `"`) {
		return problem
	}
	first, size := utf8.DecodeRuneInString(problem)
	return string(unicode.ToUpper(first)) + problem[size:]
}

// comparedByForm compares what a form tells, without keeping it.
func (s answerPages) comparedByForm(r *http.Request, f form) (record.Comparison, error) {
	q, err := requestOf(f).Ask(r.Context(), s.History)
	if err != nil {
		return record.Comparison{}, api.ComplaintFault(err)
	}
	c, err := workshop.Compare(q)
	return c, api.ComplaintFault(err)
}

// requestOf is what a form asks: the fields of a comparison, and also.0.theirs
// and so on for further readings. A form has other ends of line than the program.
func requestOf(f form) workshop.ComparisonRequest {
	request := workshop.ComparisonRequest{TheirMeter: f.text("their_meter"), Note: f.text("note"),
		Letter: workshop.Text(strings.ReplaceAll(f.Get("letter"), "\r\n", "\n"))}
	for name, place := range request.Told() {
		*place = f.text(name)
	}
	for i := range moreReadings {
		var also workshop.OutsideReading
		for name, place := range also.Told() {
			*place = f.text(alsoField(i, name))
		}
		if also.Theirs != "" {
			request.Also = append(request.Also, also)
		}
	}
	return request
}

// alsoField names a field about a further reading.
func alsoField(i int, name string) string { return fmt.Sprintf("also.%d.%s", i, name) }

func (f form) text(name string) workshop.Text { return workshop.Text(f.Get(name)) }

func (s answerPages) drawnComparison(c record.Comparison) drawing {
	return s.drawn("Resistance against temperature", true, func(v chart.View) (*chart.Picture, error) {
		return report.PictureOf(v, c.Input, c.Result)
	})
}

// answerLive answers with the part of the page that follows the typing.
func (s answerPages) answerLive(w http.ResponseWriter, r *http.Request) error {
	f, err := readForm(w, r)
	if err != nil {
		return err
	}
	a, err := s.shown(r, f)
	if err != nil {
		return err
	}
	return s.renderPart(w, "answer-shown", a)
}

// answerForm shows the answer again, or keeps it when asked to.
func (s answerPages) answerForm(w http.ResponseWriter, r *http.Request) error {
	f, err := readForm(w, r)
	if err != nil {
		return err
	}
	if f.Get("do") != "keep" {
		return s.showAnswer(w, r, http.StatusOK, f)
	}
	c, err := s.comparedByForm(r, f)
	if err == nil {
		c.By = api.Requester(r)
		c, err = s.History.AddComparison(r.Context(), c)
	}
	if err == nil {
		http.Redirect(w, r, pagePath("answers", c.ID), http.StatusSeeOther)
		return nil
	}
	return s.answerAgain(w, r, f, err)
}

// answerAgain shows the form with what was wrong, when a person can mend it.
func (s answerPages) answerAgain(w http.ResponseWriter, r *http.Request, f form, err error) error {
	trouble := problem.Classify(err)
	switch trouble.Kind {
	case problem.Invalid, problem.Conflict, problem.Unavailable:
		f.Field, f.Problem = trouble.Field, sentence(trouble.Detail)
		return s.showAnswer(w, r, trouble.Kind.Status, f)
	}
	return err
}

// answerFormPDF downloads an answer that need not be kept.
func (s answerPages) answerFormPDF(w http.ResponseWriter, r *http.Request) error {
	f, err := readForm(w, r)
	if err != nil {
		return err
	}
	c, err := s.comparedByForm(r, f)
	if err == nil {
		err = s.sendAnswer(w, c, s.Now())
	}
	if err != nil {
		return s.answerAgain(w, r, f, err)
	}
	return nil
}

// sendAnswer downloads an answer as PDF.
func (s answerPages) sendAnswer(w http.ResponseWriter, c record.Comparison, issued time.Time) error {
	answer, err := report.NewAnswer(report.Complaint{
		Workshop: report.Workshop{Name: s.Workshop, Contact: s.Contact},
		Input:    c.Input, Result: c.Result, Letter: c.Letter, Issued: issued, Zone: time.Local,
	})
	if errors.Is(err, report.ErrNoAnswer) {
		return problem.Conflict.Because("%v", err)
	}
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := answer.WritePDF(&b); err != nil {
		return printable(err)
	}
	s.download(w, pdfType, strings.TrimSpace("answer "+c.Serial)+".pdf", b.Bytes())
	return nil
}

// keptAnswerView is one comparison that was kept.
type keptAnswerView struct {
	frame
	Answer answerShown
	// Again is where to tell more, with what was told filled in.
	Again string
	// Today is what the same input gives by the present formula; nil when that
	// is the one it was kept under.
	Today        *compare.Result
	FormulaToday int
}

func (s answerPages) keptAnswerPage(w http.ResponseWriter, r *http.Request) error {
	c, err := s.History.Comparison(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	view := keptAnswerView{
		frame:        s.frame(answersSection, "Answer about "+cmp.Or(c.Serial, "a coil")),
		Answer:       answerShown{Asked: true, Comparison: c, Letter: cmp.Or(c.Letter, c.Result.Answer), Picture: s.drawnComparison(c)},
		FormulaToday: compare.Formula,
	}
	if view.Today, err = workshop.Today(c); err != nil {
		return err
	}
	if view.Again, err = againPath(c); err != nil {
		return err
	}
	return s.renderPage(w, "answer/kept", view)
}

// againPath is the form with what was told of c filled in.
func againPath(c record.Comparison) (string, error) {
	request, err := workshop.RequestOf(c)
	if err != nil {
		return "", err
	}
	values := url.Values{}
	fill := func(name string, text workshop.Text) {
		if text != "" {
			values.Set(name, string(text))
		}
	}
	fill("their_meter", request.TheirMeter)
	fill("note", request.Note)
	for name, text := range request.Told() {
		fill(name, *text)
	}
	for i := range request.Also {
		for name, text := range request.Also[i].Told() {
			fill(alsoField(i, name), *text)
		}
	}
	return "/answer?" + values.Encode(), nil
}

func (s answerPages) keptAnswerPDF(w http.ResponseWriter, r *http.Request) error {
	c, err := s.History.Comparison(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	return s.sendAnswer(w, c, c.Time)
}

// answerWords are the template functions of the answers.
func answerWords() template.FuncMap {
	return template.FuncMap{
		"causeCounts": causeCounts,
		"cause":       compare.Cause.Label,
		"answerURL":   func(serial string) string { return "/answer?" + url.Values{"serial": {serial}}.Encode() },
		"also":        alsoField,
		"choice":      choiceField,
		"capital":     sentence,
	}
}

// choiceView is a field with a few answers to choose from.
type choiceView struct {
	ID, Name, Label, Value, Wrong string
	Options                       [][2]string // value and words
}

// choiceField shows a field of f with options told as value and words in turn.
func choiceField(f form, name, label string, options ...string) choiceView {
	v := choiceView{ID: strings.ReplaceAll(name, ".", "-"), Name: name, Label: label, Value: f.Get(name), Wrong: f.At(name)}
	for i := 0; i+1 < len(options); i += 2 {
		v.Options = append(v.Options, [2]string{options[i], options[i+1]})
	}
	return v
}
