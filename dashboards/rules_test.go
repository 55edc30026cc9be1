package dashboards

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"go.yaml.in/yaml/v4"
)

const (
	recordingFile = "rules/recording.yml"
	alertsFile    = "rules/alerts.yml"
)

// rule is one recording or alert rule.
type rule struct {
	Record, Alert, Expr, For string
	Labels, Annotations      map[string]string
}

func (r rule) name() string { return r.Record + r.Alert }

// readRules returns the rules of a file in order.
func readRules(t *testing.T, name string) []rule {
	t.Helper()
	var file struct {
		Groups []struct{ Rules []rule }
	}
	readYAML(t, name, &file)
	var rules []rule
	for _, group := range file.Groups {
		rules = append(rules, group.Rules...)
	}
	if len(rules) == 0 {
		t.Fatalf("%s holds no rules", name)
	}
	return rules
}

func readYAML(t *testing.T, name string, into any) {
	t.Helper()
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := yaml.Unmarshal(text, into); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

// recordedNames lists what the recording rules record.
func recordedNames(t *testing.T) []string {
	t.Helper()
	var names []string
	for _, r := range readRules(t, recordingFile) {
		names = append(names, r.Record)
	}
	return names
}

// promtool runs Prometheus's own checker. It is skipped where there is none,
// but for CI.
func promtool(t *testing.T, args ...string) {
	t.Helper()
	program, err := exec.LookPath("promtool")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("promtool is not installed; .ci/run installs it")
		}
		t.Skip("promtool is not installed: apt-get install prometheus")
	}
	if out, err := exec.CommandContext(t.Context(), program, args...).CombinedOutput(); err != nil {
		t.Errorf("promtool %s: %v\n%s", strings.Join(args, " "), err, out)
	}
}

func ruleTests(t *testing.T) []string {
	t.Helper()
	files, err := filepath.Glob("tests/*.yml")
	if err != nil || len(files) == 0 {
		t.Fatalf("no rule tests: %v", err)
	}
	return files
}

func TestPromtool(t *testing.T) {
	t.Parallel()
	for name, args := range map[string][]string{
		"configuration": {"check", "config", "prometheus.yml"},
		"rules":         {"check", "rules", "--lint=all", "--lint-fatal", recordingFile, alertsFile},
		"rule tests":    append([]string{"test", "rules"}, ruleTests(t)...),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			promtool(t, args...)
		})
	}
}

// TestRulesReadWhatIsExported compares every name in the rules with what the
// daemon exports.
func TestRulesReadWhatIsExported(t *testing.T) {
	t.Parallel()
	e, recorded := readExported(t), recordedNames(t)
	for _, file := range []string{recordingFile, alertsFile} {
		for _, r := range readRules(t, file) {
			for _, fault := range e.faults(r.Expr, recorded) {
				t.Errorf("%s: %s", r.name(), fault)
			}
		}
	}
}

// TestRecordedIsRead finds recorded series that no alert, dashboard or other
// rule reads.
func TestRecordedIsRead(t *testing.T) {
	t.Parallel()
	var text strings.Builder
	for _, file := range []string{recordingFile, alertsFile} {
		for _, r := range readRules(t, file) {
			text.WriteString(r.Expr + "\n")
		}
	}
	for _, board := range builtBoards(t) {
		for _, q := range board.queries {
			text.WriteString(q.expr + "\n")
		}
	}
	for _, name := range recordedNames(t) {
		if !regexp.MustCompile(name + `\b`).MatchString(text.String()) {
			t.Errorf("nothing reads %s", name)
		}
	}
}

// TestEveryAlertIsExplained holds each alert to its words: a known severity, a
// summary that names what it is about, and a section of the runbook with what
// it means and what to do.
func TestEveryAlertIsExplained(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("runbook.md")
	if err != nil {
		t.Fatal(err)
	}
	sections := map[string]string{}
	for _, section := range strings.Split(string(text), "\n## ")[1:] {
		title, body, _ := strings.Cut(section, "\n")
		sections[title] = body
	}
	for _, a := range readRules(t, alertsFile) {
		if !slices.Contains([]string{"critical", "warning", "info"}, a.Labels["severity"]) {
			t.Errorf("%s: severity %q", a.Alert, a.Labels["severity"])
		}
		if got, want := a.Annotations["runbook"], "runbook.md#"+strings.ToLower(a.Alert); got != want {
			t.Errorf("%s: runbook %q, want %q", a.Alert, got, want)
		}
		for _, key := range []string{"summary", "description"} {
			if len(a.Annotations[key]) < 20 {
				t.Errorf("%s: %s says too little: %q", a.Alert, key, a.Annotations[key])
			}
		}
		body := sections[a.Alert]
		for _, part := range []string{"**At the bench:**", "**What to do:**"} {
			if !strings.Contains(body, part) {
				t.Errorf("runbook.md: the section %s lacks %s", a.Alert, part)
			}
		}
		delete(sections, a.Alert)
	}
	for title := range sections {
		t.Errorf("runbook.md: there is no alert %s", title)
	}
}

// TestEveryAlertIsTested insists on a case in which an alert is raised and one
// in which it is not.
func TestEveryAlertIsTested(t *testing.T) {
	t.Parallel()
	raised, quiet := map[string]bool{}, map[string]bool{}
	for _, name := range ruleTests(t) {
		var file struct {
			Tests []struct {
				Cases []struct {
					Alertname string
					Expected  []any `yaml:"exp_alerts"`
				} `yaml:"alert_rule_test"`
			}
		}
		readYAML(t, name, &file)
		for _, test := range file.Tests {
			for _, c := range test.Cases {
				if len(c.Expected) > 0 {
					raised[c.Alertname] = true
				} else {
					quiet[c.Alertname] = true
				}
			}
		}
	}
	for _, a := range readRules(t, alertsFile) {
		if !raised[a.Alert] || !quiet[a.Alert] {
			t.Errorf("%s: tested to be raised: %t, tested to be quiet: %t; want both", a.Alert, raised[a.Alert], quiet[a.Alert])
		}
	}
}

// writeRules writes queries as recording rules, so that promtool parses them.
func writeRules(t *testing.T, queries []query) string {
	t.Helper()
	type recording struct {
		Record string `yaml:"record"`
		Expr   string `yaml:"expr"`
	}
	type group struct {
		Name  string      `yaml:"name"`
		Rules []recording `yaml:"rules"`
	}
	g := group{Name: "panels"}
	for i, q := range queries {
		g.Rules = append(g.Rules, recording{Record: fmt.Sprintf("panel:query:%d", i), Expr: q.withoutVariables()})
	}
	text, err := yaml.Marshal(map[string]any{"groups": []group{g}})
	if err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "panels.yml")
	if err := os.WriteFile(name, text, 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}
