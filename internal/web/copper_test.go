package web

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/conformity"
	"coilkeep/internal/record"
)

// What was not recorded is answered by program, by name or by login.
func TestAnswersAboutUnrecorded(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	w.north.set(func(s *bench.Snapshot) {
		s.Unrecorded = []bench.Unrecorded{{ID: "u-1", Time: noon, Serial: "HN-0042", Stage: record.StageWound, Refusal: "too-short",
			Words: "it came off before the readings were steady", Asked: true}}
		s.Changed = &bench.VerdictChange{Bench: "north", Time: noon, Serial: "HN-0041", From: conformity.Undecided, To: conformity.In}
	})
	for _, what := range []string{"again", "next", "dismiss"} {
		answer := w.ask(t, "POST", "/api/v1/benches/north/unrecorded/u-1/"+what, `{"who": "Wren"}`)
		s := want[bench.Snapshot](t, answer, http.StatusOK)
		if len(s.Unrecorded) != 1 || s.Unrecorded[0].Serial != "HN-0042" || !s.Unrecorded[0].Asked || s.Changed == nil ||
			s.Changed.To != conformity.In {
			t.Errorf("%s: %+v, %+v", what, s.Unrecorded, s.Changed)
		}
		if _, _, told := w.north.told(); told != what+" u-1 Wren" {
			t.Errorf("the bench was told %q", told)
		}
	}
	w.ask(t, "POST", "/api/v1/benches/north/unrecorded/u-1/next", `{}`, func(r *http.Request) { r.SetBasicAuth("Tove", "") })
	if _, _, told := w.north.told(); told != "next u-1 Tove" {
		t.Errorf("the bench was told %q", told)
	}
	for _, c := range []struct {
		path, body string
		err        error
		status     int
	}{
		{"/api/v1/benches/north/unrecorded/u-1/again", `{"name": "Wren"}`, nil, http.StatusUnprocessableEntity},
		{"/api/v1/benches/west/unrecorded/u-1/again", `{}`, nil, http.StatusNotFound},
		{"/api/v1/benches/north/unrecorded/u-1/perhaps", `{}`, nil, http.StatusNotFound},
		{"/api/v1/benches/north/unrecorded/u-1/dismiss", `{}`, fmt.Errorf("%w: it was measured", record.ErrConflict), http.StatusConflict},
		{"/api/v1/benches/north/unrecorded/u-1/dismiss", `{}`, record.ErrNotFound, http.StatusNotFound},
	} {
		w.north.fail(c.err)
		if answer := w.ask(t, "POST", c.path, c.body); answer.status != c.status {
			t.Errorf("%s %s: status %d, want %d: %s", c.path, c.body, answer.status, c.status, answer.body)
		}
	}
}

func TestSoakByProgram(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	since := noon.Add(-time.Hour)
	k := want[record.Soak](t, w.ask(t, "POST", "/api/v1/benches/north/soak",
		map[string]any{"serial": "HN-0001", "since": since, "who": "Wren"}), http.StatusCreated)
	if k.Serial != "HN-0001" || k.Batch != "" || !k.Since.Equal(since) || k.Who != "Wren" || k.Bench != "north" {
		t.Errorf("got %+v", k)
	}
	k = want[record.Soak](t, w.ask(t, "POST", "/api/v1/benches/north/soak", `{"batch": "LM-1"}`), http.StatusCreated)
	if k.Batch != "LM-1" || !k.Since.Equal(noon) {
		t.Errorf("got %+v, want one from now on", k)
	}
	for _, body := range []string{`{}`, `{"serial": "HN-0001", "batch": "LM-1"}`, `{"serial": "HN-0001", "since": "2027-01-01T00:00:00Z"}`,
		`{"coil": "HN-0001"}`} {
		if answer := w.ask(t, "POST", "/api/v1/benches/north/soak", body); answer.status != http.StatusUnprocessableEntity {
			t.Errorf("%s: status %d: %s", body, answer.status, answer.body)
		}
	}
}

// The proposal is shown from three coils on, and is used by revising the design.
func TestCoolingByProgram(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	type answer struct {
		Curves   []record.CoolingCurve `json:"curves"`
		Proposal *struct {
			TimeConstantSeconds float64 `json:"time_constant_seconds"`
			TimeConstantRatio   float64 `json:"time_constant_ratio"`
			Coils               int     `json:"coils"`
			Words               string  `json:"words"`
		} `json:"proposal"`
	}
	const path = "/api/v1/designs/Long%20Meadow"
	for i := range 3 {
		if a := want[answer](t, w.ask(t, "GET", path+"/cooling", nil), http.StatusOK); len(a.Curves) != i || a.Proposal != nil {
			t.Errorf("from %d coils: %+v", i, a)
		}
		_, err := w.store.AddCoolingCurve(t.Context(), record.CoolingCurve{Bench: "north", Serial: fmt.Sprintf("HN-%04d", i),
			Design:              "Long Meadow",
			TimeConstantSeconds: 480, TimeConstantErrorSeconds: 20, StartKelvin: 3})
		if err != nil {
			t.Fatal(err)
		}
	}
	a := want[answer](t, w.ask(t, "GET", path+"/cooling", nil), http.StatusOK)
	if len(a.Curves) != 3 || a.Proposal == nil || a.Proposal.Coils != 3 || a.Proposal.TimeConstantRatio != 0.05 ||
		!strings.HasPrefix(a.Proposal.Words, "8.0 ± 0.4 min, from 3 coils") {
		t.Fatalf("got %+v", a)
	}
	if answer := w.ask(t, "GET", "/api/v1/designs/none/cooling", nil); answer.status != http.StatusNotFound {
		t.Errorf("a design that is not there: status %d", answer.status)
	}
	d := want[record.Design](t, w.ask(t, "POST", path+"/revisions", map[string]any{"time_constant_seconds": a.Proposal.TimeConstantSeconds,
		"time_constant_ratio": a.Proposal.TimeConstantRatio, "quick_share": 0.1, "quick_share_deviation": 0.05,
		"wanted_uncertainty_percent": 0.4}), http.StatusCreated)
	if d.Revision != 2 || d.TimeConstantRatio != 0.05 || d.QuickShare != 0.1 || d.QuickShareDeviation != 0.05 ||
		d.WantedUncertaintyPercent != 0.4 {
		t.Errorf("revised to %+v", d)
	}
}
