package dashboards

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/grafana/grafana-foundation-sdk/go/cog/variants"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
)

var update = flag.Bool("update", false, "write the dashboards anew")

// query is one question a panel asks.
type query struct{ panel, expr string }

// withoutVariables is the query as Prometheus gets it, everything chosen.
func (q query) withoutVariables() string {
	return strings.NewReplacer("$__rate_interval", "5m", "$__range", "1h", "$bench", ".+", "$design", ".+").Replace(q.expr)
}

// built is a dashboard as the typed library made it.
type built struct {
	file    string
	json    []byte
	panels  []dashboard.Panel
	queries []query
	// choices are what the lists at the top of the page are filled with.
	choices []string
}

// builtBoards builds every dashboard.
func builtBoards(t *testing.T) []built {
	t.Helper()
	var list []built
	for _, b := range boards() {
		made, err := b.layout.Build()
		if err != nil {
			t.Fatalf("%s: %v", b.file, err)
		}
		number(made.Panels)
		text, err := json.MarshalIndent(made, "", "  ")
		if err != nil {
			t.Fatalf("%s: %v", b.file, err)
		}
		whole := built{file: filepath.Join("grafana", b.file), json: append(text, '\n')}
		for _, p := range made.Panels {
			if p.Panel == nil {
				continue // the title of a row
			}
			whole.panels = append(whole.panels, *p.Panel)
			for _, target := range p.Panel.Targets {
				expr, err := exprOf(target)
				if err != nil {
					t.Fatalf("%s: panel %s: %v", b.file, *p.Panel.Title, err)
				}
				whole.queries = append(whole.queries, query{panel: *p.Panel.Title, expr: expr})
			}
		}
		for _, variable := range made.Templating.List {
			if variable.Type == dashboard.VariableTypeQuery {
				whole.choices = append(whole.choices, *variable.Query.String)
			}
		}
		if len(whole.queries) < 5 {
			t.Fatalf("%s: only %d queries", b.file, len(whole.queries))
		}
		list = append(list, whole)
	}
	return list
}

// number gives panels the ids by which links and screenshots name them.
func number(panels []dashboard.PanelOrRowPanel) {
	for i, p := range panels {
		id := uint32(i + 1)
		if p.RowPanel != nil {
			p.RowPanel.Id = id
		} else {
			p.Panel.Id = &id
		}
	}
}

func exprOf(target variants.Dataquery) (string, error) {
	q, ok := target.(prometheus.Dataquery)
	if !ok {
		return "", fmt.Errorf("a %T is no query of Prometheus", target)
	}
	return q.Expr, nil
}

