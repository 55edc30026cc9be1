package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/pdftest"
)

// TestGoldenCommands compares what every command that reads prints, as text and as
// JSON, with what it was on the fixed history of the pages' goldens. Rewrite them
// with -update and look at the difference.
func TestGoldenCommands(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "coilkeep.db")
	ok(t, "import", filepath.Join("..", "..", "internal", "web", "testdata", "golden", "history.jsonl"), "--history", path)
	asked := map[string]bool{"check": true, "ports": true, "import": true} // of the machine's ports, and a command that writes
	for name, args := range map[string][]string{
		"design-list":       {"design", "list"},
		"design-show":       {"design", "show", "Sedge"},
		"design-show-first": {"design", "show", "Sedge", "--revision", "1"},
		"batch-list":        {"batch", "list"},
		"batch-show":        {"batch", "show", "LM-1"},
		"coil-list":         {"coil", "list", "--batch", "LM-1"},
		"coil-show":         {"coil", "show", "HN-0030"},
		"coil-show-void":    {"coil", "show", "HN-0029"},
		"coil-unrecorded":   {"coil", "unrecorded"},
		"coil-reevaluate":   {"coil", "reevaluate"},
		"instrument-list":   {"instrument", "list", "--bench", "north"},
		"drift":             {"drift", "--batch", "LM-1"},
		"drift-winder":      {"drift", "--winder", "W1", "--design", "Long Meadow"},
		"drift-otherwise":   {"drift", "--batch", "LM-1", "--rules", "nelson", "--baseline", "10"},
		"journal":           {"journal"},
		"verify":            {"verify"},
		"compare":           {"compare", "--serial", "HN-0003", "--theirs", "6.28k", "--temperature", "8"},
		"compare-overload":  {"compare", "--serial", "HN-0003", "--theirs", "OL"},
		"normalize":         {"normalize", "6690", "--at", "12.5"},
		"wire":              {"wire", "--ohms", "6690", "--gauge", "42"},
		"drift-file":        {"drift", "--file", "testdata/golden/coils.csv", "--target", "6.69k", "--tolerance-percent", "3"},
		"export-csv":        {"export", "--format", "csv"},
	} {
		t.Run(name, func(t *testing.T) {
			forms := [][]string{nil, {"--json"}}
			if args[0] == "export" {
				forms = forms[:1]
			}
			for _, form := range forms {
				all := append(append([]string{}, args...), form...)
				if args[0] != "normalize" && args[0] != "wire" && !slices.Contains(args, "--file") {
					all = append(all, "--history", path)
				}
				got := start(t, all...)
				text := "coilkeep " + strings.Join(append(append([]string{}, args...), form...), " ") + "\n\n" + got.stdout + got.stderr
				text = ofThisRun.ReplaceAllString(strings.ReplaceAll(text, path, "HISTORY"), "…")
				golden(t, filepath.Join("golden", name+strings.Join(form, "")+".txt"), text)
			}
		})
		asked[strings.Join(args[:min(len(args), 2)], "-")] = true
		asked[args[0]] = true
	}
	// Whoever gets --json gets a golden. A help has the flag on a line of its own.
	withJSON := 0
	helps, err := filepath.Glob(filepath.Join("testdata", "help", "*.txt"))
	if err != nil || len(helps) == 0 {
		t.Fatalf("no helps: %v", err)
	}
	for _, help := range helps {
		text, err := os.ReadFile(help)
		if err != nil {
			t.Fatal(err)
		}
		name := strings.TrimSuffix(filepath.Base(help), ".txt")
		if !bytes.Contains(text, []byte("\n  --json\n")) {
			continue
		}
		withJSON++
		if !asked[name] {
			t.Errorf("no golden of %s, which has --json", name)
		}
	}
	if withJSON == 0 {
		t.Error("no help has --json: its form has changed, and nothing is compared here")
	}
}

// ofThisRun is the journal's entry about the import, the one record that the test
// itself makes: its id and its time.
var ofThisRun = regexp.MustCompile(`\{\s*"id": "[0-9a-f-]{36}",\s*"time": "[^"]*",\s*"action": "import",[^}]*\}|(?m:^[^\n]*  import  ` +
	`[^\n]*$)`)

