package web

import (
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coilkeep/internal/bench"
	"coilkeep/internal/history"
)

// Older measurements are previewed, and evaluated again when somebody says why.
// The coils are those that the first rules measured, see the README beside them.
func TestReevaluations(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	kept, err := os.Open(filepath.Join("..", "bench", "testdata", "rules-1", "three-coils.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	defer kept.Close()
	if _, err := w.store.Import(t.Context(), kept); err != nil {
		t.Fatal(err)
	}
	w.start(t)
	const path = "/api/v1/reevaluations"
	for body, field := range map[string]string{
		`{}`: "batch", `{"serials":[]}`: "batch", `{"design":"Millrace","apply":true}`: "reason",
		`{"design":"Millrace","reason":"newer"}`: "reason", `{"design":"Millrace","since":"yesterday"}`: "since",
		`{"desing":"Millrace"}`: "desing", `{"design":"Millrace","apply":true,"reason":"` + strings.Repeat("long ", 500) + `"}`: "reason",
	} {
		if got := want[problem](t, w.ask(t, "POST", path, body), http.StatusUnprocessableEntity); got.Field != field {
			t.Errorf("%.60s: field %q, want %q: %s", body, got.Field, field, got.Detail)
		}
	}
	want[problem](t, w.ask(t, "POST", path, `{"batch":"no such"}`), http.StatusNotFound)

	preview := want[bench.Reevaluated](t, w.ask(t, "POST", path, `{"design":"Millrace"}`), http.StatusOK)
	if preview.Applied || preview.Measurements != 3 || len(preview.Batches) != 1 || preview.Batches[0].Coils != 3 || preview.Certificates == "" {
		t.Errorf("preview %+v", preview)
	}
	done := want[bench.Reevaluated](t, w.ask(t, "POST", path, `{"serials":["HL-0058"],"apply":true,"reason":"newer","who":"Mira"}`), http.StatusOK)
	if !done.Applied || done.Measurements != 1 {
		t.Errorf("applied %+v", done)
	}
	coil := want[history.Coil](t, w.ask(t, "GET", "/api/v1/coils/HL-0058", nil), http.StatusOK)
	if len(coil.Measurements) != 2 || coil.Measurements[0].Supersedes != coil.Measurements[1].ID || coil.Measurements[1].Status != history.Superseded {
		t.Errorf("the coil has %+v", coil.Measurements)
	}
	deeds, err := w.store.Journal(t.Context(), history.JournalFilter{Action: "reevaluate"})
	if err != nil || len(deeds) != 1 || deeds[0].Who != "Mira" {
		t.Errorf("journal %+v, %v", deeds, err)
	}
	if rest := want[bench.Reevaluated](t, w.ask(t, "POST", path, `{"batch":"2026-11-30 Millrace"}`), http.StatusOK); rest.Measurements != 2 {
		t.Errorf("%d are left to evaluate, want 2", rest.Measurements)
	}
}
