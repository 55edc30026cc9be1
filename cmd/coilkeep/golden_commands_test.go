package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
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
		"export-csv":        {"export", "--format", "csv"},
	} {
		t.Run(name, func(t *testing.T) {
			forms := [][]string{nil, {"--json"}}
			if args[0] == "export" {
				forms = forms[:1]
			}
			for _, form := range forms {
				all := append(append([]string{}, args...), form...)
				if args[0] != "normalize" && args[0] != "wire" {
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
var ofThisRun = regexp.MustCompile(`\{\s*"id": "[0-9a-f-]{36}",\s*"time": "[^"]*",\s*"action": "import",[^}]*\}|(?m:^[^\n]*  import  [^\n]*$)`)
