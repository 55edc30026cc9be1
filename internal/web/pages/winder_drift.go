package pages

import (
	"net/http"

	"coilkeep/internal/web/api"
	"coilkeep/internal/workshop"
)

// winderDrift is what the drift analysis says of the winder of a path, and of the
// design that the query may name.
func (s windingPages) winderDrift(r *http.Request) (workshop.Drift, error) {
	if err := api.OnlyParameters(r.URL.Query(), "design"); err != nil {
		return workshop.Drift{}, err
	}
	return api.WinderDrift(r.Context(), s.Drift, r.PathValue("winder"), r.URL.Query().Get("design"))
}