// What is exported as JSON Lines has every field that was imported, record by
// record, and an entry of the journal about the import.
func TestGoldenExportIsWhatWasImported(t *testing.T) {
	t.Parallel()
	const fixed = "../../internal/web/testdata/golden/history.jsonl"
	path := filepath.Join(t.TempDir(), "coilkeep.db")
	ok(t, "import", fixed, "--history", path)
	imported, err := os.ReadFile(fixed)
	if err != nil {
		t.Fatal(err)
	}
	records := func(text string) (list []map[string]any) {
		for line := range strings.Lines(text) {
			var r map[string]any
			fromJSON(t, line, &r)
			if entry, _ := r["journal"].(map[string]any); r["type"] != "end" && (entry == nil || entry["action"] != "import") {
				list = append(list, r)
			}
		}
		return list
	}
	got, want := records(ok(t, "export", "--format", "jsonl", "--history", path)), records(string(imported))
	if len(got) != len(want) || len(want) < 90 {
		t.Fatalf("%d records came back, of %d", len(got), len(want))
	}
	for i := range got {
		for _, lost := range lostFields("", got[i], want[i]) {
			t.Errorf("record %d: %s", i+1, lost)
		}
	}
}

// lostFields names what of want is not in got, or another; got may have more
// fields. Times are compared as times.
func lostFields(path string, got, want any) (lost []string) {
	switch want := want.(type) {
	case map[string]any:
		got, _ := got.(map[string]any)
		for key, value := range want {
			lost = append(lost, lostFields(path+"."+key, got[key], value)...)
		}
		return lost
	case []any:
		if got, _ := got.([]any); len(got) == len(want) {
			for i := range want {
				lost = append(lost, lostFields(fmt.Sprintf("%s[%d]", path, i), got[i], want[i])...)
			}
			return lost
		}
	case string:
		text, _ := got.(string)
		was, err := time.Parse(time.RFC3339, want)
		if is, isErr := time.Parse(time.RFC3339, text); err == nil && isErr == nil && is.Equal(was) {
			return nil
		}
	}
	if !reflect.DeepEqual(got, want) {
		return []string{fmt.Sprintf("%s is %v, was %v", path, got, want)}
	}
	return nil
}

// TestGoldenDriftOnPaper holds the picture of a batch and the texts of its report.
func TestGoldenDriftOnPaper(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	path, svg, pdf := filepath.Join(folder, "coilkeep.db"), filepath.Join(folder, "drift.svg"), filepath.Join(folder, "drift.pdf")
	ok(t, "import", "../../internal/web/testdata/golden/history.jsonl", "--history", path)
	ok(t, "drift", "--batch", "LM-1", "--svg", svg, "--pdf", pdf, "--history", path)
	picture, err := os.ReadFile(svg)
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "golden/drift.svg", string(picture))
	document, err := os.ReadFile(pdf)
	if err != nil {
		t.Fatal(err)
	}
	var text strings.Builder
	for _, page := range pdftest.Pages(t, document) {
		text.WriteString(strings.Join(page, "\n") + "\n\f\n")
	}
	golden(t, "golden/drift-pdf.txt", text.String())
}

