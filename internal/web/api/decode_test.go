package api

import (
	"errors"
	"testing"

	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

// FuzzBody feeds bodies to the reader of designs: it never panics, and what it
// accepts holds no field that a design does not have.
func FuzzBody(f *testing.F) {
	for _, seed := range []string{
		`{"name":"Long Meadow","target_ohms":6690,"tolerance_percent":5,"gauge_awg":42}`,
		`{"name":"A","bobbin":{"straight_mm":60,"core_radius_mm":3,"build_mm":4}}`,
		`{"name":"A","bobbin":null}`, `{"name":"A","bobbin":[]}`, `{"Name":"A"}`, `{}`, `{"a":{}}`, ` [1]`, `{"name":"\ud800"}`,
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, content []byte) {
		var body workshop.DesignRequest
		if err := unmarshal(content, &body); err != nil {
			if k := problem.Classify(err).Kind; k != problem.Malformed && k != problem.Invalid {
				t.Errorf("got a problem of kind %q for %q", k.Name, content)
			}
			return
		}
		if _, err := workshop.NewDesign(body); err != nil && !errors.As(err, new(*record.FieldError)) {
			t.Errorf("got error %v for %q", err, content)
		}
	})
}
