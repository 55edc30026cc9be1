package web

import (
	"cmp"
	"net/http"
	"time"

	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

// reevaluationRoutes are about evaluating older measurements by today's rules.
func (s *site) reevaluationRoutes() []route {
	return []route{
		{"GET", "/reevaluate", s.forPeople(s.reevaluatePage)},
		{"POST", "/reevaluate", s.forPeople(s.reevaluateForm)},
		{"POST", "/api/v1/reevaluations", s.reevaluate},
	}
}

// reevaluate previews what today's rules give for older measurements, and stores
// it when that is asked for. The request may take as long as it needs; when it is
// cut off, what was stored stands, and the same request goes on with the rest.
func (s *site) reevaluate(w http.ResponseWriter, r *http.Request) error {
	var body struct {
		Batch   string   `json:"batch"`
		Design  string   `json:"design"`
		Serials []string `json:"serials"`
		Since   string   `json:"since"`
		Apply   bool     `json:"apply"`
		Reason  string   `json:"reason"`
		Who     string   `json:"who"`
	}
	if err := api.Decode(w, r, &body); err != nil {
		return err
	}
	pick := workshop.Selection{Batch: body.Batch, Design: body.Design, Serials: body.Serials}
	if body.Since != "" {
		since, err := api.ParseTime("since", body.Since)
		if err != nil {
			return err
		}
		pick.Since = since
	}
	if body.Batch == "" && body.Design == "" && len(body.Serials) == 0 {
		return problem.Invalid.InField("batch", "is missing: say which coils by batch, design or serials; the command coilkeep coil "+
			"reevaluate takes all "+
			"there are")
	}
	if !body.Apply && body.Reason != "" {
		return problem.Invalid.InField("reason", "goes with apply; without it nothing is changed")
	}
	if err := http.NewResponseController(w).SetWriteDeadline(time.Time{}); err != nil {
		return err
	}
	work := workshop.Reevaluation{Store: s.server.History, Arrive: s.server.Arrive}
	sum, err := func() (workshop.Reevaluated, error) {
		if body.Apply {
			return work.Apply(r.Context(), pick, body.Reason, cmp.Or(body.Who, requester(r)))
		}
		return work.Preview(r.Context(), pick)
	}()
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, sum)
	return nil
}
