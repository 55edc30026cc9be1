package web

import (
	"bytes"
	"encoding/json"
	"mime"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"coilkeep/internal/capture"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
)

// description loads the API's description once, and checks it against the
// OpenAPI Specification 3.1.
var description = sync.OnceValues(func() (*openapi3.T, error) {
	loader := openapi3.NewLoader()
	doc, err := loader.LoadFromData(api.Description)
	if err != nil {
		return nil, err
	}
	return doc, doc.Validate(loader.Context)
})

func describe(t *testing.T) *openapi3.T {
	t.Helper()
	doc, err := description()
	if err != nil {
		t.Fatalf("the API's description is not valid OpenAPI: %v", err)
	}
	return doc
}

// described validates answers by the schemas of the description, which are JSON
// Schema 2020-12. A schema is compiled once.
var described = sync.OnceValue(func() *describedAnswers {
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	c.AssertFormat()
	return &describedAnswers{compiler: c, compiled: map[string]*jsonschema.Schema{}}
})

type describedAnswers struct {
	mu       sync.Mutex
	compiler *jsonschema.Compiler
	compiled map[string]*jsonschema.Schema
}

// validate holds value to the schema at a place in the description.
func (d *describedAnswers) validate(value any, place ...string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	const document = "file:///openapi.json"
	if len(d.compiled) == 0 {
		content, err := jsonschema.UnmarshalJSON(bytes.NewReader(api.Description))
		if err == nil {
			err = d.compiler.AddResource(document, content)
		}
		if err != nil {
			return err
		}
	}
	pointer := "#"
	for _, part := range place {
		pointer += "/" + url.PathEscape(strings.NewReplacer("~", "~0", "/", "~1").Replace(part))
	}
	schema := d.compiled[pointer]
	if schema == nil {
		var err error
		if schema, err = d.compiler.Compile(document + pointer); err != nil {
			return err
		}
		d.compiled[pointer] = schema
	}
	return schema.Validate(value)
}

// operation finds what the description says of a request: its path, and nil when
// it says nothing.
func operation(doc *openapi3.T, r *http.Request) (path string, _ *openapi3.Operation) {
	mux := http.NewServeMux()
	found := map[string]*openapi3.Operation{}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			mux.Handle(method+" "+path, http.NotFoundHandler())
			found[method+" "+path] = op
		}
	}
	_, pattern := mux.Handler(r)
	_, path, _ = strings.Cut(pattern, " ")
	return path, found[pattern]
}

// checkDescribed fails the test when an answer is not what the description
// promises: its status, its content type, and its body.
func checkDescribed(t *testing.T, r *http.Request, answer reply) {
	t.Helper()
	if answer.status == http.StatusNotModified { // nothing to describe
		return
	}
	doc := describe(t)
	media, _, err := mime.ParseMediaType(answer.header.Get("Content-Type"))
	if err != nil {
		t.Fatalf("%s %s: content type: %v", r.Method, r.URL.Path, err)
	}
	promised, place := doc.Components.Responses["Problem"].Value, []string{"components", "responses", "Problem"}
	path, op := operation(doc, r)
	forPeople := answer.status < http.StatusBadRequest || media == "text/html"
	if op == nil && forPeople && !forPrograms(r.URL.Path) {
		return
	}
	if op != nil {
		if response := op.Responses.Status(answer.status); response != nil {
			method := strings.ToLower(r.Method)
			if r.Method == http.MethodHead {
				method = "get"
			}
			promised, place = response.Value, []string{"paths", path, method, "responses", strconv.Itoa(answer.status)}
		}
	}
	if promised.Content[media] == nil {
		t.Fatalf("%s %s: status %d with content type %q is not described", r.Method, r.URL.Path, answer.status, media)
	}
	if !strings.HasSuffix(media, "json") {
		return
	}
	value, err := jsonschema.UnmarshalJSON(bytes.NewReader(answer.body))
	if err != nil {
		t.Fatalf("%s %s: %v", r.Method, r.URL.Path, err)
	}
	if err := described().validate(value, append(place, "content", media, "schema")...); err != nil {
		t.Errorf("%s %s: the answer is not as described: %v", r.Method, r.URL.Path, err)
	}
}

