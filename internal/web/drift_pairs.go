package web

import (
	"cmp"
	"context"
	"net/http"
	"strconv"

	"coilkeep/internal/conformity"
	"coilkeep/internal/drift"
	"coilkeep/internal/history"
)

// pairsView is the pick list of pairs.
type pairsView struct {
	frame
	Form form
	// List is nil before it was asked for.
	List *drift.PickList
	R20  map[string]float64
	// Left is how many coils of the batches are not in the stock, because they are
	// not in tolerance.
	Left int
}

// pairsPage pairs the coils of one batch with each other, or those of one batch
// with those of another.
func (s *site) pairsPage(w http.ResponseWriter, r *http.Request) error {
	query := r.URL.Query()
	view := pairsView{frame: s.frame(windingSection, "Pairs"), Form: filledIn(query)}
	if view.Form.Get("first") == "" {
		return s.renderPage(w, "drift/pairs", view)
	}
	status := http.StatusOK
	if err := s.pair(r.Context(), &view); err != nil {
		trouble := classify(driftFault(err))
		if trouble.kind.status >= http.StatusInternalServerError {
			return err
		}
		view.Form.Field, view.Form.Problem, status = trouble.field, trouble.detail, trouble.kind.status
	}
	return s.renderPageAs(w, status, "drift/pairs", view)
}

// pair fills in the pick list that was asked for.
func (s *site) pair(ctx context.Context, view *pairsView) error {
	within, err := strconv.ParseFloat(cmp.Or(view.Form.Get("within"), "1"), 64)
	if err != nil || !(within > 0 && within <= 50) {
		return invalid.of("within", "%q is not a number of percent above 0, up to 50", view.Form.Get("within"))
	}
	view.R20 = map[string]float64{}
	first, err := s.stock(ctx, view, "first")
	if err != nil {
		return err
	}
	var list drift.PickList
	if other := view.Form.Get("second"); other == "" || other == view.Form.Get("first") {
		list, err = drift.PairWithin(first, within/100)
	} else {
		var second []drift.Stocked
		if second, err = s.stock(ctx, view, "second"); err != nil {
			return err
		}
		list, err = drift.PairAcross(first, second, within/100)
	}
	if err == nil {
		view.List = &list
	}
	return err
}

// stock lists the coils of a batch that are in tolerance, each with its newest
// measurement that stands.
func (s *site) stock(ctx context.Context, view *pairsView, field string) ([]drift.Stocked, error) {
	name := view.Form.Get(field)
	batch, err := s.server.History.Batch(ctx, name)
	if err != nil {
		return nil, invalid.of(field, "there is no batch %q", name)
	}
	design, err := s.server.History.DesignRevision(ctx, batch.Design, batch.DesignRevision)
	if err != nil {
		return nil, err
	}
	coils, next, err := s.server.History.Measurements(ctx, history.Filter{Batch: name, Newest: true, Limit: history.MaxPage})
	if err != nil {
		return nil, err
	}
	if next != "" {
		return nil, invalid.of(field, "batch %s has more than %d measurements; pair smaller batches", name, history.MaxPage)
	}
	var stock []drift.Stocked
	seen := map[string]bool{}
	for _, m := range coils {
		if seen[m.Serial] || !stands(m) {
			continue
		}
		seen[m.Serial] = true
		if m.Verdict != conformity.In {
			view.Left++
			continue
		}
		view.R20[m.Serial] = m.R20Ohms
		stock = append(stock, drift.Stocked{Serial: m.Serial, R20Ohms: m.R20Ohms, TargetOhms: design.TargetOhms})
	}
	return stock, nil
}
