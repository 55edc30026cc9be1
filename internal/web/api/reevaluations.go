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
	Batch   string   `json:"batch,omitempty"`   // of this batch
	Design  string   `json:"design,omitempty"`  // of this design
	Serials []string `json:"serials,omitempty"` // of these coils
	// Measured from then on.
	Since string `json:"since,omitempty" openapi:"format=date-time"`
	// Store the new results.
	Apply bool `json:"apply,omitempty" openapi:"default=false"`
	// Why; with apply, and needed then.
	Reason string `json:"reason,omitempty"`
	// Who asks; the name of the login where it is left out.
	Who string `json:"who,omitempty"`
}

func (e reevaluations) reevaluate(ctx context.Context, request toReevaluate) (workshop.Reevaluated, error) {
	pick := workshop.Selection{Batch: request.Batch, Design: request.Design, Serials: request.Serials}
	if request.Since != "" {
		since, err := parseTime("since", request.Since)
		if err != nil {
			return workshop.Reevaluated{}, err
		}
		pick.Since = since
	}
	if request.Batch == "" && request.Design == "" && len(request.Serials) == 0 {
		return workshop.Reevaluated{}, problem.Invalid.InField("batch",
			"is missing: say which coils by batch, design or serials; the command coilkeep coil reevaluate takes all there are")
	}
	if !request.Apply && request.Reason != "" {
		return workshop.Reevaluated{}, problem.Invalid.InField("reason", "goes with apply; without it nothing is changed")
	}
	if request.Apply {
		return e.work.Apply(ctx, pick, request.Reason, cmp.Or(request.Who, request.Login))
	}
	return e.work.Preview(ctx, pick)
}
