package api

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"reflect"

	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

// comparisons sets what somebody else measured against our records.
type comparisons struct{ kept ComparisonRecords }

// ComparisonRecords keeps comparisons, and what they are drawn from.
type ComparisonRecords interface {
	workshop.ComplaintStore
	AddComparison(ctx context.Context, c record.Comparison) (record.Comparison, error)
	Comparison(ctx context.Context, id string) (record.Comparison, error)
	Comparisons(ctx context.Context, filter record.ComparisonFilter) (page []record.Comparison, next string, err error)
}

func (c comparisons) endpoints() []Endpoint {
	add := endpoint("POST", "/api/v1/comparisons", http.StatusCreated, c.add,
		About{ID: "addComparison", Tag: Comparisons, Summary: "Set what somebody else measured against the record of a coil",
			Description: "The serial number of the coil, or its resistance at 20 °C, and what they read; all else makes the answer sharper. " +
				"What was not told is assumed, and the assumptions are listed.",
			Says: "The answer, kept.", Needs: []string{"theirs"}})
	add.Answered = reflect.TypeFor[record.ComparisonAnswer]()
	add.Otherwise = &Otherwise{Status: http.StatusOK, Says: "The answer; nothing was kept.",
		Answered: []reflect.Type{reflect.TypeFor[record.ComparisonAnswer](), reflect.TypeFor[workshop.OverloadAnswer]()}}
	return []Endpoint{
		endpoint("GET", "/api/v1/comparisons", http.StatusOK, c.list,
			About{ID: "listComparisons", Tag: Comparisons, Summary: "Comparisons, the newest first",
				Description: "Each with its whole answer, as it was kept.",
				Says:        "One page."}),
		add,
		endpoint("GET", "/api/v1/comparisons/{id}", http.StatusOK, c.show,
			About{ID: "showComparison", Tag: Comparisons, Summary: "One comparison, as it was kept",
				Description: "With what the same input gives today, when the formula has changed since.",
				Says:        "The comparison."}),
	}
}

// comparisonFilter picks comparisons.
type comparisonFilter struct {
	Serial string `query:"serial"` // with this coil only
	Design string `query:"design"` // with coils of this design only
	page
}

// ComparisonPage is one page of comparisons.
type ComparisonPage struct {
	Comparisons []record.ComparisonAnswer `json:"comparisons"` // the newest first
	Next        string                    `json:"next"`        // for after, to get the next page; empty on the last
}

func (c comparisons) list(ctx context.Context, request comparisonFilter) (ComparisonPage, error) {
	list, next, err := c.kept.Comparisons(ctx, record.ComparisonFilter{Serial: request.Serial, Design: request.Design, After: request.After,
		Limit: request.Limit})
	answer := ComparisonPage{Comparisons: []record.ComparisonAnswer{}, Next: next}
	for _, one := range list {
		answer.Comparisons = append(answer.Comparisons, record.AnswerComparison(one))
	}
	return answer, err
}

// ofComparison is a request about one comparison.
type ofComparison struct {
	ID string `path:"id"` // its id
}

func (c comparisons) show(ctx context.Context, request ofComparison) (record.ComparisonAnswer, error) {
	kept, err := c.kept.Comparison(ctx, request.ID)
	if err != nil {
		return record.ComparisonAnswer{}, err
	}
	answer := record.AnswerComparison(kept)
	answer.Today, err = workshop.Today(kept)
	return answer, err
}

// toCompare is what was told, and whether it is kept.
type toCompare struct {
	// False answers without keeping the comparison.
	Keep bool `query:"keep" openapi:"default=true"`
	login
	workshop.ComparisonRequest
}

// compared is the answer to what was told.
type compared struct {
	answer any
	kept   bool
}

// MarshalJSON writes the answer alone.
func (c compared) MarshalJSON() ([]byte, error) { return json.Marshal(c.answer) }

// otherwise is true for what was not kept.
func (c compared) otherwise() bool { return !c.kept }

func (c comparisons) add(ctx context.Context, request toCompare) (compared, error) {
	q, err := request.Ask(ctx, c.kept)
	if err != nil {
		return compared{}, ComplaintFault(err)
	}
	if q.Overload != "" && !request.Keep {
		answer, err := workshop.AnswerOverload(q)
		return compared{answer: answer}, ComplaintFault(err)
	}
	made, err := workshop.Compare(q)
	if err != nil {
		return compared{}, ComplaintFault(err)
	}
	if !request.Keep {
		return compared{answer: record.AnswerComparison(made)}, nil
	}
	made.By = request.Login
	made, err = c.kept.AddComparison(ctx, made)
	return compared{record.AnswerComparison(made), true}, err
}

// ComplaintFault makes of an error about what was told a problem with its field.
func ComplaintFault(err error) error {
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
