package api

import (
	"context"
	"net/http"
	"net/http/httptest"
	"reflect"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/web/problem"
)

// everything is a request that says something in every place there is.
type everything struct {
	ofBench
	login
	Text  string    `query:"text"`
	From  time.Time `query:"from"`
	Keep  bool      `query:"keep" openapi:"default=true"`
	Share float64   `query:"share" openapi:"above=0,maximum=50,default=1,of=percent"`
	page
	Spool string `json:"spool,omitempty"`
	Inner struct {
		Depth int `json:"depth"`
	} `json:"inner,omitzero"`
}

// ask sends a request to an endpoint that answers with what it was asked.
func ask(t *testing.T, method, target, body string) (everything, error) {
	t.Helper()
	mux := http.NewServeMux()
	var got everything
	var fault error
	e := endpoint(method, "/benches/{bench}", http.StatusOK,
		func(_ context.Context, request everything) (everything, error) { return request, nil }, About{})
	mux.HandleFunc(method+" "+e.Path, func(w http.ResponseWriter, r *http.Request) {
		var status int
		var answer any
		if status, answer, fault = e.Answer(w, r, "Ada"); fault == nil {
			got = answer.(everything)
		}
		if status != http.StatusOK {
			t.Errorf("got status %d, want 200", status)
		}
	})
	r := httptest.NewRequestWithContext(t.Context(), method, target, strings.NewReader(body))
	r.Header.Set("Content-Type", "application/json")
	mux.ServeHTTP(httptest.NewRecorder(), r)
	return got, fault
}

func TestReadsEveryPlace(t *testing.T) {
	t.Parallel()
	got, err := ask(t, "POST", "/benches/north?text=a+b&from=2026-03-14T12:00:00Z&keep=false&share=0.5&after=x&limit=7",
		`{"spool":"S-7","inner":{"depth":3}}`)
	want := everything{ofBench: ofBench{"north"}, login: login{"Ada"}, Text: "a b", From: time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC),
		Share: 0.5, page: page{"x", 7}, Spool: "S-7"}
	want.Inner.Depth = 3
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, %v, want %+v", got, err, want)
	}
	got, err = ask(t, "GET", "/benches/north", "")
	if want := (everything{ofBench: ofBench{"north"}, login: login{"Ada"}, Keep: true, Share: 1, page: page{Limit: 100}}); err != nil ||
		!reflect.DeepEqual(got, want) {
		t.Errorf("of nothing told: got %+v, %v, want the defaults %+v", got, err, want)
	}
}

func TestRefusesWhatCannotBeRead(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		method, query, body, field, says string
		kind                             problem.Kind
	}{
		"unknown parameter": {"GET", "?txt=a", "", "txt", "known ones are text, from, keep, share, after and limit", problem.Invalid},
		"limit too large":   {"GET", "?limit=1001", "", "limit", "a whole number from 1 to 1000", problem.Invalid},
		"limit empty":       {"GET", "?limit=", "", "limit", "a whole number from 1 to 1000", problem.Invalid},
		"no time":           {"GET", "?from=March", "", "from", "not a time like", problem.Invalid},
		"no boolean":        {"GET", "?keep=maybe", "", "keep", "neither true nor false", problem.Invalid},
		"at the bound":      {"GET", "?share=0", "", "share", "a number of percent above 0, up to 50", problem.Invalid},
		"no number":         {"GET", "?share=NaN", "", "share", "a number of percent above 0, up to 50", problem.Invalid},
		"unknown field":     {"POST", "", `{"spol":"S-7"}`, "spol", "known fields are spool, inner", problem.Invalid},
		"field of the path": {"POST", "", `{"bench":"south"}`, "bench", "there is no field", problem.Invalid},
		"who logged in":     {"POST", "", `{"Login":"Ben"}`, "Login", "there is no field", problem.Invalid},
		"wrong kind":        {"POST", "", `{"spool":7}`, "spool", "must be a text", problem.Invalid},
		"wrong kind inside": {"POST", "", `{"inner":{"depth":"x"}}`, "inner.depth", "must be a whole number", problem.Invalid},
		"unknown inside":    {"POST", "", `{"inner":{"deep":1}}`, "inner.deep", "there is no field", problem.Invalid},
		"no object":         {"POST", "", `[]`, "", "must be a JSON object", problem.Malformed},
		"no body":           {"POST", "", "", "", "must be a JSON object", problem.Malformed},
	} {
		_, err := ask(t, c.method, "/benches/north"+c.query, c.body)
		if err == nil {
			t.Errorf("%s: accepted", name)
			continue
		}
		got := problem.Classify(err)
		if got.Kind != c.kind || got.Field != c.field || !strings.Contains(got.Detail, c.says) {
			t.Errorf("%s: got %s in %q: %s; want %s in %q saying %q", name, got.Kind.Name, got.Field, got.Detail, c.kind.Name, c.field, c.says)
		}
	}
}
