package api

import (
	"cmp"
	"context"
	"net/http"

	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

// reevaluations evaluates older measurements by today's rules.
type reevaluations struct{ work workshop.Reevaluation }

func (e reevaluations) endpoints() []Endpoint {
	return []Endpoint{
		endpoint("POST", "/api/v1/reevaluations", http.StatusOK, e.reevaluate,
			About{ID: "reevaluate", Tag: Measurements, Summary: "Evaluate older measurements by today's rules",
				Description: "From the readings that were kept, with the copper's temperature estimated. Without apply it is a preview and " +
					"nothing is changed. With apply each new result takes the place of the old one, which is kept and marked superseded; a " +
					"request that was cut off is sent again and goes on with the rest.",
				Says: "What changes, or changed.", Unhurried: true}),
	}
}

// toReevaluate is which measurements: those of a batch, of a design or of coils,
// at least one of the three.
type toReevaluate struct {
	login
	workshop.ReevaluationRequest
}

func (e reevaluations) reevaluate(ctx context.Context, request toReevaluate) (workshop.Reevaluated, error) {
	if request.Batch == "" && request.Design == "" && len(request.Serials) == 0 {
		return workshop.Reevaluated{}, problem.Invalid.InField("batch",
			"is missing: say which coils by batch, design or serials; the command coilkeep coil reevaluate takes all there are")
	}
	request.Who = cmp.Or(request.Who, request.Login)
	return e.work.Do(ctx, request.ReevaluationRequest)
}
