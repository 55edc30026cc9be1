package pages

import (
	"cmp"
	"context"
	"net/http"
	"strconv"

	"coilkeep/internal/record"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/words"
	"coilkeep/internal/workshop"
)

// withinField is how far apart the coils of a pair may be, in percent.
const withinField = "within"

// pairsView is the page of the pick list.
type pairsView struct {
	frame
	Form form
	// Batches are the names of the newest, to choose from.
	Batches []string
	// List is nil before it was asked for.
	List *workshop.PickList
}

// pairsPage pairs the coils of one batch with each other, or those of one batch
// with those of another.
func (s windingPages) pairsPage(w http.ResponseWriter, r *http.Request) error {
	view := pairsView{frame: s.frame(windingSection, "Pairs"), Form: filledIn(r.URL.Query())}
	batches, _, err := s.History.FindBatches(r.Context(), record.BatchSearch{Limit: listedBatches})
	if err != nil {
		return err
	}
	for _, b := range batches {
		view.Batches = append(view.Batches, b.Name)
	}
	if view.Form.Get("first") == "" {
		return s.renderPage(w, "drift/pairs", view)
	}
	list, err := s.pickPairs(r.Context(), view.Form)
	if err == nil {
		view.List = &list
		return s.renderPage(w, "drift/pairs", view)
	}
	trouble := problem.Classify(api.PairsFault(err))
	if trouble.Kind.Status >= http.StatusInternalServerError {
		return err
	}
	view.Form.Field, view.Form.Problem = trouble.Field, trouble.Detail
	if trouble.Field == "within_percent" {
		view.Form.Field = withinField
	}
	return s.renderPageAs(w, trouble.Kind.Status, "drift/pairs", view)
}

// pickPairs makes the pick list that a form asks for; within 1 % when nothing is
// told.
func (s windingPages) pickPairs(ctx context.Context, f form) (workshop.PickList, error) {
	asked := workshop.PairsRequest{First: f.Get("first"), Second: f.Get("second")}
	var err error
	if asked.WithinPercent, err = strconv.ParseFloat(cmp.Or(f.Get(withinField), "1"), 64); err != nil {
		return workshop.PickList{}, workshop.WrongWithinPercent(f.Get(withinField))
	}
	return workshop.PickPairs(ctx, s.History, asked)
}

// knownWords says how well coils are known.
func knownWords(ratio float64) string { return words.Significant(100*ratio, 1) + " %" }
