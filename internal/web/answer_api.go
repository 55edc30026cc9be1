package web

import (
	"context"
	"errors"
	"net/http"
	"net/url"

	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

// Comparisons is what the answers to buyers ask of the history.
type Comparisons interface {
	AddComparison(ctx context.Context, c record.Comparison) (record.Comparison, error)
	Comparison(ctx context.Context, id string) (record.Comparison, error)
	ComparisonsOf(ctx context.Context, serial string) ([]record.Comparison, error)
	Comparisons(ctx context.Context, filter record.ComparisonFilter) (page []record.Comparison, next string, err error)
}

// addComparison compares and, unless the query says keep=false, keeps the
// comparison.
func (s *site) addComparison(w http.ResponseWriter, r *http.Request) error {
	keep, err := parseKeep(r.URL.Query())
	if err != nil {
		return err
	}
	var request workshop.ComparisonRequest
	if err := decode(w, r, &request); err != nil {
		return err
	}
	q, err := request.Ask(r.Context(), s.server.History)
	if err != nil {
		return answerFault(err)
	}
	if q.Overload != "" && !keep {
		answer, err := workshop.AnswerOverload(q)
		if err != nil {
			return answerFault(err)
		}
		s.reply(w, r, http.StatusOK, answer)
		return nil
	}
	c, err := workshop.Compare(q)
	if err != nil {
		return answerFault(err)
	}
	if !keep {
		s.reply(w, r, http.StatusOK, workshop.AnswerComparison(c))
		return nil
	}
	c.By = requester(r)
	if c, err = s.server.History.AddComparison(r.Context(), c); err != nil {
		return err
	}
	s.reply(w, r, http.StatusCreated, workshop.AnswerComparison(c))
	return nil
}

func parseKeep(query url.Values) (bool, error) {
	if err := onlyParameters(query, "keep"); err != nil {
		return false, err
	}
	switch query.Get("keep") {
	case "", "true":
		return true, nil
	case "false":
		return false, nil
	}
	return false, problem.Invalid.InField("keep", "%q is neither true nor false", query.Get("keep"))
}

// answerFault makes of an error about what was told a problem with its field.
func answerFault(err error) error {
	var wrong *record.FieldError
	var coil *workshop.CoilError
	switch {
	case errors.As(err, &wrong):
		return problem.Invalid.InField(wrong.Field, "%s", wrong.Problem)
	case errors.As(err, &coil) && errors.Is(err, record.ErrNotFound):
		return problem.Invalid.InField(coil.Field, "no coil %s was ever measured here; look the number up under Coils", coil.Serial)
	case errors.Is(err, workshop.ErrWithdrawn):
		return problem.Conflict.Because("%v", err)
	}
	return err
}

// listComparisons answers with one page of comparisons, the newest first.
func (s *site) listComparisons(w http.ResponseWriter, r *http.Request) error {
	filter := record.ComparisonFilter{Limit: defaultPage}
	query := r.URL.Query()
	if err := onlyParameters(query, "serial", "design", "after", "limit"); err != nil {
		return err
	}
	filter.Serial, filter.Design, filter.After = query.Get("serial"), query.Get("design"), query.Get("after")
	if query.Has("limit") {
		var err error
		if filter.Limit, err = parseLimit(query.Get("limit")); err != nil {
			return err
		}
	}
	page, next, err := s.server.History.Comparisons(r.Context(), filter)
	if err != nil {
		return err
	}
	list := []workshop.ComparisonAnswer{}
	for _, c := range page {
		list = append(list, workshop.AnswerComparison(c))
	}
	s.reply(w, r, http.StatusOK, struct {
		Comparisons []workshop.ComparisonAnswer `json:"comparisons"`
		// Next is empty on the last page.
		Next string `json:"next"`
	}{list, next})
	return nil
}

func (s *site) showComparison(w http.ResponseWriter, r *http.Request) error {
	c, err := s.server.History.Comparison(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	reply := workshop.AnswerComparison(c)
	if reply.Today, err = workshop.Today(c); err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, reply)
	return nil
}