// ofAnyRun is what differs from run to run: ids, and what the machine calls the user.
var ofAnyRun = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{12}`)

// TestGoldenYoungHistory holds what commands say of coils that came from a table,
// and of a batch that has no coils yet.
func TestGoldenYoungHistory(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "coilkeep.db")
	of := func(args ...string) string {
		got := start(t, append(args, "--history", path)...)
		return fmt.Sprintf("$ coilkeep %s\nexit %d\n%s%s\n", strings.Join(args, " "), got.code, got.stdout, got.stderr)
	}
	var text strings.Builder
	for _, args := range [][]string{
		{"design", "add", "larkspur", "--target", "6.69k", "--tolerance", "5", "--who", "Ada"},
		{"batch", "start", "empty-1", "--bench", "north", "--design", "larkspur", "--spool", "SP-1", "--who", "Ada"},
		{"import", "testdata/golden/typed.csv", "--design", "larkspur", "--bench", "south", "--meter-percent", "0.8", "--meter-ohms", "2",
			"--temperature-uncertainty", "1"},
		{"batch", "list"},
		{"batch", "show", "empty-1"},
		{"drift", "--batch", "empty-1"},
		{"batch", "show", "typed-1"},
		{"drift", "--batch", "typed-1"},
		{"coil", "list"},
		{"coil", "show", "TY-0001"},
		{"coil", "show", "TY-0002"},
		{"verify"},
		{"export", "--format", "csv"},
	} {
		text.WriteString(of(args...))
	}
	golden(t, "golden/young-history.txt", strings.ReplaceAll(ofAnyRun.ReplaceAllString(text.String(), "ID"), path, "HISTORY"))
}

// TestGoldenMistakes holds what is said to wrong invocations, and with which exit
// code.
func TestGoldenMistakes(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	path := filepath.Join(folder, "coilkeep.db")
	ok(t, "design", "add", "larkspur", "--target", "6.69k", "--tolerance", "5", "--history", path)
	var text strings.Builder
	for _, line := range []string{
		"bensh", "batch", "batch strat", "serve", "serve --config none.toml", "serve extra --config none.toml",
		"check", "check --config none.toml", "ports extra", "demo --speed 50", "demo --coils -1", "demo --coils many",
		"normalize", "normalize 6690", "normalize 6690 --at warm", "normalize -5 --at 21", "normalize 6690 --at 400", "normalize 6690 kg --at 21",
		"wire", "wire --ohms 6690", "wire --ohms 6690 --gauge 99",
		"design add", "design add reed --history HISTORY", "design add reed --target 6.69k --tolerance 500 --history HISTORY",
		"design add larkspur --target 6.69k --tolerance 5 --history HISTORY", "design show reed --history HISTORY",
		"batch start b --bench north --design reed --history HISTORY", "batch show b --history HISTORY", "batch close b --history HISTORY",
		"coil show HN-0404 --history HISTORY", "coil void HN-0404 --history HISTORY",
		"coil list --history NOWHERE", "coil list --history HISTORY --config none.toml",
		"compare --history HISTORY", "compare --serial HN-0404 --theirs 6.28k --history HISTORY", "compare --theirs 6.28q --history HISTORY",
		"drift", "drift --batch b --winder w", "drift --batch b --history HISTORY", "drift --file none.csv", "drift --file x --history HISTORY",
		"export --format xml --history HISTORY", "import none.csv --history HISTORY", "import --history HISTORY",
		"backup --history HISTORY", "restore none.db --history HISTORY", "verify --history NOWHERE", "journal extra --history HISTORY",
	} {
		args := strings.Fields(strings.NewReplacer("HISTORY", path, "NOWHERE", filepath.Join(folder, "nowhere.db")).Replace(line))
		got := start(t, args...)
		if got.code == exitOK {
			t.Errorf("coilkeep %s: exit 0", line)
		}
		said := strings.NewReplacer(path, "HISTORY", folder, "FOLDER").Replace(got.stderr)
		fmt.Fprintf(&text, "$ coilkeep %s\nexit %d\n%s\n", line, got.code, said)
		if got.stdout != "" {
			t.Errorf("coilkeep %s prints to the standard output: %s", line, got.stdout)
		}
	}
	golden(t, "golden/mistakes.txt", text.String())
}

// A cell that import refuses is refused by drift --file with the same words, by
// line and column.
func TestTablesAreReadOneWay(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "coilkeep.db")
	ok(t, "design", "add", "larkspur", "--target", "6.69k", "--tolerance", "5", "--history", path)
	const names = "serial,time,resistance_ohms,temperature_celsius,r20_ohms,sequence,batch"
	const good = "TY-1,2026-03-02T08:00:00Z,6700,20.5,,1,typed"
	for name, table := range map[string]string{
		"decimal comma":       names + "\nTY-1,2026-03-02T08:00:00Z,6690,20,6690,50,1,typed\n",
		"quoted comma":        names + "\nTY-1,2026-03-02T08:00:00Z,6690,20,\"6690,5\",1,typed\n",
		"unit":                names + "\nTY-1,2026-03-02T08:00:00Z,6690,20,6.69k,1,typed\n",
		"degrees":             names + "\nTY-1,2026-03-02T08:00:00Z,6690,68 °F,6690,1,typed\n",
		"no zone":             names + "\nTY-1,2026-03-02 08:00,6690,20,6690,1,typed\n",
		"sequence":            names + "\nTY-1,2026-03-02T08:00:00Z,6690,20,6690,-1,typed\n",
		"unknown column":      "serail" + strings.TrimPrefix(names, "serial") + "\n" + good + "\n",
		"column twice":        names + ",serial\n" + good + ",TY-1\n",
		"semicolons":          strings.ReplaceAll(names, ",", ";") + "\n",
		"a quote in the cell": names + "\nTY-\"1,2026-03-02T08:00:00Z,6690,20,6690,1,typed\n",
		"nothing":             "",
	} {
		said := func(got result) string {
			t.Helper()
			if got.code == exitOK {
				t.Errorf("%s: taken by one of them", name)
			}
			at := strings.Index(got.stderr, "line ")
			if at < 0 {
				at = strings.Index(got.stderr, "the file is empty")
			}
			// What follows the columns' names differs: each names those that it uses.
			text, _, _ := strings.Cut(got.stderr[max(at, 0):], "; the columns are ")
			text = strings.ReplaceAll(text, "at least 0", "at least 1") // an export writes 0 for a coil of no batch
			return strings.TrimSuffix(strings.TrimSpace(text), "; nothing was imported")
		}
		imported := said(startWith(t, table, "import", "-", "--format", "csv", "--design", "larkspur", "--bench", "north",
			"--meter-percent", "0.8", "--meter-ohms", "2", "--temperature-uncertainty", "1", "--history", path))
		if drifted := said(startWith(t, table, "drift", "--file", "-")); drifted != imported {
			t.Errorf("%s: drift says %q, import %q", name, drifted, imported)
		}
	}
}
