package web

import (
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/record"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
)

func TestNote(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	const path = "/api/v1/benches/north/note"
	if got := want[record.JournalEntry](t, w.ask(t, "POST", path, `{"note":"new felt"}`), http.StatusCreated); got.Subject != "north" {
		t.Errorf("without a batch the note is about %q, want north", got.Subject)
	}
	w.wind(t)
	if got := want[record.JournalEntry](t, w.ask(t, "POST", path, `{"note":" new felt "}`), http.StatusCreated); got.Subject != "LM-1" ||
		got.Detail != "new felt" {
		t.Errorf("with a batch the note is %q about %q, want new felt about LM-1", got.Detail, got.Subject)
	}
	as := func(r *http.Request) { r.SetBasicAuth("Ada", "") }
	got := want[record.JournalEntry](t, w.ask(t, "POST", path, `{"note":"dented","subject":"HN-0001"}`, as), http.StatusCreated)
	if got.Subject != "HN-0001" || got.Who != "Ada" || got.Action != api.NoteAction || got.Bench != "north" {
		t.Errorf("got %+v", got)
	}
	for _, body := range []string{`{"note":"  "}`, `{}`} {
		if problem := want[problem.Details](t, w.ask(t, "POST", path, body), http.StatusUnprocessableEntity); problem.Field != "note" {
			t.Errorf("%s: the problem lies in %q, want note", body, problem.Field)
		}
	}
	kept, err := w.store.Journal(t.Context(), record.JournalFilter{Action: api.NoteAction})
	if err != nil || len(kept) != 3 {
		t.Errorf("%d notes are kept, want 3 (%v)", len(kept), err)
	}
	if page := w.page(t, "/benches/north/run"); strings.Count(page, "new felt") != 2 ||
		!strings.Contains(page, "dented <small>HN-0001, Ada</small>") {
		t.Errorf("the notes are not shown:\n%s", page)
	}
}

// TestRunOfABatch has the batch so far be summed up and drawn as wide as asked.
func TestRunOfABatch(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	if page := w.page(t, "/benches/north/run"); !strings.Contains(page, "No coil of this batch has been measured yet.") {
		t.Errorf("an empty batch is not said to be so:\n%s", page)
	}
	w.measure(t, "HN-0001", 6721.4, noon)
	w.measure(t, "HN-0002", 6741.4, noon.Add(time.Minute))
	page := w.page(t, "/benches/north/run?width=500")
	// The R20 of 6721.4 Ω and 6741.4 Ω at 22.35 °C, α20 0.00393 /K: 6659.89 Ω and
	// 6679.71 Ω (IEC 60028); their mean and half their difference times √2.
	for _, text := range []string{"2 coils, mean <b>6.6698 kΩ</b>, standard deviation <b>14 Ω</b>", `width="500"`} {
		if !strings.Contains(page, text) {
			t.Errorf("the run lacks %q:\n%s", text, page)
		}
	}
	if got := len(regexp.MustCompile(`<a class="point" href="/coils/HN-000[12]\?`).FindAllString(page, -1)); got != 2 {
		t.Errorf("got %d points that lead to coils, want 2", got)
	}
	for _, width := range []string{"0", "-3", "wide", "1e3"} {
		answer := w.ask(t, "GET", "/benches/north/run?width="+width, nil)
		if got := want[problem.Details](t, answer, http.StatusUnprocessableEntity); got.Field != "width" {
			t.Errorf("width %s: the problem lies in %q", width, got.Field)
		}
	}
	want[problem.Details](t, w.ask(t, "GET", "/benches/south/run", nil), http.StatusNotFound)
}

// TestOverview has several benches share the first page, each with one of its
// own.
func TestOverview(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	south := &settableBench{store: w.store, snapshot: idle("south")}
	w.Benches = append(w.Benches, south)
	w.start(t)
	page := w.page(t, "/")
	for _, text := range []string{`<a href="/benches/north">north</a>`, `<a href="/benches/south">south</a>`, "<h1>Benches</h1>",
		"Three steps"} {
		if !strings.Contains(page, text) {
			t.Errorf("the overview lacks %q", text)
		}
	}
	if strings.Contains(page, `id="do-void"`) {
		t.Error("the overview has the actions of a bench")
	}
	if page := w.page(t, "/benches/south"); !strings.Contains(page, "<h1>Bench south</h1>") || strings.Contains(page, "north") {
		t.Error("the page of bench south is not its own")
	}
	if got := w.ask(t, "GET", "/benches/east", nil).status; got != http.StatusNotFound {
		t.Errorf("a bench that is not there: got status %d, want %d", got, http.StatusNotFound)
	}
}

// TestPageOfAVoidCoil has a coil that was recorded and is void have no verdict.
func TestPageOfAVoidCoil(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	m := w.measure(t, "HN-0001", 6721.4, noon)
	w.start(t)
	w.north.set(func(s *bench.Snapshot) { s.State = "recorded" })
	if panel := w.page(t, "/benches/north/panel"); !strings.Contains(panel, "<b>in tolerance</b>") {
		t.Error("the verdict of the recorded coil is not shown")
	}
	withdrawn, err := w.store.Void(t.Context(), m.ID, "wrong coil", "")
	if err != nil {
		t.Fatal(err)
	}
	w.north.set(func(s *bench.Snapshot) { s.Last = &withdrawn })
	if panel := w.page(t, "/benches/north/panel"); strings.Contains(panel, "in tolerance") {
		t.Error("the verdict of a void measurement stands")
	}
}

// BenchmarkBenchPage compares the page of a bench with the bare queries behind
// it.
func BenchmarkBenchPage(b *testing.B) {
	w := newWorkshop(b)
	w.wind(b)
	for i := range 150 {
		w.measure(b, "HN-"+string(rune('a'+i/26))+string(rune('a'+i%26)), 6700+float64(i), noon.Add(time.Duration(i)*time.Second))
	}
	w.start(b)
	b.Run("page", func(b *testing.B) {
		for b.Loop() {
			response, err := http.Get(w.url + "/benches/north")
			if err != nil {
				b.Fatal(err)
			}
			response.Body.Close()
		}
	})
	b.Run("queries", func(b *testing.B) {
		for b.Loop() {
			if _, _, err := w.store.Measurements(b.Context(), record.Filter{Batch: "LM-1", Newest: true, Limit: chartedMeasurements}); err != nil {
				b.Fatal(err)
			}
		}
	})
}
