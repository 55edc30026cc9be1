package workshop

import (
	"slices"
	"testing"

	"coilkeep/internal/conformity"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

func TestAssemblyOf(t *testing.T) {
	t.Parallel()
	store := drawer{assembly: record.Assembly{Serial: "HB-1", First: "HN-0001", Second: "HN-0002"}}
	for serial, found := range map[string]bool{"HB-1": true, "HN-0001": true, "HN-0002": true, "HN-0003": false, "": false} {
		a, err := AssemblyOf(t.Context(), store, serial)
		if err != nil || (a != nil) != found {
			t.Errorf("of %q: %+v, %v", serial, a, err)
		}
	}
}

func TestDoubtsAboutAssembly(t *testing.T) {
	t.Parallel()
	verdict := func(v conformity.Verdict) func(*record.Measurement) {
		return func(m *record.Measurement) { m.Verdict = v }
	}
	store := drawer{shelf: shelf{measured(t, "in", 6690), measured(t, "high", 7200), measured(t, "unjudged", 6690, verdict("")),
		measured(t, "void", 6690, void)}}
	for _, c := range []struct {
		first, second string
		want          []string
	}{
		{"in", "unjudged", nil},
		{"in", "high", []string{"Coil high is not within its tolerance: " + words.Verdict(conformity.High) + "."}},
		{"void", "nowhere", []string{"No measurement of coil void stands.", "No measurement of coil nowhere stands."}},
	} {
		got, err := DoubtsAboutAssembly(t.Context(), store, record.Assembly{First: c.first, Second: c.second})
		if err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%s with %s: %q, %v, want %q", c.first, c.second, got, err, c.want)
		}
	}
}