// forPrograms is true for what programs ask of the daemon, which is described;
// pages and their parts are for people.
func forPrograms(path string) bool {
	return strings.HasPrefix(path, "/api/") || slices.Contains([]string{"/healthz", "/readyz", "/metrics"}, path)
}

// TestDescriptionListsEveryRoute compares the description with what is really
// served to programs, both ways.
func TestDescriptionListsEveryRoute(t *testing.T) {
	t.Parallel()
	doc := describe(t)
	w := newWorkshop(t)
	var got, want []string
	for _, r := range w.site(&net.TCPAddr{IP: net.IPv4(127, 0, 0, 1)}).routes() {
		if forPrograms(r.Path) {
			want = append(want, r.Method+" "+r.Path)
		}
	}
	for path, item := range doc.Paths.Map() {
		for method := range item.Operations() {
			got = append(got, method+" "+path)
		}
	}
	slices.Sort(got)
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("the description lists\n%s\nbut served is\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// TestDescriptionListsEveryProblem compares the kinds of problems with those
// the description explains.
func TestDescriptionListsEveryProblem(t *testing.T) {
	t.Parallel()
	encoded, err := json.Marshal(describe(t).Extensions["x-problems"])
	if err != nil {
		t.Fatal(err)
	}
	var explained map[string]struct {
		Status int    `json:"status"`
		Remedy string `json:"remedy"`
	}
	if err := json.Unmarshal(encoded, &explained); err != nil {
		t.Fatal(err)
	}
	kinds := problem.Kinds()
	source, err := os.ReadFile(filepath.Join("problem", "problem.go"))
	if err != nil {
		t.Fatal(err)
	}
	if made := strings.Count(string(source), "= Kind{\""); made != len(kinds) {
		t.Errorf("problem.go makes %d kinds, and %d are listed", made, len(kinds))
	}
	for _, k := range kinds {
		e, ok := explained[k.Name]
		if !ok || e.Status != k.Status || e.Remedy != k.Remedy {
			t.Errorf("kind %q with status %d is explained as %+v", k.Name, k.Status, e)
		}
		delete(explained, k.Name)
	}
	for name := range explained {
		t.Errorf("problem %q is explained, but there is no such kind", name)
	}
}

// TestDescriptionListsEveryState compares the states of a capture.
func TestDescriptionListsEveryState(t *testing.T) {
	t.Parallel()
	var got []string
	for _, state := range describe(t).Components.Schemas["Bench"].Value.Properties["state"].Value.Enum {
		got = append(got, state.(string))
	}
	var want []string
	for _, state := range capture.States() {
		want = append(want, string(state))
	}
	if !slices.Equal(got, want) {
		t.Errorf("got states %q, want %q", got, want)
	}
}

func TestDescriptionIsServed(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	answer := w.ask(t, "GET", "/api/v1/openapi.json", nil)
	if answer.status != http.StatusOK || !bytes.Equal(answer.body, api.Description) {
		t.Errorf("got status %d and %d bytes, want 200 and %d bytes", answer.status, len(answer.body), len(api.Description))
	}
}

// TestNeededFieldsAreNeeded sends each request without the fields that the
// description calls required: it must be refused, and not for another reason.
func TestNeededFieldsAreNeeded(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	m := w.measure(t, "HN-0001", 6721.4, noon)
	w.start(t)
	names := strings.NewReplacer("{bench}", "north", "{batch}", "LM-1", "{design}", "Long%20Meadow", "{id}", m.ID, "{serial}", "HN-0001")
	sent := 0
	for path, item := range describe(t).Paths.Map() {
		op := item.Operations()[http.MethodPost]
		if op == nil {
			continue
		}
		body := op.RequestBody.Value.Content["application/json"].Schema
		needed := body.Value.Required
		if len(needed) == 0 {
			continue
		}
		sent++
		got := want[problem.Details](t, w.ask(t, "POST", names.Replace(path), `{}`), http.StatusUnprocessableEntity)
		// Of a comparison the coil is asked for first, which may be told in two ways.
		if !slices.Contains(needed, got.Field) && got.Field != "serial" {
			t.Errorf("POST %s without %v: refused for %q: %s", path, needed, got.Field, got.Detail)
		}
	}
	if sent < 8 {
		t.Errorf("%d requests need something, want more", sent)
	}
}
