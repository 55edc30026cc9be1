package main

import (
	"encoding/json"
	"fmt"
	"go/token"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/compare"
	"coilkeep/internal/cooling"
	"coilkeep/internal/drift"
	"coilkeep/internal/record"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

// schema is a schema of OpenAPI 3.1, which is one of JSON Schema 2020-12.
type schema struct {
	Ref         string `json:"$ref,omitempty"`
	Type        any    `json:"type,omitempty"`
	Description string `json:"description,omitempty"`
	Format      string `json:"format,omitempty"`
	Enum        []any  `json:"enum,omitempty"`

	Minimum          json.Number `json:"minimum,omitempty"`
	ExclusiveMinimum json.Number `json:"exclusiveMinimum,omitempty"`
	Maximum          json.Number `json:"maximum,omitempty"`
	Default          any         `json:"default,omitempty"`

	Items                *schema    `json:"items,omitempty"`
	Properties           properties `json:"properties,omitempty"`
	Required             []string   `json:"required,omitempty"`
	AdditionalProperties any        `json:"additionalProperties,omitempty"`
	AnyOf                []*schema  `json:"anyOf,omitempty"`
}

// properties are the fields of an object, in order.
type properties []property

type property struct {
	name   string
	schema *schema
}

func (p properties) MarshalJSON() ([]byte, error) {
	var b strings.Builder
	b.WriteByte('{')
	for i, one := range p {
		value, err := json.Marshal(one.schema)
		if err != nil {
			return nil, err
		}
		if i > 0 {
			b.WriteByte(',')
		}
		fmt.Fprintf(&b, "%q:%s", one.name, value)
	}
	b.WriteByte('}')
	return []byte(b.String()), nil
}

// names are the schemas that are not called what their types are.
var names = map[reflect.Type]string{
	reflect.TypeFor[bench.Snapshot]():           "Bench",
	reflect.TypeFor[bench.ReadingData]():        "LiveReading",
	reflect.TypeFor[bench.InstrumentData]():     "InstrumentEvent",
	reflect.TypeFor[bench.UnrecordedData]():     "UnrecordedEvent",
	reflect.TypeFor[cooling.Proposal]():         "CoolingProposal",
	reflect.TypeFor[workshop.DesignAnswer]():    "DesignWithRevisions",
	reflect.TypeFor[workshop.DesignRequest]():   "DesignBody",
	reflect.TypeFor[workshop.AssemblyRequest](): "AssemblyBody",
	reflect.TypeFor[problem.Details]():          "Problem",
	reflect.TypeFor[workshop.Drift]():           "Drift",
	reflect.TypeFor[workshop.StudyAnswer]():     "Study",
	reflect.TypeFor[record.Study]():             "StudyEntry",
	reflect.TypeFor[drift.Trend]():              "DriftTrend",
	reflect.TypeFor[drift.Baseline]():           "DriftBaseline",
	reflect.TypeFor[drift.Component]():          "DriftComponent",
	reflect.TypeFor[drift.Temperature]():        "TemperatureDependence",
	reflect.TypeFor[drift.Index]():              "CapabilityIndex",

	reflect.TypeFor[record.ComparisonAnswer]():    "Comparison",
	reflect.TypeFor[workshop.ComparisonRequest](): "ComparisonBody",
	reflect.TypeFor[workshop.OutsideReading]():    "FurtherReading",
	reflect.TypeFor[compare.Input]():              "ComparisonInput",
	reflect.TypeFor[compare.Record]():             "ComparisonRecord",
	reflect.TypeFor[compare.Reading]():            "OutsideReading",
	reflect.TypeFor[compare.Result]():             "ComparisonResult",
	reflect.TypeFor[compare.Setting]():            "OutsideSetting",
	reflect.TypeFor[compare.TableRow]():           "ExpectedAt",
}

// schemas makes schemas of Go types. Exported structs become components.
type schemas struct {
	comments   *comments
	components map[string]*schema
	// made says which type a component is of: two must not share a name.
	made map[string]reflect.Type
}

// of makes the schema of values of a type.
func (s *schemas) of(t reflect.Type) (*schema, error) {
	switch t {
	case reflect.TypeFor[time.Time]():
		return &schema{Type: "string", Format: "date-time"}, nil
	case reflect.TypeFor[json.RawMessage]():
		return &schema{}, nil
	case reflect.TypeFor[workshop.Text](): // as it is written, whatever it is
		return &schema{Type: []string{"string", "number", "boolean"}}, nil
	}
	switch t.Kind() {
	case reflect.Bool:
		return &schema{Type: "boolean"}, nil
	case reflect.Int, reflect.Int64:
		return &schema{Type: "integer"}, nil
	case reflect.Uint64:
		return &schema{Type: "integer", Minimum: "0"}, nil
	case reflect.Float64:
		return &schema{Type: "number"}, nil
	case reflect.String:
		words, err := s.comments.wordsOf(t)
		made := &schema{Type: "string"}
		for _, word := range words {
			made.Enum = append(made.Enum, word)
		}
		return made, err
	case reflect.Slice:
		items, err := s.of(t.Elem())
		return &schema{Type: "array", Items: items}, err
	case reflect.Map:
		values, err := s.of(t.Elem())
		return &schema{Type: "object", AdditionalProperties: values}, err
	case reflect.Pointer:
		made, err := s.of(t.Elem())
		if err != nil {
			return nil, err
		}
		return orNull(made), nil
	case reflect.Struct:
		return s.structOf(t)
	}
	return nil, fmt.Errorf("no schema for type %s", t)
}

// orNull allows null as well.
func orNull(of *schema) *schema {
	if kind, ok := of.Type.(string); ok && of.Enum == nil {
		of.Type = []string{kind, "null"}
		return of
	}
	return &schema{AnyOf: []*schema{of, {Type: "null"}}}
}

// structOf makes the schema of an object, or refers to its component.
func (s *schemas) structOf(t reflect.Type) (*schema, error) {
	name := names[t]
	if name == "" && token.IsExported(t.Name()) {
		name = t.Name()
	}
	if name == "" {
		return s.object(t, nil)
	}
	ref := &schema{Ref: "#/components/schemas/" + name}
	if other := s.made[name]; other != nil {
		if other != t {
			return nil, fmt.Errorf("%s and %s would both be called %s", other, t, name)
		}
		return ref, nil
	}
	s.made[name] = t
	made, err := s.object(t, nil)
	s.components[name] = made
	return ref, err
}

// object describes the JSON of a struct. Fields that may be left out are not
// required, except those that are needed here.
func (s *schemas) object(t reflect.Type, needed []string) (*schema, error) {
	about, err := s.comments.of(t)
	if err != nil {
		return nil, err
	}
	made := &schema{Type: "object", Description: about.doc, AdditionalProperties: false}
	for _, f := range reflect.VisibleFields(t) {
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		if name == "" || name == "-" || shadowed(t, f) {
			continue
		}
		optional := strings.Contains(options, "omitempty") || strings.Contains(options, "omitzero")
		field, err := s.field(t, f, optional)
		if err != nil {
			return nil, fmt.Errorf("%s.%s: %w", t, f.Name, err)
		}
		made.Properties = append(made.Properties, property{name, field})
		if !optional || slices.Contains(needed, name) {
			made.Required = append(made.Required, name)
		}
	}
	return made, nil
}

// shadowed is true for a field of an embedded struct that JSON does not see.
func shadowed(t reflect.Type, f reflect.StructField) bool {
	seen, ok := t.FieldByName(f.Name)
	return !ok || !slices.Equal(seen.Index, f.Index)
}

// field describes one field of a struct, with what stands at it.
func (s *schemas) field(t reflect.Type, f reflect.StructField, optional bool) (*schema, error) {
	kind := f.Type
	if optional && kind.Kind() == reflect.Pointer { // left out, not null
		kind = kind.Elem()
	}
	made, err := s.of(kind)
	if err != nil {
		return nil, err
	}
	owner := t
	for _, i := range f.Index[:len(f.Index)-1] {
		owner = owner.Field(i).Type
	}
	about, err := s.comments.of(owner)
	if err != nil {
		return nil, err
	}
	made.Description = about.fields[f.Name]
	return made, made.bound(api.BoundsOf(f.Tag))
}

// bound adds what an openapi tag says.
func (s *schema) bound(b api.Bounds) error {
	s.Minimum, s.Maximum, s.ExclusiveMinimum = max(s.Minimum, json.Number(b.Minimum)), json.Number(b.Maximum), json.Number(b.Above)
	s.Format = max(s.Format, b.Format)
	if b.Words != "" {
		s.Type, s.Enum = "string", nil
		for word := range strings.SplitSeq(b.Words, "|") {
			s.Enum = append(s.Enum, word)
		}
	}
	if b.Nullable {
		s.Type = []any{s.Type, "null"}
	}
	if b.Default == "" {
		return nil
	}
	if s.Type == "string" {
		s.Default = b.Default
		return nil
	}
	if err := json.Unmarshal([]byte(b.Default), &s.Default); err != nil {
		return fmt.Errorf("default %s: %w", strconv.Quote(b.Default), err)
	}
	return nil
}
