package web

import (
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

// withOlderRules is a workshop with three coils that the first rules measured, see
// the README beside them.
func withOlderRules(t *testing.T) *testShop {
	t.Helper()
	w := newWorkshop(t)
	kept, err := os.Open(filepath.Join("..", "workshop", "testdata", "rules-1", "three-coils.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	defer kept.Close()
	if _, err := w.store.Import(t.Context(), kept); err != nil {
		t.Fatal(err)
	}
	w.start(t)
	return w
}

// TestReevaluatePage has a person see what changes before it does.
func TestReevaluatePage(t *testing.T) {
	t.Parallel()
	w := withOlderRules(t)
	kept, _, err := w.store.Measurements(t.Context(), record.Filter{})
	if err != nil || len(kept) != 3 {
		t.Fatalf("%d measurements, %v", len(kept), err)
	}
	batch := kept[0].Batch
	wantText(t, w.page(t, pagePath("batches", batch)), "3 measurements of this batch are by rules that only bounded",
		"See what today's rules give")
	wantText(t, w.page(t, pagePath("coils", kept[0].Serial)), "version 1; see what today's gives", "not estimated: taken to be within")
	wantNoText(t, w.page(t, "/reevaluate"), "Preview")

	for _, path := range []string{reevaluatePath("batch", batch), reevaluatePath("design", kept[0].Design), "/reevaluate?show=1"} {
		wantText(t, w.page(t, path), "Preview", "Measurements 3", batch, "stay", "No record is kept of which certificates were printed",
			"Why they are evaluated again")
	}
	wantText(t, w.page(t, "/reevaluate?show=1&coils="+url.QueryEscape(kept[0].Serial+", "+kept[1].Serial)), "Measurements 2")
	for query, text := range map[string]string{"batch=no+such": `batch "no such" not found`, "design=no+such": `design "no such" not found`,
		"coils=no+such": `coil "no such" not found`} {
		answer := w.ask(t, "GET", "/reevaluate?show=1&"+query, nil)
		if answer.status != http.StatusUnprocessableEntity {
			t.Errorf("%s: got status %d", query, answer.status)
		}
		wantText(t, string(answer.body), text)
	}

	answer := w.fill(t, "/reevaluate", url.Values{"batch": {batch}, "reason": {" "}})
	if answer.status != http.StatusUnprocessableEntity {
		t.Errorf("without a reason: got status %d", answer.status)
	}
	wantText(t, string(answer.body), "say why they are evaluated again")
	if still, _, err := w.store.Measurements(t.Context(), record.Filter{}); err != nil || len(still) != 3 {
		t.Fatalf("a preview left %d measurements, %v", len(still), err)
	}

	answer = w.fill(t, "/reevaluate", url.Values{"batch": {batch}, "reason": {"the copper is estimated now"}})
	if answer.status != http.StatusOK {
		t.Fatalf("got status %d: %s", answer.status, textOf(string(answer.body)))
	}
	wantText(t, string(answer.body), "Stored", "Measurements 3")
	wantNoText(t, string(answer.body), "Store the new results")
	wantText(t, w.page(t, pagePath("coils", kept[0].Serial)), "evaluated again: the copper is estimated now", "copper against probe",
		"estimated",
		"; from ")
	wantNoText(t, w.page(t, pagePath("batches", batch)), "only bounded")
	wantText(t, w.page(t, reevaluatePath("batch", batch)), "there is nothing to evaluate again")
}

// Older measurements are previewed, and evaluated again when somebody says why.
// The coils are those that the first rules measured, see the README beside them.
func TestReevaluations(t *testing.T) {
	t.Parallel()
	w := withOlderRules(t)
	const path = "/api/v1/reevaluations"
	for body, field := range map[string]string{
		`{}`: "batch", `{"serials":[]}`: "batch", `{"design":"Millrace","apply":true}`: "reason",
		`{"design":"Millrace","reason":"newer"}`: "reason", `{"design":"Millrace","since":"yesterday"}`: "since",
		`{"desing":"Millrace"}`: "desing", `{"design":"Millrace","apply":true,"reason":"` + strings.Repeat("long ", 500) + `"}`: "reason",
	} {
		if got := want[problem.Details](t, w.ask(t, "POST", path, body), http.StatusUnprocessableEntity); got.Field != field {
			t.Errorf("%.60s: field %q, want %q: %s", body, got.Field, field, got.Detail)
		}
	}
	want[problem.Details](t, w.ask(t, "POST", path, `{"batch":"no such"}`), http.StatusNotFound)

	preview := want[workshop.Reevaluated](t, w.ask(t, "POST", path, `{"design":"Millrace"}`), http.StatusOK)
	if preview.Applied || preview.Measurements != 3 || len(preview.Batches) != 1 || preview.Batches[0].Coils != 3 ||
		preview.Certificates == "" {
		t.Errorf("preview %+v", preview)
	}
	done := want[workshop.Reevaluated](t, w.ask(t, "POST", path, `{"serials":["HL-0058"],"apply":true,"reason":"newer","who":"Mira"}`),
		http.StatusOK)
	if !done.Applied || done.Measurements != 1 {
		t.Errorf("applied %+v", done)
	}
	coil := want[record.Coil](t, w.ask(t, "GET", "/api/v1/coils/HL-0058", nil), http.StatusOK)
	if len(coil.Measurements) != 2 || coil.Measurements[0].Supersedes != coil.Measurements[1].ID ||
		coil.Measurements[1].Status != record.Superseded {
		t.Errorf("the coil has %+v", coil.Measurements)
	}
	deeds, err := w.store.Journal(t.Context(), record.JournalFilter{Action: "reevaluate"})
	if err != nil || len(deeds) != 1 || deeds[0].Who != "Mira" {
		t.Errorf("journal %+v, %v", deeds, err)
	}
	if rest := want[workshop.Reevaluated](t, w.ask(t, "POST", path, `{"batch":"2026-11-30 Millrace"}`),
		http.StatusOK); rest.Measurements != 2 {
		t.Errorf("%d are left to evaluate, want 2", rest.Measurements)
	}
}
