package web

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"mime"
	"net/http"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/history"
	"coilkeep/internal/pdftest"
	"coilkeep/internal/record"
)

// windBatch winds batch LM-1: two coils in tolerance, one too high, one
// void, and a new spool.
func (w *testShop) windBatch(t *testing.T) {
	t.Helper()
	w.wind(t)
	w.measure(t, "HN-0001", 6721.4, noon.Add(-50*time.Minute))
	w.measure(t, "HN-0002", 7195, noon.Add(-40*time.Minute))
	if _, err := w.store.ChangeSpool(t.Context(), "LM-1", "S-8", ""); err != nil {
		t.Fatal(err)
	}
	w.measure(t, "HN-0003", 6690, noon.Add(-30*time.Minute))
	void := w.measure(t, "HN-0004", 5000, noon.Add(-20*time.Minute))
	if _, err := w.store.Void(t.Context(), void.ID, "fingers on the clips", "Ada"); err != nil {
		t.Fatal(err)
	}
}

func TestBatchPage(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.windBatch(t)
	w.start(t)
	page := w.page(t, "/batches/LM-1")
	wantText(t, page,
		"Batch LM-1", "Long Meadow , revision 1: 6.69 kΩ at 20 °C, 6.3555 kΩ to 7.0245 kΩ", "winder W1, wound by Ada",
		"Coils 3", "in tolerance 2", "too high 1", "too low 0", "undecided 0",
		// 6721.4, 7195 and 6690 Ω over 1 + 0.00393 · 2.35.
		"Mean R20 6.8059 kΩ +1.73 %", "Lowest to highest 6.6288 kΩ to 7.1292 kΩ",
		"from coil 1 (HN-0001): S-7", "from coil 3 (HN-0003): S-8",
		"HN-0004 too low void fingers on the clips")
	for _, want := range []string{`<tr class="void">`, `class="chart"`, `href="/batches/LM-1/measurements.csv"`} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %s", want)
		}
	}
	// Every coil is one click away, in the table and in the picture.
	coil, err := w.store.Coil(t.Context(), "HN-0003")
	if err != nil {
		t.Fatal(err)
	}
	link := "/coils/HN-0003?measurement=" + coil.Measurements[0].ID
	if got := strings.Count(page, link); got != 3 {
		t.Errorf("got %d links to HN-0003, want one in the table and one in each width of the picture", got)
	}
}

func TestBatchesPageSearchesAndPages(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.windBatch(t)
	for i := range listedBatches {
		_, err := w.store.OpenBatch(t.Context(), record.BatchStart{Name: fmt.Sprintf("X-%02d", i), Bench: fmt.Sprintf("bench-%d", i),
			Design: "Long Meadow", Winder: "treadle"})
		if err != nil {
			t.Fatal(err)
		}
	}
	w.start(t)
	page := w.page(t, "/batches?q=s-8")
	wantText(t, page, "LM-1 open Long Meadow", "3 2 in tolerance 1 too high W1 Ada S-7, S-8")
	wantNoText(t, page, "X-00", "earlier batches")
	wantText(t, w.page(t, "/batches?q=nowhere"), "No batch has “nowhere”")

	page = w.page(t, "/batches")
	if got := strings.Count(page, `href="/batches/`); got != listedBatches {
		t.Errorf("got %d batches on the page, want %d", got, listedBatches)
	}
	wantText(t, page, "earlier batches")
	// All were opened at the same instant, so they come by name; the last one
	// of the first page leads on to the rest.
	page = w.page(t, "/batches?q=&after="+fmt.Sprintf("X-%02d", listedBatches-2))
	wantText(t, page, fmt.Sprintf("X-%02d", listedBatches-1), "latest batches")
	wantNoText(t, page, "X-00")
}

