package web

import (
	"flag"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
	"coilkeep/internal/conformity"
	"coilkeep/internal/web/problem"
)

var update = flag.Bool("update", false, "rewrite the golden pages")

// page fetches a page and checks that it is one.
func (w *testShop) page(t *testing.T, path string) string {
	t.Helper()
	answer := w.ask(t, "GET", path, nil)
	if answer.status != http.StatusOK || answer.header.Get("Content-Type") != "text/html; charset=utf-8" {
		t.Fatalf("%s: got status %d, content type %q: %s", path, answer.status, answer.header.Get("Content-Type"), answer.body)
	}
	return string(answer.body)
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("the page differs from %s; run with -update and read the difference\ngot:\n%s", path, got)
	}
}

// lasting takes out of a page what differs from run to run, and the pictures,
// which their own package tests.
func lasting(page string) string {
	for expression, name := range map[string]string{
		`\d{4}-\d\d-\d\d \d\d:\d\d:\d\d`: "(local time)", `[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}`: "(id)",
		`<svg xmlns.*?</svg>`: "(picture)",
	} {
		page = regexp.MustCompile(`(?s)`+expression).ReplaceAllString(page, name)
	}
	return page
}

// TestPageAtWork holds the whole page while a coil of a batch settles.
func TestPageAtWork(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.measure(t, "HN-0001", 6721.4, noon.Add(-3*time.Minute))
	last := w.measure(t, "HN-0002", 7195.0, noon.Add(-2*time.Minute))
	if _, err := w.store.Void(t.Context(), last.ID, "wrong coil", "Ada"); err != nil {
		t.Fatal(err)
	}
	w.north.set(func(s *bench.Snapshot) {
		ohms, r20, expanded := 6698.12, 6637.25, 32.41
		s.State, s.Words = capture.Settling, "Hands off; filling the window."
		s.ReadingsHave, s.ReadingsWanted = 3, 8
		s.ResistanceOhms, s.R20Ohms, s.ExpandedUncertaintyOhms = &ohms, &r20, &expanded
		s.Probe.Up, s.Probe.Fault = false, "unplugged: is the cable in?"
		s.NextSerial = "HN-0003"
	})
	w.start(t)
	page := w.page(t, "/")
	golden(t, "bench.html", lasting(page))
	for _, path := range []string{"/benches/north/panel", "/benches/north/run"} {
		for _, part := range strings.Split(w.page(t, path), "\n\n") {
			if part = strings.TrimSpace(part); !strings.Contains(page, part) {
				t.Errorf("%s: this is not in the page:\n%s", path, part)
			}
		}
	}
}

func TestPageGreetsANewcomer(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	const greeting = "Three steps to your first measured coil"
	page := w.page(t, "/")
	for _, text := range []string{greeting, "coilkeep design add", "coilkeep batch start --bench north", "Clip a coil on",
		"disconnect the coil from any amplifier", "No coil has been measured on this bench yet", "Heron Lane Coils"} {
		if !strings.Contains(page, text) {
			t.Errorf("the page lacks %q", text)
		}
	}
	if strings.Contains(page, "– done") {
		t.Error("a step is done before anything was")
	}
	w.wind(t)
	if got := strings.Count(w.page(t, "/"), "– done"); got != 2 {
		t.Errorf("got %d steps done, want 2", got)
	}
	w.measure(t, "HN-0001", 6700, noon)
	if strings.Contains(w.page(t, "/"), greeting) {
		t.Error("the greeting stays after the first coil")
	}
}

