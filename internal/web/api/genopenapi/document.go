package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
)

// document is the description, OpenAPI 3.1. Maps are written in the order of
// their keys, so that the same API always gives the same text.
type document struct {
	OpenAPI    string                           `json:"openapi"`
	Info       info                             `json:"info"`
	Servers    []map[string]string              `json:"servers"`
	Security   []map[string][]string            `json:"security"`
	Tags       []tag                            `json:"tags"`
	Paths      map[string]map[string]*operation `json:"paths"`
	Components components                       `json:"components"`
	Problems   map[string]remedy                `json:"x-problems"`
}

type info struct {
	Title       string `json:"title"`
	Version     string `json:"version"`
	Description string `json:"description"`
}

type tag struct {
	Name        string `json:"name"`
	Description string `json:"description"`
}

type components struct {
	Schemas         map[string]*schema           `json:"schemas"`
	Responses       map[string]response          `json:"responses"`
	SecuritySchemes map[string]map[string]string `json:"securitySchemes"`
}

type operation struct {
	OperationID string              `json:"operationId"`
	Tags        []string            `json:"tags"`
	Summary     string              `json:"summary"`
	Description string              `json:"description,omitempty"`
	Parameters  []parameter         `json:"parameters,omitempty"`
	RequestBody *requestBody        `json:"requestBody,omitempty"`
	Responses   map[string]response `json:"responses"`
}

type parameter struct {
	Name        string  `json:"name"`
	In          string  `json:"in"`
	Required    bool    `json:"required,omitempty"`
	Description string  `json:"description"`
	Schema      *schema `json:"schema"`
}

type requestBody struct {
	Required bool             `json:"required"`
	Content  map[string]media `json:"content"`
}

type response struct {
	Ref         string           `json:"$ref,omitempty"`
	Description string           `json:"description,omitempty"`
	Content     map[string]media `json:"content,omitempty"`
}

type media struct {
	Schema  *schema         `json:"schema"`
	Example json.RawMessage `json:"example,omitempty"`
}

// remedy explains a kind of problem.
type remedy struct {
	Status int    `json:"status"`
	Remedy string `json:"remedy"`
}

// generate makes the description; root is the folder of the module.
func generate(root string) ([]byte, error) {
	g := generator{
		schemas: schemas{
			comments:   &comments{root: root, packages: map[string]*sourcePackage{}},
			components: map[string]*schema{}, made: map[string]reflect.Type{},
		},
		examples: filepath.Join(root, "internal", "web", "api", "examples"),
	}
	doc, err := g.document()
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	encoder := json.NewEncoder(&b)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", " ")
	err = encoder.Encode(doc)
	return b.Bytes(), err
}

type generator struct {
	schemas
	// examples is the folder of answers that are shown, by the ids of operations.
	examples string
}

func (g *generator) document() (*document, error) {
	doc := &document{
		OpenAPI: "3.1.0",
		Info: info{Title: "coilkeep", Version: "1", Description: "What the benches measure and have measured. Numbers are plain SI: ohms, " +
			"degrees Celsius, seconds; times are RFC 3339 in UTC. Bodies are JSON objects; fields that are not known are refused, and so are " +
			"parameters."},
		Servers:  []map[string]string{{"url": "/"}},
		Security: []map[string][]string{{}, {"password": {}}},
		Paths:    map[string]map[string]*operation{},
		Problems: map[string]remedy{},
	}
	for _, t := range api.Tags() {
		doc.Tags = append(doc.Tags, tag{t.Name, t.Description})
	}
	for _, e := range append(api.Served(), api.Endpoints(api.Parts{})...) {
		op, err := g.operation(e)
		if err != nil {
			return nil, fmt.Errorf("%s %s: %w", e.Method, e.Path, err)
		}
		if doc.Paths[e.Path] == nil {
			doc.Paths[e.Path] = map[string]*operation{}
		}
		doc.Paths[e.Path][strings.ToLower(e.Method)] = op
	}
	trouble, err := g.of(reflect.TypeFor[problem.Details]())
	if err != nil {
		return nil, err
	}
	doc.Components = components{
		Schemas: g.components,
		Responses: map[string]response{"Problem": {Description: "Why it was not done.",
			Content: map[string]media{"application/problem+json": {Schema: trouble}}}},
		SecuritySchemes: map[string]map[string]string{"password": {"type": "http", "scheme": "basic",
			"description": "Needed when the daemon has a password."}},
	}
	for _, k := range problem.Kinds() {
		doc.Problems[k.Name] = remedy{k.Status, k.Remedy}
	}
	return doc, nil
}

