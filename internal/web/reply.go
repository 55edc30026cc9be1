package web

import (
	"encoding/json"
	"fmt"
	"net/http"

	"coilkeep/internal/web/pages"
	"coilkeep/internal/web/problem"
)

// fail answers with the problem err is.
func (s *site) fail(w http.ResponseWriter, r *http.Request, err error) {
	f := problem.Classify(err)
	// What a client that has gone away was asking for is nobody's trouble.
	if f.Kind.Status >= http.StatusInternalServerError && r.Context().Err() == nil {
		s.log.Error("request failed", "method", r.Method, "path", r.URL.Path, "err", err)
	}
	if f.Kind == problem.NeedsPassword {
		w.Header().Set("WWW-Authenticate", `Basic realm="coilkeep", charset="UTF-8"`)
	}
	encoded, err := json.Marshal(f.Details())
	if err != nil {
		s.log.Error("problem cannot be written", "err", err)
	}
	pages.Send(w, s.log, f.Kind.Status, "application/problem+json", encoded)
}

// reply answers with value as JSON.
func (s *site) reply(w http.ResponseWriter, r *http.Request, status int, value any) {
	encoded, err := json.Marshal(value)
	if err != nil {
		s.fail(w, r, fmt.Errorf("write the answer as JSON: %w", err))
		return
	}
	pages.Send(w, s.log, status, "application/json", encoded)
}
