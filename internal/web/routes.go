package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"fmt"
	"net/http"
	"path"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
)

//go:embed assets templates
var files embed.FS

// endpoint answers a request or returns the error that became of it.
type endpoint func(w http.ResponseWriter, r *http.Request) error

// route is one thing that can be asked of the daemon.
type route struct {
	method, path string
	answer       endpoint
}

// routes lists everything that can be asked. The API's description lists what
// programs may ask of it; a test compares the two.
func (s *site) routes() []route {
	return slices.Concat(s.apiRoutes(), s.recordRoutes(), s.answerRoutes(), s.driftRoutes(), []route{
		{"GET", "/{$}", s.forPeople(s.home)},
		{"GET", "/benches/{bench}", s.forPeople(s.benchPage)},
		{"GET", "/benches/{bench}/panel", s.panel},
		{"GET", "/benches/{bench}/run", s.run},
		{"GET", "/benches/{bench}/rack", s.forPeople(s.rackPage)},
		{"POST", "/benches/{bench}/rack", s.forPeople(s.rackForm)},
		{"GET", "/reevaluate", s.forPeople(s.reevaluatePage)},
		{"POST", "/reevaluate", s.forPeople(s.reevaluateForm)},
		{"GET", "/assets/chart.css", s.chartStyle},
		{"GET", "/assets/{file}", s.asset},

		{"GET", "/healthz", s.healthz},
		{"GET", "/readyz", s.readyz},
		{"GET", "/metrics", s.metrics},
		{"GET", "/api/v1/openapi.json", s.openapi},
		{"GET", "/api/v1/events", s.events},
	})
}

// apiRoutes lists what programs ask and are answered in JSON.
func (s *site) apiRoutes() []route {
	var list []route
	for _, e := range api.Endpoints(s.parts()) {
		list = append(list, route{e.Method, e.Path, func(w http.ResponseWriter, r *http.Request) error {
			status, answer, err := e.Answer(w, r, requester(r))
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
		mux.Handle(r.method+" "+r.path, s.answer(r.answer))
	}
	nowhere := s.nothingHere(mux)
	lost, misled := s.answer(nowhere), s.answer(s.forPeople(nowhere))
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		if strings.Contains(r.Header.Get("Accept"), "text/html") { // a browser: a person mistyped the address
			misled.ServeHTTP(w, r)
			return
		}
		lost.ServeHTTP(w, r)
	})
	return s.guard(mux)
}

// answer makes an HTTP handler of an endpoint. A bug that panics becomes a
// problem for the client and a stack for the log; the daemon goes on.
func (s *site) answer(e endpoint) http.Handler {
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
func (s *site) nothingHere(mux *http.ServeMux) endpoint {
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

// asset serves an embedded file.
func (s *site) asset(w http.ResponseWriter, r *http.Request) error {
	name := r.PathValue("file")
	contentType := assetTypes[path.Ext(name)]
	content, err := files.ReadFile("assets/" + name)
	if err != nil || contentType == "" {
		return problem.NotFound.Because("there is no file %q here", name)
	}
	sendAsset(w, r, contentType, content)
	return nil
}

// sendAsset answers with a file that only another release changes. Browsers keep
// it and ask whether it is still the same.
func sendAsset(w http.ResponseWriter, r *http.Request, contentType string, content []byte) {
	h := w.Header()
	h.Set("Content-Type", contentType)
	h.Set("Cache-Control", "no-cache")
	h.Set("ETag", fmt.Sprintf(`"%x"`, sha256.Sum256(content)))
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(content))
}

// assetTypes gives the content type of assets by the ending of their name.
var assetTypes = map[string]string{
	".css": "text/css; charset=utf-8",
	".js":  "text/javascript; charset=utf-8",
	".svg": "image/svg+xml",
}

// openapi serves the description of the API.
func (s *site) openapi(w http.ResponseWriter, _ *http.Request) error {
	s.send(w, http.StatusOK, "application/json", api.Description)
	return nil
}

func (s *site) metrics(w http.ResponseWriter, r *http.Request) error {
	s.server.Metrics.ServeHTTP(w, r)
	return nil
}
