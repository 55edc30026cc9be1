package web

import (
	"net/http"
	"strings"
	"testing"

	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
	"coilkeep/internal/conformity"
	"coilkeep/internal/record"
)

// TestPageHoldsWhatWasNotRecorded has each such coil stay on the page, the one
// asked about first, by shape and word, with what can be answered.
func TestPageHoldsWhatWasNotRecorded(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	lost := func(id, serial string, asked bool) bench.Unrecorded {
		return bench.Unrecorded{ID: id, Time: noon, Serial: serial, Stage: "wound", Refusal: "too-short",
			Words: "it came off before the readings were steady", Asked: asked}
	}
	w.north.set(func(s *bench.Snapshot) {
		s.State = capture.Waiting
		s.Words = "HN-0042 was not recorded: it came off before the readings were steady. Is this HN-0042 again, or the next one?"
		s.Unrecorded = []bench.Unrecorded{lost("a", "HN-0043", false), lost("b", "HN-0042", true), lost("c", "", false),
			lost("d", "HN-0040", false), lost("e", "HN-0039", false)}
	})
	w.start(t)
	for _, path := range []string{"/", "/benches/north/panel"} {
		page := w.page(t, path)
		wantText(t, "<main>"+page, "HN-0042 was not recorded: it came off before the readings were steady", "This is HN-0042 again 1",
			"This is the next coil 2", "Dismiss D",
			"HN-0043 was not recorded", "A coil was not recorded", "2 more were not recorded", "HN-0039 was not recorded",
			"Waiting: is this HN-0042 again, or the next one?")
		if got := strings.Count(page, "This is the next coil"); got != 1 {
			t.Errorf("%s: %d coils are asked about, want 1", path, got)
		}
		if strings.Index(page, "This is HN-0042 again") > strings.Index(page, "This is HN-0043 again") {
			t.Errorf("%s: the coil asked about is not the first", path)
		}
		if got := strings.Count(page, `<use href="#shape-unrecorded"/>`); got != 5 {
			t.Errorf("%s: %d shapes for 5 coils", path, got)
		}
	}
	if page := w.page(t, "/"); !strings.Contains(page, `id="shape-unrecorded"`) || !strings.Contains(page, `id="shape-changed"`) {
		t.Error("the page lacks a shape")
	}
	w.north.set(func(s *bench.Snapshot) { s.Unrecorded = nil })
	wantNoText(t, "<main>"+w.page(t, "/benches/north/panel"), "This is the next coil", "more were")
}

func TestPageSaysThatAVerdictChanged(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.north.set(func(s *bench.Snapshot) {
		s.Changed = &bench.VerdictChange{Bench: "north", Serial: "HN-0007", From: conformity.In, To: conformity.High}
	})
	w.start(t)
	wantText(t, w.page(t, "/"), "The verdict of HN-0007 changed while it stayed on: in tolerance → too high")
}

// TestLongerIsOneCoil has a coil that stayed on the clips be one row of the lists,
// and both of its results stand on its own page.
func TestLongerIsOneCoil(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	first := w.capture(t, "HN-0001", 6690, noon.Add(-2*60e9))
	better, readings, err := w.store.Measurement(t.Context(), first.ID)
	if err != nil {
		t.Fatal(err)
	}
	better.ID, better.Supersedes, better.Reason, better.Time = "", first.ID, record.MeasuredLonger, noon.Add(-60e9)
	if better, err = w.store.Record(t.Context(), better, readings); err != nil {
		t.Fatal(err)
	}
	w.start(t)
	for _, path := range []string{"/benches/north/run", "/batches/LM-1"} {
		page := w.page(t, path)
		if got := strings.Count(page, measurementPath(first)); got != 0 {
			t.Errorf("%s shows the first result of a coil that was measured better, %d times", path, got)
		}
		if !strings.Contains(page, measurementPath(better)) {
			t.Errorf("%s lacks the better result", path)
		}
	}
	wantText(t, w.page(t, "/coils/HN-0001"), "All 2 measurements of this coil",
		"measured longer on the same contact: the coil stayed on the clips, and this is the better of its two results")
	wantText(t, w.page(t, measurementPath(first)), "This measurement is replaced: measured longer on the same contact", "In its place stands")
	script := w.ask(t, "GET", "/assets/numbers.js", nil)
	if script.status != http.StatusOK || !strings.Contains(string(script.body), record.MeasuredLonger) {
		t.Error("the script of the page does not know a better result when it comes")
	}
}
