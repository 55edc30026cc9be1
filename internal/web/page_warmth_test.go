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

// atWork is a bench with R20 of 10 kΩ known within so many percent, and what that
// will be in ten seconds; 0 is not known.
func atWork(percent, ahead float64) bench.Snapshot {
	s := bench.Snapshot{AheadSeconds: capture.Ahead.Seconds()}
	if percent != 0 {
		ohms, expanded := 10000.0, 100*percent
		s.R20Ohms, s.ExpandedUncertaintyOhms = &ohms, &expanded
	}
	if ahead != 0 {
		s.AheadPercent = &ahead
	}
	return s
}

func TestGainWords(t *testing.T) {
	t.Parallel()
	recorded := &record.Measurement{R20Ohms: 10000, ExpandedUncertaintyOhms: 41}
	for _, c := range []struct {
		name           string
		percent, ahead float64
		recorded       *record.Measurement
		want           string
	}{
		{"nothing is known", 0, 0, nil, ""},
		{"and nothing of what comes", 0.41, 0, nil, "± 0.41 %"},
		{"it gets better", 0.41, 0.30, nil, "± 0.41 % now, in 10 s ± 0.30 %"},
		{"by a tenth and no more", 0.40, 0.37, nil, "± 0.40 %"},
		{"it would get worse", 0.40, 0.50, nil, "± 0.40 %"},
		{"large", 12.3, 3.1, nil, "± 12 % now, in 10 s ± 3.1 %"},
		{"recorded, and nothing is gained", 0.41, 0.40, recorded, ""},
		{"recorded, nothing known of what is on", 0, 0, recorded, ""},
		{"recorded, better soon", 0.40, 0.28, recorded, "recorded; leaving it on makes it better: ± 0.41 % → ± 0.28 % in 10 s"},
		{"recorded, better now", 0.30, 0.29, recorded, "recorded; leaving it on makes it better: ± 0.41 % → ± 0.30 % now"},
		{"recorded, better now and soon", 0.33, 0.28, recorded, "recorded; leaving it on makes it better: ± 0.41 % → ± 0.33 % now, ± 0.28 % " +
			"in 10 s"},
	} {
		if got := gainWords(atWork(c.percent, c.ahead), c.recorded); got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
}

// A difference of temperature is never said without how well it is known.
func TestCopperWords(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		difference, halfWidth float64
		want                  string
	}{
		{4.2, 2.9, "copper about 4.2 K ± 2.9 K above the probe"},
		{-4.2, 2.9, "copper about 4.2 K ± 2.9 K below the probe"},
		{0.04, 0.5, "copper as warm as the probe, ± 0.5 K"},
		{-0.04, 0.02, "copper as warm as the probe, ± 0.1 K"},
		{27.4, 11.6, "copper about 27 K ± 12 K above the probe"},
	} {
		s := bench.Snapshot{DifferenceKelvin: &c.difference, DifferenceHalfWidthKelvin: &c.halfWidth}
		if got := copperWords(s); got != c.want {
			t.Errorf("%g ± %g K: got %q, want %q", c.difference, c.halfWidth, got, c.want)
		}
		s.DifferenceHalfWidthKelvin = nil
		if got := copperWords(s); got != "" {
			t.Errorf("%g K with nobody knowing how well: got %q", c.difference, got)
		}
	}
}

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
