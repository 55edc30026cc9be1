package main

import (
	"bytes"
	"fmt"
	"maps"
	"net/http"
	"os"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"coilkeep/internal/web/api"
)

// TestDescriptionIsCurrent generates the description again: it must be the one
// that is kept and served.
func TestDescriptionIsCurrent(t *testing.T) {
	t.Parallel()
	want, err := generate("../../../..")
	if err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile("../openapi.json")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("openapi.json is not what the types say; run: go generate ./internal/web/api")
	}
}

// TestDescriptionIsClean holds the description to the OpenAPI Specification 3.1,
// its schemas to JSON Schema 2020-12, and both to what a reader needs.
func TestDescriptionIsClean(t *testing.T) {
	t.Parallel()
	loader := openapi3.NewLoader()
	doc, err := loader.LoadFromData(api.Description)
	if err == nil {
		err = doc.Validate(loader.Context)
	}
	if err != nil {
		t.Fatalf("not valid OpenAPI: %v", err)
	}
	for _, trouble := range lint(doc) {
		t.Error(trouble)
	}
	for _, word := range []string{`"nullable"`, `"$ref": "#/components/schemas/"`} {
		if bytes.Contains(api.Description, []byte(word)) {
			t.Errorf("the description has %s", word)
		}
	}
	compiler := jsonschema.NewCompiler()
	compiler.DefaultDraft(jsonschema.Draft2020)
	content, err := jsonschema.UnmarshalJSON(bytes.NewReader(api.Description))
	if err == nil {
		err = compiler.AddResource("file:///openapi.json", content)
	}
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range slices.Sorted(maps.Keys(doc.Components.Schemas)) {
		if _, err := compiler.Compile("file:///openapi.json#/components/schemas/" + name); err != nil {
			t.Errorf("schema %s: %v", name, err)
		}
		if !bytes.Contains(api.Description, []byte(`"#/components/schemas/`+name+`"`)) && !toldInEvents(name) {
			t.Errorf("schema %s is used nowhere", name)
		}
	}
}

// toldInEvents is true for a schema of what events carry, which is named in words.
func toldInEvents(name string) bool {
	events := api.Served()[slices.IndexFunc(api.Served(), func(e api.Endpoint) bool { return e.ID == "events" })]
	return slices.ContainsFunc(events.Also, func(t reflect.Type) bool { return cmpName(t) == name }) && strings.Contains(events.Says, name)
}

func cmpName(t reflect.Type) string {
	if name := names[t]; name != "" {
		return name
	}
	return t.Name()
}

var inPath = regexp.MustCompile(`\{(\w+)\}`)

// lint lists what a reader of the description would miss.
func lint(doc *openapi3.T) (troubles []string) {
	miss := func(format string, args ...any) { troubles = append(troubles, fmt.Sprintf(format, args...)) }
	ids := map[string]string{}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			where := method + " " + path
			if other := ids[op.OperationID]; op.OperationID == "" || other != "" {
				miss("%s: its id %q is that of %s", where, op.OperationID, other)
			}
			ids[op.OperationID] = where
			for what, text := range map[string]string{"summary": op.Summary, "description": op.Description} {
				if text == "" {
					miss("%s has no %s", where, what)
				}
			}
			for _, tag := range op.Tags {
				if doc.Tags.Get(tag) == nil {
					miss("%s: tag %q is not described", where, tag)
				}
			}
			if len(op.Tags) != 1 {
				miss("%s has %d tags, want 1", where, len(op.Tags))
			}
			var declared []string
			for _, p := range op.Parameters {
				if p.Value.Description == "" || p.Value.Schema == nil {
					miss("%s: parameter %s is not described", where, p.Value.Name)
				}
				if p.Value.In == "path" {
					declared = append(declared, p.Value.Name)
				}
			}
			var want []string
			for _, found := range inPath.FindAllStringSubmatch(path, -1) {
				want = append(want, found[1])
			}
			if !slices.Equal(declared, want) {
				miss("%s declares %q of its path", where, declared)
			}
			if (op.RequestBody != nil) != (method == http.MethodPost) {
				miss("%s: a body is sent with POST and nothing else", where)
			}
			if op.RequestBody != nil {
				lintSchema(op.RequestBody.Value.Content["application/json"].Schema, where+" body", miss)
			}
			if fault := op.Responses.Default(); fault == nil || fault.Ref != "#/components/responses/Problem" {
				miss("%s does not say how it is refused", where)
			}
			good := 0
			for status, response := range op.Responses.Map() {
				if response.Value.Description == nil || *response.Value.Description == "" {
					miss("%s: status %s is not described", where, status)
				}
				if strings.HasPrefix(status, "2") {
					good++
				}
				for _, media := range response.Value.Content {
					lintSchema(media.Schema, where+" "+status, miss)
				}
			}
			if good == 0 {
				miss("%s has no good answer", where)
			}
		}
	}
	for name, schema := range doc.Components.Schemas {
		lintSchema(schema, name, miss)
		if schema.Value.Description == "" {
			miss("schema %s has no description", name)
		}
	}
	return troubles
}

// lintSchema looks for fields without a description, at any depth that is not a
// component of its own.
func lintSchema(s *openapi3.SchemaRef, where string, miss func(format string, args ...any)) {
	if s == nil || s.Ref != "" {
		return
	}
	for name, field := range s.Value.Properties {
		if field.Value.Description == "" {
			miss("%s: %s is not described", where, name)
		}
		lintSchema(field, where+"."+name, miss)
	}
	for _, name := range s.Value.Required {
		if len(s.Value.Properties) > 0 && s.Value.Properties[name] == nil {
			miss("%s requires %s, which it does not have", where, name)
		}
	}
	lintSchema(s.Value.Items, where+"[]", miss)
	for _, either := range s.Value.AnyOf {
		lintSchema(either, where, miss)
	}
}
