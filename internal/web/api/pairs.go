package api

import (
	"context"
	"errors"
	"net/http"

	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

// pairs makes pick lists.
type pairs struct{ kept workshop.PairsStore }

func (p pairs) endpoints() []Endpoint {
	return []Endpoint{
		endpoint("GET", "/api/v1/pairs", http.StatusOK, p.pick,
			About{ID: "listPairs", Tag: Coils,
				Summary:     "Which two coils go together: as many pairs as the stock allows, and among those the closest",
				Description: "Only single coils in tolerance are paired.",
				Says:        "The pick list. A batch without a coil in tolerance is answered with a conflict.", Needs: []string{"first"}}),
	}
}

func (p pairs) pick(ctx context.Context, request workshop.PairsRequest) (workshop.PickList, error) {
	list, err := workshop.PickPairs(ctx, p.kept, request)
	return list, PairsFault(err)
}

// PairsFault makes of what is wrong with a pairing a problem with its field.
func PairsFault(err error) error {
	var wrong *record.FieldError
	var none *workshop.EmptyStockError
	switch {
	case errors.As(err, &wrong):
		return problem.Invalid.InField(wrong.Field, "%s", wrong.Problem)
	case errors.As(err, &none):
		return problem.Conflict.InField(none.Field, "%v", none)
	}
	return err
}