func TestBatchDownloads(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.capture(t, "HN-0001", 6690, noon.Add(-time.Hour))
	void := w.capture(t, "HN-0002", 6000, noon.Add(-50*time.Minute))
	if _, err := w.store.Void(t.Context(), void.ID, "=wrong coil", ""); err != nil {
		t.Fatal(err)
	}
	w.start(t)
	fileName := func(answer reply) string {
		t.Helper()
		disposition, parameters, err := mime.ParseMediaType(answer.header.Get("Content-Disposition"))
		if err != nil || disposition != "attachment" {
			t.Errorf("got disposition %q, %v", answer.header.Get("Content-Disposition"), err)
		}
		return parameters["filename"]
	}

	answer := w.ask(t, "GET", "/batches/LM-1/measurements.csv", nil)
	rows, err := csv.NewReader(bytes.NewReader(answer.body)).ReadAll()
	if err != nil || len(rows) != 3 || rows[2][7] != "HN-0002" || rows[2][15] != "void" || rows[2][16] != "'=wrong coil" {
		t.Errorf("got %d lines, %v, want a heading and 2 measurements, the second one void: %q", len(rows), err, rows)
	}
	if got := fileName(answer); got != "batch LM-1.csv" || answer.header.Get("Content-Type") != "text/csv; charset=utf-8" {
		t.Errorf("got file %q of %q", got, answer.header.Get("Content-Type"))
	}

	answer = w.ask(t, "GET", "/batches/LM-1/measurements.jsonl", nil)
	if got := fileName(answer); got != "batch LM-1.jsonl" {
		t.Errorf("got file %q", got)
	}
	other, err := history.Open(t.Context(), filepath.Join(t.TempDir(), "other.db"), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	imported, err := other.Import(t.Context(), bytes.NewReader(answer.body))
	if err != nil || imported.Measurements != 2 || imported.Batches != 1 {
		t.Errorf("a new history takes in %+v, %v, want both measurements of the batch", imported, err)
	}
}

func TestLabels(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.windBatch(t)
	w.start(t)
	for _, c := range []struct {
		path, name string
		pages      int
		serials    []string
	}{
		{"/batches/LM-1/labels.pdf", "labels of LM-1.pdf", 1, []string{"HN-0001", "HN-0003"}},
		{"/batches/LM-1/labels.pdf?which=all&paper=letter", "labels of LM-1.pdf", 1, []string{"HN-0001", "HN-0002", "HN-0003"}},
		{"/batches/LM-1/labels.pdf?paper=single&width_mm=50&height_mm=25", "labels of LM-1.pdf", 2, []string{"HN-0001", "HN-0003"}},
		{"/batches/LM-1/labels.pdf?skip=23", "labels of LM-1.pdf", 2, []string{"HN-0001", "HN-0003"}},
		{"/coils/HN-0002/label.pdf?paper=single", "label HN-0002.pdf", 1, []string{"HN-0002"}},
	} {
		t.Run(c.path, func(t *testing.T) {
			answer := w.ask(t, "GET", c.path, nil)
			if answer.status != http.StatusOK || answer.header.Get("Content-Type") != pdfType {
				t.Fatalf("got status %d, %s: %s", answer.status, answer.header.Get("Content-Type"), answer.body)
			}
			if got := answer.header.Get("Content-Disposition"); got != `attachment; filename="`+c.name+`"` {
				t.Errorf("got disposition %s, want %s", got, c.name)
			}
			var serials []string
			pages := pdftest.Pages(t, answer.body)
			for _, page := range pages {
				for _, text := range page {
					if strings.HasPrefix(text, "HN-") {
						serials = append(serials, text)
					}
				}
			}
			if len(pages) != c.pages || strings.Join(serials, " ") != strings.Join(c.serials, " ") {
				t.Errorf("got %q on %d pages, want %q on %d", serials, len(pages), c.serials, c.pages)
			}
		})
	}
	answer := w.ask(t, "GET", "/coils/HN-0004/label.pdf", nil)
	if answer.status != http.StatusConflict {
		t.Errorf("a void coil: got status %d, want %d", answer.status, http.StatusConflict)
	}
	wantText(t, string(answer.body), "fingers on the clips")
}

// A batch that was closed by mistake is opened again from its page, and only then.
func TestReopenBatchByForm(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	const button = "Closed by mistake? Open it again"
	wantNoText(t, w.page(t, "/batches/LM-1"), button)
	if answer := w.fill(t, "/batches/LM-1/reopen", url.Values{}); answer.status != http.StatusConflict {
		t.Errorf("an open batch reopened: got status %d, want %d", answer.status, http.StatusConflict)
	}
	if _, err := w.store.CloseBatch(t.Context(), "LM-1", "Ada"); err != nil {
		t.Fatal(err)
	}
	wantText(t, w.page(t, "/batches/LM-1"), button)
	answer := w.fill(t, "/batches/LM-1/reopen", url.Values{})
	wantText(t, string(answer.body), "Batch LM-1", "open")
	wantNoText(t, string(answer.body), button)
	if open, err := w.store.OpenBatchOf(t.Context(), "north"); err != nil || open == nil || open.Name != "LM-1" {
		t.Errorf("open at north: %+v, %v", open, err)
	}
}

// Coils of another design are said to be that, on both pages, before anything is said of
// a winder that wanders.
func TestPagesSayThatTheDesignIsWrong(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	other := longMeadow()
	other.Name, other.TargetOhms, other.LowerOhms, other.UpperOhms = "Short Lane", 7400, 7300, 7500
	if _, err := w.store.AddDesign(t.Context(), other, ""); err != nil {
		t.Fatal(err)
	}
	w.start(t)
	const says = "The last 3 coils miss Long Meadow, 6.69 kΩ: they fit Short Lane, 7.4 kΩ. Is the batch of the right design?"
	for i, ohms := range []float64{7390, 7410, 7400} {
		for _, path := range []string{"/", "/batches/LM-1"} {
			wantNoText(t, w.page(t, path), "coils miss")
		}
		w.measure(t, fmt.Sprintf("HN-%04d", i+1), ohms, noon.Add(time.Duration(i-30)*time.Minute))
	}
	for _, path := range []string{"/", "/batches/LM-1"} {
		wantText(t, w.page(t, path), says)
	}
}
