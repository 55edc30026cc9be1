package web

import (
	"cmp"
	"net/http"
	"time"

	"coilkeep/internal/cooling"
	"coilkeep/internal/record"
)

// whoBody says who it is that answers; the name of the login where it is left out.
type whoBody struct {
	Who string `json:"who"`
}

func (b whoBody) name(r *http.Request) string { return cmp.Or(b.Who, requester(r)) }

// measureAgain says that the next coil is one that was not recorded.
func (s *site) measureAgain(w http.ResponseWriter, r *http.Request) error {
	var body whoBody
	return s.order(w, r, &body, func(b Bench) error {
		return b.MeasureAgain(r.Context(), r.PathValue("id"), body.name(r))
	})
}

// takeNext says that the next coil is another than the one that was not recorded.
func (s *site) takeNext(w http.ResponseWriter, r *http.Request) error {
	var body whoBody
	return s.order(w, r, &body, func(b Bench) error {
		return b.TakeNext(r.Context(), r.PathValue("id"), body.name(r))
	})
}

// dismiss takes a coil that was not recorded off the list.
func (s *site) dismiss(w http.ResponseWriter, r *http.Request) error {
	var body whoBody
	return s.order(w, r, &body, func(b Bench) error {
		_, err := b.Dismiss(r.Context(), r.PathValue("id"), body.name(r))
		return err
	})
}

// soak says since when a coil or a batch has been lying beside the probe.
func (s *site) soak(w http.ResponseWriter, r *http.Request) error {
	b, err := s.bench(r)
	if err != nil {
		return err
	}
	var body struct {
		Serial string    `json:"serial"`
		Batch  string    `json:"batch"`
		Since  time.Time `json:"since"`
		Who    string    `json:"who"`
	}
	if err := decode(w, r, &body); err != nil {
		return err
	}
	soak, err := b.Soak(r.Context(), record.Soak{Serial: body.Serial, Batch: body.Batch, Since: body.Since,
		Who: whoBody{body.Who}.name(r)})
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusCreated, soak)
	return nil
}

// showCooling answers with the cooling curves of a design's coils and what they
// propose.
func (s *site) showCooling(w http.ResponseWriter, r *http.Request) error {
	name := r.PathValue("design")
	if _, err := s.server.History.DesignRevisions(r.Context(), name); err != nil {
		return err
	}
	curves, err := s.server.History.CoolingCurves(r.Context(), name)
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, struct {
		Curves []record.CoolingCurve `json:"curves"`
		// Proposal is nil while too few coils have shown theirs.
		Proposal *cooling.Proposal `json:"proposal"`
	}{curves, proposedCooling(curves)})
	return nil
}

// proposedCooling is what curves of one design propose for its next revision; nil
// while they are of too few coils.
func proposedCooling(curves []record.CoolingCurve) *cooling.Proposal {
	list := make([]cooling.Curve, len(curves))
	for i, c := range curves {
		list[i] = cooling.Curve{Serial: c.Serial, TimeConstantSeconds: c.TimeConstantSeconds,
			TimeConstantErrorSeconds: c.TimeConstantErrorSeconds, QuickShare: c.QuickShare, QuickShareError: c.QuickShareError}
	}
	proposal, ok := cooling.Propose(list)
	if !ok {
		return nil
	}
	return &proposal
}
