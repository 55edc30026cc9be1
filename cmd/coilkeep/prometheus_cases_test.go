package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"go.yaml.in/yaml/v4"
)

// TestEveryAlertIsRaisedEndToEnd compares the alerts in dashboards/rules with
// those that a real Prometheus is waited for to raise. It reads the tests
// instead of running them, so that it holds where there is no Prometheus too;
// that what it reads is also called is for staticcheck to say.
func TestEveryAlertIsRaisedEndToEnd(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob("prometheus_*test.go")
	if err != nil || len(files) == 0 {
		t.Fatalf("no tests with Prometheus: %v", err)
	}
	var cases []string
	for _, name := range files {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		cases = append(cases, alertsAwaited(t, name, string(text))...)
	}
	for _, difference := range differences(alertNames(t), cases) {
		t.Error(difference)
	}
}

// alertNames lists the alerts of all rule files.
func alertNames(t *testing.T) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("..", "..", "dashboards", "rules", "*.yml"))
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, name := range files {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		var file struct {
			Groups []struct{ Rules []struct{ Alert string } }
		}
		if err := yaml.Unmarshal(text, &file); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for _, group := range file.Groups {
			for _, rule := range group.Rules {
				if rule.Alert != "" {
					names = append(names, rule.Alert)
				}
			}
		}
	}
	if len(names) == 0 {
		t.Fatal("no alerts in dashboards/rules")
	}
	return names
}

// alertsAwaited lists the alerts that a file of tests names in calls of
// untilRaised. The text of such a call is "Name bench role design", without
// "Coilkeep" before it.
func alertsAwaited(t *testing.T, name, text string) []string {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), name, text, 0)
	if err != nil {
		t.Fatal(err)
	}
	var list []string
	ast.Inspect(file, func(n ast.Node) bool {
		call, ok := n.(*ast.CallExpr)
		if !ok {
			return true
		}
		if called, ok := call.Fun.(*ast.SelectorExpr); !ok || called.Sel.Name != "untilRaised" {
			return true
		}
		for _, argument := range call.Args {
			literal, ok := argument.(*ast.BasicLit)
			if !ok {
				t.Errorf("%s: untilRaised is called with something that is not spelled out", name)
				continue
			}
			words, err := strconv.Unquote(literal.Value)
			if err != nil {
				t.Fatal(err)
			}
			alert, _, _ := strings.Cut(words, " ")
			list = append(list, "Coilkeep"+alert)
		}
		return true
	})
	return list
}

// differences says which alerts have no case, and which cases no alert.
func differences(alerts, cases []string) []string {
	var list []string
	for _, alert := range alerts {
		if !slices.Contains(cases, alert) {
			list = append(list, alert+": no test with a real Prometheus raises it")
		}
	}
	for _, alert := range cases {
		if !slices.Contains(alerts, alert) {
			list = append(list, alert+": raised in a test, but no such alert is in dashboards/rules")
		}
	}
	return list
}

// TestMissingCasesAreFound makes sure that the comparison can fail.
func TestMissingCasesAreFound(t *testing.T) {
	t.Parallel()
	awaited := alertsAwaited(t, "made up", `package main
func f() { w.untilRaised("Low north probe", "Gone"); w.untilOver("High"); x.y.untilRaised("Late") }`)
	if want := []string{"CoilkeepLow", "CoilkeepGone", "CoilkeepLate"}; !slices.Equal(awaited, want) {
		t.Fatalf("awaited are %q, want %q", awaited, want)
	}
	got := strings.Join(differences([]string{"CoilkeepLow", "CoilkeepHigh", "CoilkeepLate"}, awaited), "; ")
	const want = "CoilkeepHigh: no test with a real Prometheus raises it; " +
		"CoilkeepGone: raised in a test, but no such alert is in dashboards/rules"
	if got != want {
		t.Errorf("differences: %s; want %s", got, want)
	}
}
