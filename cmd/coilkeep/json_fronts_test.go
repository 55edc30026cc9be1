package main

import (
	"encoding/json"
	"fmt"
	"net/http"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"coilkeep/internal/bench"
)

// TestJSONIsTheSameEverywhere asks the API and the commands the same: an answer
// has one shape, a list of the API has an envelope about what the command lists.
func TestJSONIsTheSameEverywhere(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	d := startDaemon(t, folder, strings.NewReplacer(`"north"`, `"south"`, "HN-", "HS-").Replace(manualBench))
	d.call("POST", "/api/v1/designs", `{"name":"Fen","target_ohms":6650,"tolerance_percent":6,"turns":7000}`, http.StatusCreated, nil)
	d.call("POST", "/api/v1/designs/Fen/revisions", `{"note":"new felt"}`, http.StatusCreated, nil)
	d.call("POST", "/api/v1/benches/south/batch", `{"batch":"first","design":"Fen","spool":"SP-1","winder":"W1"}`, http.StatusCreated, nil)
	d.call("POST", "/api/v1/benches/south/calibrations", `{"role":"meter","certificate":"K-1","correction_ratio":0.0001}`,
		http.StatusCreated, nil)
	d.until("the batch", func(s bench.Snapshot) bool { return s.Batch != nil })
	p := typist{*d}
	p.typeIn("probe", "20")
	for i := range 14 {
		p.coil(fmt.Sprint(6640 + 3*(i%5)))
	}
	d.until("the last coil", func(s bench.Snapshot) bool { return s.Last != nil && s.Last.Serial == "HS-0014" })

	for _, c := range []struct {
		name, method, path, body string
		inside                   string // the key of the envelope; "" without one
		args                     []string
		insideToo                string
	}{
		{"a design", "GET", "/api/v1/designs/Fen", "", "", []string{"design", "show", "Fen"}, ""},
		{"designs", "GET", "/api/v1/designs", "", "designs", []string{"design", "list"}, ""},
		{"a coil", "GET", "/api/v1/coils/HS-0003", "", "", []string{"coil", "show", "HS-0003"}, ""},
		{"measurements", "GET", "/api/v1/measurements?batch=first", "", "measurements", []string{"coil", "list", "--batch", "first"}, ""},
		{"batches", "GET", "/api/v1/batches", "", "batches", []string{"batch", "list"}, ""},
		{"drift of a batch", "GET", "/api/v1/batches/first/drift", "", "", []string{"drift", "--batch", "first"}, ""},
		{"drift of a winder", "GET", "/api/v1/winders/W1/drift", "", "", []string{"drift", "--winder", "W1"}, ""},
		{"a comparison", "POST", "/api/v1/comparisons?keep=false", `{"serial":"HS-0003","theirs":"6.28k","temperature":"12"}`, "",
			[]string{"compare", "--serial", "HS-0003", "--theirs", "6.28k", "--temperature", "12"}, ""},
		{"a comparison without a coil", "POST", "/api/v1/comparisons?keep=false", `{"r20":"6690","uncertainty":"30","theirs":"6.28k"}`, "",
			[]string{"compare", "--r20", "6690", "--uncertainty", "30", "--theirs", "6.28k"}, ""},
		{"an overload", "POST", "/api/v1/comparisons?keep=false", `{"serial":"HS-0003","theirs":"OL"}`, "",
			[]string{"compare", "--serial", "HS-0003", "--theirs", "OL"}, ""},
		{"calibrations", "GET", "/api/v1/benches/south/calibrations", "", "calibrations",
			[]string{"instrument", "list", "--bench", "south"}, "calibrations"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var answer any
			status := http.StatusOK
			d.call(c.method, c.path, c.body, status, &answer)
			var printed any
			text := ok(t, append(c.args, "--json", "--history", filepath.Join(folder, "history.db"))...)
			if err := json.Unmarshal([]byte(text), &printed); err != nil {
				t.Fatal(err)
			}
			if c.inside != "" {
				answer = answer.(map[string]any)[c.inside]
			}
			if c.insideToo != "" {
				printed = printed.(map[string]any)[c.insideToo]
			}
			if answer == nil || !reflect.DeepEqual(answer, printed) {
				t.Errorf("the API says\n%s\nthe command says\n%s", indented(t, answer), indented(t, printed))
			}
		})
	}
}

// TestComparisonIsTheSameObject has a comparison that is kept be one object for
// who keeps it, who looks it up, and in JSON Lines, where its result stands once
// more under the name it had there.
func TestComparisonIsTheSameObject(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	d := startDaemon(t, folder, manualBench)
	var added, shown map[string]any
	d.call("POST", "/api/v1/comparisons", `{"r20":"6690","uncertainty":"30","theirs":"6.28k","note":"order 7"}`, http.StatusCreated, &added)
	d.call("GET", fmt.Sprint("/api/v1/comparisons/", added["id"]), "", http.StatusOK, &shown)
	var exported map[string]any
	for line := range strings.Lines(ok(t, "export", "--format", "jsonl", "--history", filepath.Join(folder, "history.db"))) {
		var l struct{ Comparison map[string]any }
		if err := json.Unmarshal([]byte(line), &l); err != nil {
			t.Fatal(err)
		}
		if l.Comparison != nil {
			exported = l.Comparison
		}
	}
	if result, nested := exported["result"].(map[string]any); !nested || result["answer"] != added["answer"] {
		t.Errorf("the line has a result %v", exported["result"])
	}
	delete(exported, "result")
	if added["id"] == nil || !reflect.DeepEqual(added, shown) || !reflect.DeepEqual(added, exported) {
		t.Errorf("added as\n%s\nshown as\n%s\nexported as\n%s", indented(t, added), indented(t, shown), indented(t, exported))
	}
}

func indented(t *testing.T, value any) string {
	t.Helper()
	text, err := json.MarshalIndent(value, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