// TestDashboards compares the files people import with the layout; -update
// writes them.
func TestDashboards(t *testing.T) {
	t.Parallel()
	for _, b := range builtBoards(t) {
		if *update {
			if err := os.WriteFile(b.file, b.json, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		kept, err := os.ReadFile(b.file)
		if err != nil {
			t.Fatal(err)
		}
		if string(kept) != string(b.json) {
			t.Errorf("%s is not what the layout gives; run go test ./dashboards -update and read the difference", b.file)
		}
	}
	kept, err := filepath.Glob("grafana/*")
	if err != nil {
		t.Fatal(err)
	}
	if len(kept) != len(boards()) {
		t.Errorf("%q in grafana/, want %d dashboards", kept, len(boards()))
	}
}

// TestPanelsAskWhatIsThere compares the names in the queries with what is
// exported, and has promtool parse each as a rule.
func TestPanelsAskWhatIsThere(t *testing.T) {
	t.Parallel()
	e, recorded := readExported(t), recordedNames(t)
	var all []query
	for _, b := range builtBoards(t) {
		for _, q := range b.queries {
			for _, fault := range e.faults(q.expr, recorded) {
				t.Errorf("%s: panel %s: %s", b.file, q.panel, fault)
			}
			if strings.Contains(q.withoutVariables(), "$") {
				t.Errorf("%s: panel %s: unknown variable in %s", b.file, q.panel, q.expr)
			}
		}
		all = append(all, b.queries...)
		if len(b.choices) == 0 {
			t.Errorf("%s: nothing can be chosen", b.file)
		}
		for _, choice := range b.choices {
			for _, fault := range e.choiceFaults(choice, recorded) {
				t.Errorf("%s: choice: %s", b.file, fault)
			}
		}
	}
	promtool(t, "check", "rules", writeRules(t, all))
}

var labelValues = regexp.MustCompile(`^label_values\((coilkeep_[a-z_]+)(\{.*\})?, ([a-z]+)\)$`)

// choiceFaults says what is wrong with the question that fills a list: its
// series or the label whose values are listed.
func (e exported) choiceFaults(choice string, recorded []string) []string {
	parts := labelValues.FindStringSubmatch(choice)
	if parts == nil {
		return []string{"cannot be understood: " + choice}
	}
	list := e.faults(parts[1]+parts[2], recorded)
	if labels, ok := e[parts[1]]; ok && labels[parts[3]] == nil {
		list = append(list, parts[1]+" has no label "+parts[3])
	}
	return list
}

// TestChoiceFaultsAreFound makes sure that the check of choices can fail.
func TestChoiceFaultsAreFound(t *testing.T) {
	t.Parallel()
	e := readExported(t)
	for choice, want := range map[string]string{
		`label_values(coilkeep_instrument_up, bench)`:                     "",
		`label_values(coilkeep_instrument_up, design)`:                    "coilkeep_instrument_up has no label design",
		`label_values(coilkeep_bench_up, bench)`:                          "the daemon does not export coilkeep_bench_up",
		`label_values(coilkeep_measurements_total{place="here"}, design)`: "coilkeep_measurements_total has no label place",
		`query_result(coilkeep_instrument_up)`:                            "cannot be understood: query_result(coilkeep_instrument_up)",
	} {
		if got := strings.Join(e.choiceFaults(choice, nil), "; "); got != want {
			t.Errorf("faults of %s: %q, want %q", choice, got, want)
		}
	}
}

// dressFaults says what a panel lacks for somebody who sees nothing else of
// the dashboard. Units are those the layout knows; "none" and "short" are for
// words and counts.
func dressFaults(p dashboard.Panel) []string {
	text := func(s *string) string {
		if s == nil {
			return ""
		}
		return *s
	}
	var list []string
	if len(text(p.Title)) < 8 || !strings.Contains(text(p.Title), " ") {
		list = append(list, "the title says too little")
	}
	if len(text(p.Description)) < 15 || !strings.HasSuffix(text(p.Description), ".") {
		list = append(list, "no sentence says what is shown")
	}
	unit := ""
	if p.FieldConfig != nil {
		unit = text(p.FieldConfig.Defaults.Unit)
	}
	if !slices.Contains([]string{"ohm", "celsius", "percentunit", "s", "bytes", "cps", "short", "none"}, unit) {
		list = append(list, fmt.Sprintf("unit %q", unit))
	}
	return list
}

// TestPanelsSayWhatTheyShow holds every panel to a title of its own, a
// sentence and a unit.
func TestPanelsSayWhatTheyShow(t *testing.T) {
	t.Parallel()
	for _, b := range builtBoards(t) {
		titles := map[string]bool{}
		for _, p := range b.panels {
			for _, fault := range dressFaults(p) {
				t.Errorf("%s: panel %q: %s", b.file, *p.Title, fault)
			}
			if titles[*p.Title] {
				t.Errorf("%s: two panels are called %q", b.file, *p.Title)
			}
			titles[*p.Title] = true
		}
	}
	if got := dressFaults(dashboard.Panel{}); len(got) != 3 {
		t.Errorf("faults of an empty panel: %q, want three", got)
	}
}
