package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"coilkeep/internal/drift"
)

// stepCSV writes 70 invented coils, 1.2 % higher from the 41st on, where the
// spool changes (seeded), and returns the file.
func stepCSV(t *testing.T) string {
	t.Helper()
	random := rand.New(rand.NewPCG(1, 2))
	var text strings.Builder
	text.WriteString("sequence,serial,r20_ohms,spool\n")
	for i := 1; i <= 70; i++ {
		ohms, spool := 6690.0, "S-17"
		if i > 40 {
			ohms, spool = 6690*1.012, "S-18"
		}
		fmt.Fprintf(&text, "%d,HN-%04d,%.1f,%s\n", i, i, ohms+20*random.NormFloat64(), spool)
	}
	path := filepath.Join(t.TempDir(), "coils.csv")
	if err := os.WriteFile(path, []byte(text.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestDriftOfFile(t *testing.T) {
	path := stepCSV(t)
	text := ok(t, "drift", "--file", path, "--target", "6.69k", "--tolerance-percent", "3", "--turns", "8000")
	golden(t, filepath.Join("records", "drift.txt"), text)
	var report drift.Report
	fromJSON(t, ok(t, "drift", "--file", path, "--target", "6.69k", "--tolerance-percent", "3", "--json", "--baseline", "30"), &report)
	if len(report.ChangePoints) != 1 || report.ChangePoints[0].LastBefore != 40 || report.Attribution[0].Cause != "spool" ||
		report.Baseline.Count != 30 {
		t.Errorf("changes %+v, causes %+v, baseline %+v", report.ChangePoints, report.Attribution, report.Baseline)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	piped := startWith(t, string(data), "drift", "--file", "-", "--target", "6.69k", "--tolerance-percent", "3", "--turns", "8000")
	if piped.stdout != text {
		t.Errorf("standard input gives\n%s%s", piped.stdout, piped.stderr)
	}
	none := ok(t, "drift", "--file", path, "--rules", "none", "--json")
	fromJSON(t, none, &report)
	if len(report.Rules) != 0 {
		t.Errorf("rules fire though none are wanted: %v", report.Rules)
	}
}

func TestDriftOfRecords(t *testing.T) {
	w := newWorkshop(t)
	random := rand.New(rand.NewPCG(3, 4))
	resistances := make([]float64, 15)
	for i := range resistances {
		resistances[i] = 6690 + 10*random.NormFloat64()
	}
	w.fill(t, resistances...)
	var batch, winder drift.Report
	fromJSON(t, w.ok(t, "drift", "--batch", "spring-3", "--json"), &batch)
	fromJSON(t, w.ok(t, "drift", "--winder", "W2", "--json"), &winder)
	if len(batch.Points) != 15 || batch.Target == nil || *batch.Target != 6690 || batch.Points[3].Spool != "S-17" ||
		batch.Points[3].ExpandedUncertaintyOhms == nil {
		t.Errorf("batch: %d points, target %v, the fourth %+v", len(batch.Points), batch.Target, batch.Points[3])
	}
	if batch.Summary != winder.Summary {
		t.Errorf("the batch says %q, its winder %q", batch.Summary, winder.Summary)
	}
	w.ok(t, "coil", "void", "HN-0002", "--reason", "dropped", "--who", "Mira")
	fromJSON(t, w.ok(t, "drift", "--batch", "spring-3", "--json"), &batch)
	if len(batch.Points) != 14 || slices.ContainsFunc(batch.Points, func(p drift.Point) bool { return p.Serial == "HN-0002" }) {
		t.Errorf("%d points, want 14 without the one withdrawn", len(batch.Points))
	}
	if got := w.refused(t, exitFault, "drift", "--batch", "spring-9"); !strings.Contains(got, "spring-9") {
		t.Errorf("an unknown batch: %s", got)
	}
	if got := w.refused(t, exitFault, "drift", "--winder", "W9"); !strings.Contains(got, "winder W9: no measured coils") {
		t.Errorf("an unknown winder: %s", got)
	}
}

func TestDriftDraws(t *testing.T) {
	w := newWorkshop(t)
	random := rand.New(rand.NewPCG(3, 4))
	resistances := make([]float64, 24)
	for i := range resistances {
		resistances[i] = 6690 + 10*random.NormFloat64()
	}
	w.fill(t, resistances...)
	folder := t.TempDir()
	svg, pdf := filepath.Join(folder, "run.svg"), filepath.Join(folder, "run.pdf")
	w.ok(t, "drift", "--batch", "spring-3", "--svg", svg, "--pdf", pdf)
	for path, want := range map[string]string{svg: "24 in tolerance", pdf: "%PDF-"} {
		content, err := os.ReadFile(path)
		if err != nil || !strings.Contains(string(content), want) {
			t.Errorf("%s: %v, %d bytes without %q", path, err, len(content), want)
		}
	}
	got := w.ok(t, "drift", "--batch", "spring-3", "--freeze", "new felt", "--from", "5", "--baseline", "12", "--who", "Mira")
	if !strings.Contains(got, "12 coils, HN-0005 to HN-0016") {
		t.Errorf("kept\n%s", got)
	}
	if got = w.ok(t, "drift", "--batch", "spring-3"); !strings.Contains(got, "12 coils, kept from before") {
		t.Errorf("the baseline does not count:\n%s", got)
	}
	if got = w.ok(t, "drift", "--batch", "spring-3", "--baseline", "15"); strings.Contains(got, "kept from before") {
		t.Errorf("--baseline does not win:\n%s", got)
	}
	if got = w.refused(t, exitFault, "drift", "--batch", "spring-3", "--freeze", "x", "--from", "20", "--baseline",
		"12"); !strings.Contains(got, "has 5 coils from number 20 on, not 12") {
		t.Errorf("too few: %s", got)
	}
	if got = w.refused(t, exitFault, "drift", "--batch", "spring-3", "--svg",
		filepath.Join(folder, "none", "run.svg")); !strings.Contains(got, "run.svg") {
		t.Errorf("no folder: %s", got)
	}
	csv := stepCSV(t)
	if got := start(t, "drift", "--file", csv, "--svg", svg); got.code != exitFault || !strings.Contains(got.stderr, "--overwrite it") {
		t.Errorf("a file that is there: exit %d, %s", got.code, got.stderr)
	}
	ok(t, "drift", "--file", csv, "--target", "6.69k", "--tolerance-percent", "3", "--svg", svg, "--pdf", pdf, "--overwrite")
}

func TestDriftRefuses(t *testing.T) {
	bad := filepath.Join(t.TempDir(), "bad.csv")
	if err := os.WriteFile(bad, []byte("r20_ohms\n6690\nsix thousand\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	good := stepCSV(t)
	for name, tt := range map[string]struct {
		code int
		says string
		args []string
	}{
		"no coils":       {exitUsage, "which coils?", nil},
		"two sources":    {exitUsage, "give one of them", []string{"--batch", "a", "--winder", "b"}},
		"stray design":   {exitUsage, "goes with --winder", []string{"--batch", "a", "--design", "b"}},
		"no target":      {exitUsage, "say --target", []string{"--file", good, "--tolerance-percent", "3"}},
		"bad target":     {exitUsage, "--target", []string{"--file", good, "--target", "six"}},
		"bad tolerance":  {exitUsage, "--tolerance-percent -3", []string{"--file", good, "--target", "6690", "--tolerance-percent", "-3"}},
		"bad rules":      {exitUsage, "--rules", []string{"--file", good, "--rules", "WE9"}},
		"bad turns":      {exitUsage, "--turns", []string{"--file", good, "--turns", "0"}},
		"freeze alone":   {exitUsage, "--freeze goes with --batch", []string{"--file", good, "--freeze", "x"}},
		"freeze no word": {exitUsage, "say it in words", []string{"--batch", "a", "--freeze", " "}},
		"stray from":     {exitUsage, "go with --freeze", []string{"--batch", "a", "--from", "3"}},
		"freeze and svg": {exitUsage, "draws nothing", []string{"--batch", "a", "--freeze", "x", "--svg", "y"}},
		"with database":  {exitUsage, "needs no database", []string{"--file", good, "--history", "coils.db"}},
		"short baseline": {exitFault, "takes 10 at least", []string{"--file", good, "--baseline", "5"}},
		"bad line":       {exitFault, `bad.csv: no drift analysis from this: line 3, column r20_ohms: "six thousand"`, []string{"--file", bad}},
		"no file":        {exitFault, "read the coils", []string{"--file", filepath.Join(t.TempDir(), "none.csv")}},
	} {
		t.Run(name, func(t *testing.T) {
			got := start(t, append([]string{"drift"}, tt.args...)...)
			if got.code != tt.code || !strings.Contains(got.stderr, tt.says) || got.stdout != "" {
				t.Errorf("exit %d, want %d; %q lacks %q; printed %q", got.code, tt.code, got.stderr, tt.says, got.stdout)
			}
		})
	}
}

// Of more coils than can be looked at in time the newest are, and it is said.
func TestNewestCoilsOfAFile(t *testing.T) {
	coils := []drift.Coil{{Sequence: 1}, {Sequence: 2}, {Sequence: 3}}
	if got, more := newest(coils, 3); len(got) != 3 || more {
		t.Errorf("of 3: %v, %v", got, more)
	}
	if got, more := newest(coils, 2); len(got) != 2 || got[0].Sequence != 2 || !more {
		t.Errorf("of 2: %v, %v", got, more)
	}
}
