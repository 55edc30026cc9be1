package dashboards

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// exported is what the daemon exports: the values seen of each label of each
// metric.
type exported map[string]map[string][]string

// readExported reads the scrape that the tests of internal/metrics compare the
// daemon's registry with, so that it is always what the daemon exports.
func readExported(t *testing.T) exported {
	t.Helper()
	file, err := os.Open(filepath.Join("..", "internal", "metrics", "testdata", "scrape.txt"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	// The build's labels are left out of that file.
	var text strings.Builder
	for lines := bufio.NewScanner(file); lines.Scan(); {
		line := lines.Text()
		if strings.HasPrefix(line, "coilkeep_build_info{") {
			line = `coilkeep_build_info{version="",revision="",goversion=""} 1`
		}
		text.WriteString(line + "\n")
	}
	found := exported{}
	for line := range strings.Lines(text.String()) {
		sample := exposed.FindStringSubmatch(line)
		if sample == nil {
			continue
		}
		name := sample[1]
		if found[name] == nil {
			found[name] = map[string][]string{}
		}
		for _, pair := range matcher.FindAllStringSubmatch(sample[2], -1) {
			found[name][pair[1]] = append(found[name][pair[1]], pair[3])
		}
		if strings.HasSuffix(name, "_bucket") {
			found[name]["le"] = nil // whichever limit
		}
	}
	if len(found) < 15 {
		t.Fatalf("only %d metrics in the scrape", len(found))
	}
	return found
}

var (
	// exposed is a sample in the text format of Prometheus: a name and labels.
	exposed  = regexp.MustCompile(`^(coilkeep_[a-z0-9_]+)(?:\{(.*)\})? `)
	selector = regexp.MustCompile(`([a-z_]+:)?coilkeep_[a-z0-9_]+(:[a-z0-9_]+)?(\{[^}]*\})?`)
	matcher  = regexp.MustCompile(`([a-z_]+)(=~|!~|!=|=)"([^"]*)"`)
	// named are labels whose values people choose; instance and job are
	// Prometheus's own.
	named = []string{"bench", "design", "job", "instance"}
)

// faults says what is wrong with expr: a metric, a label or a label's value
// that neither the daemon exports nor a rule records.
func (e exported) faults(expr string, recorded []string) []string {
	var list []string
	for _, found := range selector.FindAllString(expr, -1) {
		name, matchers, _ := strings.Cut(found, "{")
		if strings.Contains(name, ":") {
			if !slices.Contains(recorded, name) {
				list = append(list, "no rule records "+name)
			}
			continue
		}
		labels, ok := e[name]
		if !ok {
			list = append(list, "the daemon does not export "+name)
			continue
		}
		for _, m := range matcher.FindAllStringSubmatch(matchers, -1) {
			label, value := m[1], m[3]
			seen, ok := labels[label]
			if !ok && label != "job" && label != "instance" {
				list = append(list, fmt.Sprintf("%s has no label %s", name, label))
			}
			if slices.Contains(named, label) || len(seen) == 0 {
				continue
			}
			for word := range strings.SplitSeq(value, "|") {
				if !slices.Contains(seen, word) {
					list = append(list, fmt.Sprintf("%s of %s is never %s", label, name, word))
				}
			}
		}
	}
	return list
}

// TestFaultsAreFound makes sure that the check of names can fail.
func TestFaultsAreFound(t *testing.T) {
	t.Parallel()
	e := readExported(t)
	for expr, want := range map[string]string{
		`coilkeep_no_such_thing`:                                     "the daemon does not export coilkeep_no_such_thing",
		`rate(coilkeep_instrument_readings_total{kind="ok"}[5m])`:    "coilkeep_instrument_readings_total has no label kind",
		`coilkeep_measurements_total{verdict=~"high|lowish"}`:        "verdict of coilkeep_measurements_total is never lowish",
		`2 * bench:coilkeep_never:recorded{bench="north"}`:           "no rule records bench:coilkeep_never:recorded",
		`coilkeep_history_write_seconds_bucket{bench="north"}`:       "coilkeep_history_write_seconds_bucket has no label bench",
		`coilkeep_instrument_up{bench="anywhere",role="meter"} == 0`: "",
	} {
		if got := strings.Join(e.faults(expr, nil), "; "); got != want {
			t.Errorf("faults of %s: %q, want %q", expr, got, want)
		}
	}
}
