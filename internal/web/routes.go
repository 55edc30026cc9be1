package web

import (
	"fmt"
	"net/http"
	"runtime/debug"
	"slices"
	"strings"

	"coilkeep/internal/web/api"
	"coilkeep/internal/web/pages"
	"coilkeep/internal/web/problem"
)

// routes lists everything that can be asked. The API's description lists what
// programs may ask of it; a test compares the two.
func (s *site) routes() []pages.Route {
	return slices.Concat(s.apiRoutes(), s.pages.Routes(), []pages.Route{
		{Method: "GET", Path: "/healthz", Answer: s.healthz},
		{Method: "GET", Path: "/readyz", Answer: s.readyz},
		{Method: "GET", Path: "/metrics", Answer: s.metrics},
		{Method: "GET", Path: "/api/v1/openapi.json", Answer: s.openapi},
		{Method: "GET", Path: "/api/v1/events", Answer: s.events},
	})
}

// apiRoutes lists what programs ask and are answered in JSON.
func (s *site) apiRoutes() []pages.Route {
	var list []pages.Route
	for _, e := range api.Endpoints(s.parts()) {
		list = append(list, pages.Route{Method: e.Method, Path: e.Path, Answer: func(w http.ResponseWriter, r *http.Request) error {
			status, answer, err := e.Answer(w, r, api.Requester(r))
			if err != nil {
				return err
			}
			s.reply(w, r, status, answer)
			return nil
		}})
	}
	return list
}

// parts is what the API works on.
func (s *site) parts() api.Parts {
	parts := api.Parts{History: s.server.History, Drift: s.server.Drift, Arrive: s.server.Arrive, Now: s.now}
	for _, b := range s.server.Benches {
		parts.Benches = append(parts.Benches, b)
	}
	return parts
}

// handler answers every request.
func (s *site) handler() http.Handler {
	mux := http.NewServeMux()
	for _, r := range s.routes() {
		mux.Handle(r.Method+" "+r.Path, s.answer(r.Answer))
	}
	nowhere := s.nothingHere(mux)
	lost, misled := s.answer(nowhere), s.answer(s.pages.ForPeople(nowhere))
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		if strings.Contains(r.Header.Get("Accept"), "text/html") { // a browser: a person mistyped the address
			misled.ServeHTTP(w, r)
			return
		}
		lost.ServeHTTP(w, r)
	})
	return s.guard(mux)
}

// answer makes an HTTP handler of an pages.Endpoint. A bug that panics becomes a
// problem for the client and a stack for the log; the daemon goes on.
func (s *site) answer(e pages.Endpoint) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			switch bug := recover(); bug {
			case nil:
			case http.ErrAbortHandler: // the answer was begun and cannot be ended
				panic(bug)
			default:
				s.log.Error("bug in a request handler", "err", bug, "stack", string(debug.Stack()))
				s.fail(w, r, fmt.Errorf("panic: %v", bug))
			}
		}()
		if err := e(w, r); err != nil {
			s.fail(w, r, err)
		}
	})
}

// nothingHere answers what no route matches: with the methods that would work,
// if any would.
func (s *site) nothingHere(mux *http.ServeMux) pages.Endpoint {
	return func(w http.ResponseWriter, r *http.Request) error {
		var allowed []string
		for _, method := range []string{http.MethodGet, http.MethodPost, http.MethodDelete} {
			other := r.Clone(r.Context())
			other.Method = method
			if _, pattern := mux.Handler(other); pattern != "/" {
				allowed = append(allowed, method)
			}
		}
		if len(allowed) == 0 {
			if !strings.HasPrefix(r.URL.Path, "/api/") {
				return problem.NotFound.Because("there is no page at %s", r.URL.Path)
			}
			return problem.NotFound.Because("there is nothing at %s; /api/v1/openapi.json lists what there is", r.URL.Path)
		}
		w.Header().Set("Allow", strings.Join(allowed, ", "))
		return problem.WrongMethod.Because("%s is not possible at %s; try %s", r.Method, r.URL.Path, strings.Join(allowed, " or "))
	}
}

// openapi serves the description of the API.
func (s *site) openapi(w http.ResponseWriter, _ *http.Request) error {
	pages.Send(w, s.log, http.StatusOK, "application/json", api.Description)
	return nil
}

func (s *site) metrics(w http.ResponseWriter, r *http.Request) error {
	s.server.Metrics.ServeHTTP(w, r)
	return nil
}