// operation describes an endpoint.
func (g *generator) operation(e api.Endpoint) (*operation, error) {
	op := &operation{OperationID: e.ID, Tags: []string{e.Tag.Name}, Summary: e.Summary, Description: e.Description}
	if e.Request != nil {
		if err := g.request(op, e); err != nil {
			return nil, err
		}
	}
	for _, t := range e.Also {
		if _, err := g.of(t); err != nil {
			return nil, err
		}
	}
	answer := media{Schema: &schema{Type: "string"}}
	if e.Media == "application/json" {
		answer.Schema.Type = "object"
	}
	if e.Answered != nil {
		var err error
		if answer.Schema, err = g.of(e.Answered); err != nil {
			return nil, err
		}
	}
	var err error
	if answer.Example, err = os.ReadFile(filepath.Join(g.examples, e.ID+".json")); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	op.Responses = map[string]response{
		strconv.Itoa(e.Status): {Description: e.Says, Content: map[string]media{mediaOf(e): answer}},
		"default":              {Ref: "#/components/responses/Problem"},
	}
	if e.Otherwise != nil {
		either := &schema{}
		for _, t := range e.Otherwise.Answered {
			made, err := g.of(t)
			if err != nil {
				return nil, err
			}
			either.AnyOf = append(either.AnyOf, made)
		}
		op.Responses[strconv.Itoa(e.Otherwise.Status)] = response{Description: e.Otherwise.Says,
			Content: map[string]media{mediaOf(e): {Schema: either}}}
	}
	return op, nil
}

// mediaOf is the content type of an answer.
func mediaOf(e api.Endpoint) string {
	if e.Media == "" {
		return "application/json"
	}
	return e.Media
}

// request describes where a request says what: its parameters and its body.
func (g *generator) request(op *operation, e api.Endpoint) error {
	for _, f := range reflect.VisibleFields(e.Request) {
		for _, place := range []string{"path", "query", "header"} {
			name := f.Tag.Get(place)
			if name == "" {
				continue
			}
			made, err := g.field(e.Request, f, true)
			if err != nil {
				return err
			}
			p := parameter{Name: name, In: place, Required: place == "path" || slices.Contains(e.Needs, name), Description: made.Description,
				Schema: made}
			made.Description = ""
			op.Parameters = append(op.Parameters, p)
		}
	}
	if e.Method != http.MethodPost {
		return nil
	}
	body, err := g.body(e)
	if err != nil {
		return err
	}
	op.RequestBody = &requestBody{Required: true, Content: map[string]media{"application/json": {Schema: body}}}
	return nil
}

// body describes what is in the body of a request. A request that others share,
// a form or the flags of a command, is embedded, and a component.
func (g *generator) body(e api.Endpoint) (*schema, error) {
	for i := range e.Request.NumField() {
		f := e.Request.Field(i)
		if !f.Anonymous || !f.IsExported() {
			continue
		}
		made, err := g.of(f.Type)
		if err == nil {
			made.Required = e.Needs
		}
		return made, err
	}
	made, err := g.object(e.Request, e.Needs)
	if err == nil && len(made.Properties) == 0 {
		made.Description = "Nothing needs to be said."
	}
	return made, err
}
