package pages

import (
	"errors"
	"net/http"

	"coilkeep/internal/record"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

// assemblyForm keeps that the coil of the page is sold with another.
func (s coilPages) assemblyForm(w http.ResponseWriter, r *http.Request) error {
	first := r.PathValue("serial")
	return s.submit(w, r, func(f form) (string, error) {
		second := f.Get("second")
		asked := workshop.AssemblyRequest{Serial: f.Get("serial"), First: first, Second: second, By: api.Requester(r),
			TakeApart: f.Get("take_apart") != ""}
		_, err := s.History.AddAssembly(r.Context(), asked.Assembly(), asked.TakeApart)
		if errors.Is(err, record.ErrNotFound) {
			err = problem.Invalid.InField("second", "coil %s was never measured; look at its number", second)
		}
		if errors.Is(err, record.ErrConflict) {
			err = problem.Invalid.InField("take_apart", "%v", err)
		}
		return pagePath("coils", first), err
	}, func(status int, f form) error { return s.showCoilPage(w, r, status, f) })
}
