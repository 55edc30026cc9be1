package pages

import (
	"cmp"
	"math"
	"net/http"
	"strconv"

	"coilkeep/internal/cooling"
	"coilkeep/internal/record"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/words"
	"coilkeep/internal/workshop"
)

// learnedView is what coils left on the clips propose for a design.
type learnedView struct {
	// Proposal is nil while too few coils have shown theirs; Coils have.
	Proposal *cooling.Proposal
	Coils    int
	Least    int
	// Changes lists what the proposal would change; empty when it is in use.
	Changes []learnedChange
	// Curves are those of the design's coils, newest first.
	Curves []record.CoolingCurve
	// Token says which proposal was seen.
	Token string
}

// learnedChange is one thing that a proposal changes.
type learnedChange struct{ What, From, To string }

// learned gathers what the coils of a design propose for it.
func (s designPages) learned(r *http.Request, d record.Design) (learnedView, error) {
	curves, err := s.History.CoolingCurves(r.Context(), d.Name)
	if err != nil {
		return learnedView{}, err
	}
	view := learnedView{Proposal: workshop.ProposeCooling(curves), Coils: workshop.CooledCoils(curves), Least: cooling.LeastCoils,
		Curves: curves}
	if p := view.Proposal; p != nil {
		view.Token = workshop.CoolingToken(*p)
		to := workshop.WithCooling(d, *p)
		for _, c := range []learnedChange{
			{"Time constant", workshop.TimeConstantWords(d), workshop.TimeConstantWords(to)},
			{"Warmth in the wire alone", workshop.QuickShareWords(d), workshop.QuickShareWords(to)},
		} {
			if c.From != c.To {
				view.Changes = append(view.Changes, c)
			}
		}
	}
	return view, nil
}

// useLearnedForm makes a revision of what was learned, as a person has seen it.
func (s designPages) useLearnedForm(w http.ResponseWriter, r *http.Request) error {
	name := r.PathValue("design")
	return s.submit(w, r, func(f form) (string, error) {
		latest, err := s.History.Design(r.Context(), name)
		if err != nil {
			return "", err
		}
		curves, err := s.History.CoolingCurves(r.Context(), name)
		if err != nil {
			return "", err
		}
		design, err := workshop.ReviseByCooling(latest, curves, f.Get("proposal"))
		if err != nil {
			return "", problem.Conflict.Because("%v", err)
		}
		if design.Revision, err = strconv.Atoi(f.Get(revisionField)); err != nil || design.Revision < 1 {
			return "", problem.Invalid.InField(revisionField, "is missing: load the page of the design again")
		}
		design, err = s.History.ReviseDesign(r.Context(), design, api.Requester(r))
		return pagePath("designs", design.Name) + "#learned", err
	}, func(status int, f form) error {
		return s.showDesignPage(w, r, status, nil, cmp.Or(f.Problem, "not done"))
	})
}

const (
	timeConstantField = "time_constant_minutes"
	wantedField       = "wanted_uncertainty_percent"
)

// shownMinutes is the time constant of a design as its form shows it.
func shownMinutes(d record.Design) string {
	if d.TimeConstantSeconds == 0 {
		return ""
	}
	return words.Plain(workshop.Figures(d.TimeConstantSeconds/60, 6))
}

// timeConstant takes the time constant that was typed, in seconds; nil when it was
// left as d has it.
func (f form) timeConstant(d record.Design) (*float64, error) {
	if f.Get(timeConstantField) == shownMinutes(d) {
		return nil, nil
	}
	minutes, err := f.number(timeConstantField)
	if err != nil {
		return nil, err
	}
	seconds := minutes * 60
	if math.Abs(seconds-d.TimeConstantSeconds) <= 1e-6*seconds && seconds != 0 {
		return nil, nil
	}
	return &seconds, nil
}

// learnedField is what the form of a design says of what its coils taught.
const learnedField = "learned"

// learnedWords says what a design's coils taught; "" when nothing.
func learnedWords(d record.Design) string {
	if d.TimeConstantRatio == 0 {
		return ""
	}
	return workshop.TimeConstantWords(d) + "; warmth in the wire alone: " + workshop.QuickShareWords(d)
}