// TestPageShowsVerdictsByShape has every verdict be said by a word and a
// shape, never by colour alone.
func TestPageShowsVerdictsByShape(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	m := w.measure(t, "HN-0001", 6721.4, noon)
	w.start(t)
	for verdict, words := range map[conformity.Verdict]string{
		conformity.In: "in tolerance", conformity.High: "too high", conformity.Low: "too low", conformity.Undecided: "undecided",
	} {
		m.Verdict = verdict
		w.north.set(func(s *bench.Snapshot) { s.State, s.Last = capture.Recorded, &m })
		page := w.page(t, "/")
		want := fmt.Sprintf(`<use href="#shape-%s"/></svg><b>%s</b>`, verdict, words)
		if !strings.Contains(page, want) {
			t.Errorf("%s: the page lacks %s", verdict, want)
		}
		if !strings.Contains(page, fmt.Sprintf(`id="shape-%s"`, verdict)) {
			t.Errorf("%s: there is no such shape", verdict)
		}
	}
	// The live value goes on moving; the one that was recorded is shown.
	live, expanded := 6000.0, 10.0
	w.north.set(func(s *bench.Snapshot) { s.R20Ohms, s.ExpandedUncertaintyOhms = &live, &expanded })
	if page := w.page(t, "/benches/north/panel"); !strings.Contains(page, `data-live="r20">6.660 <span>± 0.018 kΩ</span><`) {
		t.Errorf("the panel does not show the recorded value:\n%s", page)
	}
	w.north.set(func(s *bench.Snapshot) { s.State = capture.Settling })
	if strings.Contains(w.page(t, "/"), "<b>in tolerance</b>") || strings.Contains(w.page(t, "/"), "<b>undecided</b>") {
		t.Error("the verdict of the last coil stands beside the next one")
	}
	// While nothing is on the clips it stays, large, and says whose it is.
	m.Verdict = conformity.Undecided
	w.north.set(func(s *bench.Snapshot) {
		s.State, s.ResistanceOhms, s.R20Ohms, s.ExpandedUncertaintyOhms = capture.Open, nil, nil, nil
	})
	wantText(t, w.page(t, "/"), "Last coil HN-0001 , at 20 °C 6.660 ± 0.018 kΩ undecided")
}

// TestPageShowsNothingOld has unknown values be a dash.
func TestPageShowsNothingOld(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.north.set(func(s *bench.Snapshot) {
		s.ResistanceOhms, s.TemperatureCelsius, s.R20Ohms = nil, nil, nil
		s.Unsaved = "the disk is full"
	})
	w.start(t)
	panel := w.page(t, "/benches/north/panel")
	for _, name := range []string{"r20", "meter", "probe"} {
		if want := fmt.Sprintf(`data-live="%s">—<`, name); !strings.Contains(panel, want) {
			t.Errorf("the panel lacks %s", want)
		}
	}
	if !strings.Contains(panel, "Not saved yet: the disk is full") {
		t.Error("the panel does not say that the last coil is not saved")
	}
}

// TestPageWithoutHistory has what is on the clips be shown even when the
// history cannot be read.
func TestPageWithoutHistory(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	if err := w.store.Close(); err != nil {
		t.Fatal(err)
	}
	w.start(t)
	page := w.page(t, "/")
	for _, text := range []string{"The history cannot be read", "Clip a coil on.", "22.35 °C"} {
		if !strings.Contains(page, text) {
			t.Errorf("the page lacks %q", text)
		}
	}
	want[problem.Details](t, w.ask(t, "GET", "/api/v1/measurements", nil), http.StatusInternalServerError)
}

// TestPageEscapes has what people and instruments say be shown, not run.
func TestPageEscapes(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	const script = `<script>alert("1")</script>`
	w.Workshop = script
	w.north.set(func(s *bench.Snapshot) {
		s.Words, s.Meter.Identity, s.Probe.Fault, s.NextSerial = script, script, script, script
	})
	w.start(t)
	if strings.Contains(w.page(t, "/"), "<script>alert") {
		t.Error("a script from outside is in the page")
	}
}

func TestPageWithoutBench(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.Benches = nil
	w.start(t)
	if !strings.Contains(w.page(t, "/"), "No bench is configured") {
		t.Error("the page does not say that there is no bench")
	}
}
