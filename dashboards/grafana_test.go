package dashboards

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
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
	queries []query
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
			for _, target := range p.Panel.Targets {
				expr, err := exprOf(target)
				if err != nil {
					t.Fatalf("%s: panel %s: %v", b.file, *p.Panel.Title, err)
				}
				whole.queries = append(whole.queries, query{panel: *p.Panel.Title, expr: expr})
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
	}
	promtool(t, "check", "rules", writeRules(t, all))
}
