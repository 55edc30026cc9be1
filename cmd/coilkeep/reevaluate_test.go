package main

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/history"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// firstRules are three coils that the first version of the rules measured; see
// the README beside them.
var firstRules = filepath.Join("..", "..", "internal", "workshop", "testdata", "rules-1", "three-coils.jsonl")

func TestReevaluateFromTheCommandLine(t *testing.T) {
	w := newWorkshop(t)
	w.ok(t, "import", firstRules)
	w.golden(t, "reevaluate-preview.txt", w.ok(t, "coil", "reevaluate"))
	var sum workshop.Reevaluated
	if fromJSON(t, w.ok(t, "coil", "reevaluate", "--json"), &sum); sum.Applied || sum.Measurements != 3 {
		t.Errorf("after a preview: %+v", sum)
	}
	var complaints strings.Builder
	for _, args := range [][]string{
		{"--apply"},
		{"--apply", "--reason", "newer rules"},
		{"--apply", "--all", "--batch", "2026-11-30 Millrace", "--reason", "newer rules"},
		{"--reason", "newer rules"},
		{"--since", "yesterday"},
	} {
		complaints.WriteString(w.refused(t, exitUsage, append([]string{"coil", "reevaluate"}, args...)...))
	}
	for _, args := range [][]string{{"HN-0001"}, {"--batch", "spring"}, {"--design", "lark"}} {
		complaints.WriteString(w.refused(t, exitFault, append([]string{"coil", "reevaluate"}, args...)...))
	}
	w.golden(t, "reevaluate-refused.txt", complaints.String())

	w.golden(t, "reevaluate-apply.txt", w.ok(t, "coil", "reevaluate", "HL-0058", "--apply", "--reason", "the copper is estimated now",
		"--who", "Mira"))
	w.golden(t, "reevaluate-coil.txt", w.ok(t, "coil", "show", "HL-0058"))
	if fromJSON(t, w.ok(t, "coil", "reevaluate", "--all", "--apply", "--reason", "the rest", "--json"), &sum); !sum.Applied ||
		sum.Measurements != 2 {
		t.Errorf("the rest: %+v", sum)
	}
	if got := w.ok(t, "verify"); !strings.Contains(got, "captured 3 again.\nEverything agrees.\n") {
		t.Errorf("verify says %s", got)
	}
	w.golden(t, "reevaluate-nothing.txt", w.ok(t, "coil", "reevaluate"))
	// What was evaluated again goes out and comes back like any record.
	w.ok(t, "export", "--format", "jsonl", "--output", filepath.Join(w.folder, "all.jsonl"))
	other := filepath.Join(w.folder, "other.db")
	ok(t, "import", filepath.Join(w.folder, "all.jsonl"), "--history", other)
	if got := ok(t, "verify", "--history", other); !strings.Contains(got, "captured 3 again.\nEverything agrees.\n") {
		t.Errorf("verify of what came back says %s", got)
	}
}

// Coils are said to lie beside the probe, and what was not recorded is listed
// until it is dismissed.
func TestRackAndUnrecorded(t *testing.T) {
	w := newWorkshop(t)
	w.fill(t, 6690)
	w.golden(t, "rack.txt", w.ok(t, "coil", "rack", "HN-0002", "HN-0003", "--since", "13:30", "--who", "Mira")+
		w.ok(t, "coil", "rack", "--batch", "spring-3", "--since", "2026-03-14 13:00"))
	var complaints strings.Builder
	for _, args := range [][]string{{}, {"HN-0002", "--batch", "spring-3"}, {"HN-0002", "--since", "soon"}, {"HN-0002", "--bench", "nroth"}} {
		complaints.WriteString(w.refused(t, exitUsage, append([]string{"coil", "rack"}, args...)...))
	}
	for _, args := range [][]string{
		{"rack", "--batch", "spring-4"}, {"rack", "HN-0002", "--since", "23:59"}, {"rack", "HN-0001", "--since", "2026-03-14 13:00"},
		{"dismiss", "HN-0009"},
	} {
		complaints.WriteString(w.refused(t, exitFault, append([]string{"coil"}, args...)...))
	}
	w.golden(t, "rack-refused.txt", complaints.String())

	w.golden(t, "unrecorded-none.txt", w.ok(t, "coil", "unrecorded"))
	store, err := history.Open(t.Context(), w.history, history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i, serial := range []string{"HN-0002", ""} {
		_, err := store.AddUnrecorded(t.Context(), record.Unrecorded{Time: noon.Add(time.Duration(i) * time.Minute), Bench: "north",
			Serial: serial,
			Stage:  record.StageWound, Refusal: "too-short", Words: "it came off before the readings were steady"})
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	w.golden(t, "unrecorded.txt", w.ok(t, "coil", "unrecorded"))
	w.golden(t, "unrecorded-batch.txt", w.ok(t, "batch", "show", "spring-3"))
	w.golden(t, "dismiss.txt", w.ok(t, "coil", "dismiss", "hn-0002"))
	var left []record.Unrecorded
	if fromJSON(t, w.ok(t, "coil", "unrecorded", "--json", "--bench", "north"), &left); len(left) != 1 || left[0].Serial != "" {
		t.Errorf("left are %+v", left)
	}
	w.ok(t, "coil", "dismiss", left[0].ID)
}
