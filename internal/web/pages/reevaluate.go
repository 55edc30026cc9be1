package pages

import (
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"coilkeep/internal/record"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

// shownChanged is how many coils of each list of a batch the page names.
const shownChanged = 200

// reevaluateView is the page that evaluates older measurements by today's rules:
// first a preview, then the new results.
type reevaluateView struct {
	frame
	// Designs are all there are, to choose from.
	Designs []record.Design
	Form    form
	// Asked is true when there is something to evaluate, Applying when the results
	// are stored.
	Asked, Applying bool
	// Sum is what came of it; Trouble why it came to nothing.
	Sum     workshop.Reevaluated
	Trouble string
}

// What says which measurements were asked for.
func (v *reevaluateView) What() string {
	var parts []string
	for _, p := range [][2]string{{"batch", "batch "}, {"design", "design "}, {"coils", "coils "}} {
		if text := v.Form.Get(p[0]); text != "" {
			parts = append(parts, p[1]+text)
		}
	}
	if len(parts) == 0 {
		return "every coil"
	}
	return strings.Join(parts, ", ")
}

// Widest is the largest of all the medians of U, in percent: the scale of the
// picture.
func (v *reevaluateView) Widest() (widest float64) {
	for _, b := range v.Sum.Batches {
		widest = max(widest, b.MedianUncertaintyBeforePercent, b.MedianUncertaintyAfterPercent)
	}
	return widest
}

// reevaluatePath is where the older measurements of a batch, a design or a coil are
// evaluated again.
func reevaluatePath(of, name string) string {
	return "/reevaluate?" + url.Values{of: {name}, "show": {"1"}}.Encode()
}

// reevaluatePage shows what today's rules give for older measurements. It changes
// nothing.
func (s reevaluationPages) reevaluatePage(w http.ResponseWriter, r *http.Request) error {
	f := filledIn(r.URL.Query())
	view, err := s.newReevaluateView(r, f)
	if err != nil {
		return err
	}
	if f.Get("show") == "" {
		return s.renderPage(w, "records/reevaluate", view)
	}
	return s.evaluateAgain(w, r, view, reevaluationOf(f))
}

// reevaluationOf is what a form asks for.
func reevaluationOf(f form) workshop.ReevaluationRequest {
	return workshop.ReevaluationRequest{Batch: f.Get("batch"), Design: f.Get("design"), Serials: serialsIn(f.Get("coils"))}
}

// reevaluateForm stores the new results. To send it again goes on with what is
// left.
func (s reevaluationPages) reevaluateForm(w http.ResponseWriter, r *http.Request) error {
	f, err := readForm(w, r)
	if err != nil {
		return err
	}
	view, err := s.newReevaluateView(r, f)
	if err != nil {
		return err
	}
	request := reevaluationOf(f)
	request.Apply, request.Reason, request.Who = true, f.Get("reason"), api.Requester(r)
	if wrong := (*record.FieldError)(nil); errors.As(request.Check(), &wrong) {
		view.Form.Field, view.Form.Problem = wrong.Field, wrong.Problem
		return s.renderPageAs(w, problem.Invalid.Status, "records/reevaluate", view)
	}
	view.Applying = true
	return s.evaluateAgain(w, r, view, request)
}

func (s reevaluationPages) newReevaluateView(r *http.Request, f form) (*reevaluateView, error) {
	view := &reevaluateView{frame: s.frame(batchesSection, "By today's rules"), Form: f}
	var err error
	view.Designs, err = s.History.Designs(r.Context())
	return view, err
}

// evaluateAgain answers with the page piece by piece, while what is asked for is
// done.
func (s reevaluationPages) evaluateAgain(w http.ResponseWriter, r *http.Request, view *reevaluateView,
	request workshop.ReevaluationRequest) error {
	work := workshop.Reevaluation{Store: s.History, Arrive: s.Arrive}
	if field, err := work.Missing(r.Context(), request); err != nil {
		if !errors.Is(err, record.ErrNotFound) {
			return err
		}
		if field == "serials" {
			field = "coils"
		}
		view.Form.Field, view.Form.Problem = field, problem.Classify(err).Detail
		return s.renderPageAs(w, problem.Invalid.Status, "records/reevaluate", view)
	}
	if err := http.NewResponseController(w).SetWriteDeadline(time.Time{}); err != nil { // it takes as long as it needs
		return err
	}
	view.Asked = true
	return s.streamPage(w, "records/reevaluate", view, func(tell func(template.HTML)) {
		work.Progress = func(looked int) {
			tell(template.HTML(fmt.Sprintf("<span>%d measurements looked at…</span> ", looked)))
		}
		var err error
		if view.Sum, err = work.Do(r.Context(), request); err != nil {
			view.Trouble = problem.Classify(err).Detail
			if r.Context().Err() == nil {
				s.Logger.Error("measurements not evaluated again", "err", err)
			}
		}
	})
}

// serialsIn takes serial numbers apart that are separated by commas.
func serialsIn(text string) (serials []string) {
	for _, part := range strings.Split(text, ",") {
		if serial := strings.TrimSpace(part); serial != "" {
			serials = append(serials, serial)
		}
	}
	return serials
}

// countOlderFormula is how many measurements that stand are by an older formula.
func countOlderFormula(list []record.Measurement) (n int) {
	for _, m := range list {
		if workshop.OlderFormula(m) {
			n++
		}
	}
	return n
}

// fewChanged are the coils of a list that are named.
func fewChanged(list []workshop.ReevaluatedCoil) []workshop.ReevaluatedCoil {
	return slices.Clone(list[:min(len(list), shownChanged)])
}

// coilPath is where a coil before and after is looked at: as stored, or as it is
// while that is a preview.
func coilPath(c workshop.ReevaluatedCoil) string {
	id := c.ID
	if c.NewID != "" {
		id = c.NewID
	}
	return measurementPath(record.Measurement{Serial: c.Serial, ID: id})
}
