package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"coilkeep/driver/simulate"
)

// look sets the width of the window and the theme.
func (b *tab) look(width int64, theme string) {
	b.t.Helper()
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: theme}, {Name: "prefers-reduced-motion", Value: "reduce"}},
	})
	if err != nil {
		b.t.Fatal(err)
	}
	b.do(chromedp.EmulateViewport(width, 800))
}

// inspect looks at a page on a telephone by day and on a laptop by night, and
// with COILKEEP_CI=1 on both by day and by night. The engine, which takes a
// second or two of the processor a look, sees the page in one of them, by turns,
// and in the large form in all.
func (b *tab) inspect(page, engine string, turn int, also ...func(name string)) {
	b.t.Helper()
	appearances := []struct {
		width int64
		theme string
	}{{390, "light"}, {1366, "dark"}, {390, "dark"}, {1366, "light"}}
	large := os.Getenv("COILKEEP_CI") != ""
	if !large {
		appearances = appearances[:2]
	}
	for i, at := range appearances {
		name := fmt.Sprintf("%s, %d wide, %s", page, at.width, at.theme)
		b.look(at.width, at.theme)
		if large || i == turn%len(appearances) {
			b.accessible(name, engine)
		}
		b.fits(name)
		for _, look := range also {
			look(name)
		}
	}
}

// accessible has the engine look at the page by the rules of WCAG 2.2, level A
// and AA.
func (b *tab) accessible(name, engine string) {
	b.t.Helper()
	if !evaluate[bool](b, `typeof axe === "object"`) { // it stays as long as the page
		evaluate[bool](b, engine+"\n;true")
	}
	found := evaluate[struct {
		Passed     int `json:"passed"`
		Violations []struct {
			ID    string `json:"id"`
			Help  string `json:"help"`
			Nodes []struct {
				HTML    string `json:"html"`
				Summary string `json:"failureSummary"`
			} `json:"nodes"`
		} `json:"violations"`
	}](b, `axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"] })
		.then((r) => ({ passed: r.passes.length, violations: r.violations }))`)
	if found.Passed < 10 {
		b.t.Errorf("%s: only %d rules found anything to look at", name, found.Passed)
	}
	for _, v := range found.Violations {
		for _, node := range v.Nodes {
			b.t.Errorf("%s: %s: %s\n%s\n%s", name, v.ID, v.Help, node.HTML, node.Summary)
		}
	}
}

// fits has nothing stick out of the window, and everything that is touched be
// large enough for a finger.
func (b *tab) fits(name string) {
	b.t.Helper()
	if wide := evaluate[int](b, `document.documentElement.scrollWidth - document.documentElement.clientWidth`); wide > 0 {
		b.t.Errorf("%s: the page is %d pixels wider than the window", name, wide)
	}
	small := evaluate[[]string](b, `[...document.querySelectorAll("main button, main input, main select, nav a")]
		.filter((at) => at.checkVisibility())
		.filter((at) => { const r = at.getBoundingClientRect(); return r.height < 44 || r.width < 44; })
		.map((at) => at.outerHTML)`)
	for _, at := range small {
		b.t.Errorf("%s: smaller than 44 pixels: %s", name, at)
	}
}

// clear has the ring about a field that has the keyboard leave its label and its
// hint free, and fields beside each other stand level.
func (b *tab) clear(name string) {
	b.t.Helper()
	covered := evaluate[[]string](b, `[...document.querySelectorAll("label[for]")]
		.map((label) => [label, document.getElementById(label.htmlFor)])
		.filter(([label, field]) => field?.checkVisibility() && label.checkVisibility() && !label.classList.contains("unseen"))
		.filter(([label, field]) => {
			field.focus();
			const { outlineWidth, outlineOffset } = getComputedStyle(field);
			const ring = parseFloat(outlineWidth) + parseFloat(outlineOffset);
			const [of, at] = [label.getBoundingClientRect(), field.getBoundingClientRect()];
			const hint = field.parentElement.querySelector("small")?.getBoundingClientRect();
			return of.bottom > at.top - ring && of.top < at.top && of.right > at.left && of.left < at.right && of.bottom < at.bottom
				|| hint && hint.top < at.bottom + ring && hint.bottom > at.bottom;
		}).map(([label]) => label.textContent)`)
	if len(covered) > 0 {
		b.t.Errorf("%s: the ring of the keyboard covers the words about %q", name, covered)
	}
	uneven := evaluate[[]string](b, `[...document.querySelectorAll(".fields")].filter((at) => at.checkVisibility()).flatMap((at) => {
		const rows = Object.groupBy([...at.children].filter((p) => p.checkVisibility()), (p) => Math.round(p.getBoundingClientRect().top));
		return Object.values(rows).map((row) => row.map((p) => p.querySelector("input, select, textarea")).filter((field) => field))
			.filter((row) => new Set(row.map((field) => Math.round(field.getBoundingClientRect().top))).size > 1)
			.map((row) => row.map((field) => field.name).join(", "));
	})`)
	if len(uneven) > 0 {
		b.t.Errorf("%s: fields beside each other are not level: %q", name, uneven)
	}
}

// TestBrowserPagesAreAccessible looks at the pages of the benches, with a coil
// judged and a question open.
func TestBrowserPagesAreAccessible(t *testing.T) {
	t.Parallel()
	engine := axe(t)
	first, second := rig(), rig()
	_, meter := scpiMeter(t, first)
	_, probe := lineProbe(t, first)
	_, otherMeter := scpiMeter(t, second)
	_, otherProbe := lineProbe(t, second)
	other := strings.NewReplacer(`"north"`, `"south"`, "HN-", "HS-").Replace(benchTOML(otherMeter, otherProbe))
	d := startDaemon(t, t.TempDir(), benchTOML(meter, probe)+"\n"+other)
	d.batch()
	page := openTab(t, d.url, "/benches/north")
	page.openClips()
	first.Attach(simulate.CopperCoil(6650, 21.5))
	page.judged(d, "HN-0001", "in", "in tolerance")
	// The last minute of the meter outlasts a look at another page. With the clips
	// open no value has come since.
	first.Detach()
	page.openClips()
	page.open("/coils")
	page.open("/benches/north")
	page.openClips()
	page.waitText("#strip-range", "kΩ")
	first.Attach(simulate.CopperCoil(6650, 21.5))

	for i, path := range []string{"/benches/north", "/benches/south", "/"} {
		page.open(path)
		page.wait("the connection", `document.body.dataset.link === "live"`)
		page.inspect(path, engine, i)
	}
	page.waitText(`[data-bench="south"] .words`, "no batch is open")
	page.open("/benches/south")
	page.press("#do-again")
	page.waitText("#said", "No batch is open: start one first.")
	page.keys("f")
	page.waitText("#said", "No batch is open: start one first.")
	page.open("/benches/north")
	for _, question := range []string{"do-void", "do-note", "do-spool", "do-batch", "do-force"} {
		page.press("#" + question)
		page.wait("the question", `document.querySelector("dialog[open]")`)
		page.accessible(question, engine)
		page.clear(question)
		page.key("Escape", 27)
		page.wait("it to close", `!document.querySelector("dialog[open]")`)
	}
}

// TestBrowserRecordsAreAccessible looks at the pages of the records, with coils
// that are good, bad and void on them.
func TestBrowserRecordsAreAccessible(t *testing.T) {
	t.Parallel()
	engine := axe(t)
	b := rig()
	_, meter := scpiMeter(t, b)
	_, probe := lineProbe(t, b)
	d := startDaemon(t, t.TempDir(), benchTOML(meter, probe))
	d.batch()
	page := openTab(t, d.url, "/")
	for i, c := range []struct {
		ohms           float64
		verdict, words string
	}{{6650, "in", "in tolerance"}, {7200, "high", "too high"}, {6655, "in", "in tolerance"}} {
		page.openClips()
		b.Attach(simulate.CopperCoil(c.ohms, 21.5))
		page.judged(d, fmt.Sprintf("HN-%04d", i+1), c.verdict, c.words)
		b.Detach()
	}
	kept := d.measurements()
	d.call("POST", "/api/v1/measurements/"+kept[2].ID+"/void", `{"reason":"the clip slipped"}`, http.StatusOK, nil)
	d.call("POST", "/api/v1/benches/north/calibrations", `{"role":"meter","certificate":"EV-7","time":"2019-01-01T00:00:00Z",`+
		`"due_at":"2020-01-01T00:00:00Z"}`, http.StatusCreated, nil)

	batch, design := url.PathEscape(kept[0].Batch), url.PathEscape(kept[0].Design)
	for i, path := range []string{
		"/batches", "/batches/" + batch, "/coils", "/coils?q=today", "/coils/HN-0001", "/coils/HN-0002", "/coils/HN-0003",
		"/winders", "/spools", "/pairs?first=" + url.QueryEscape(kept[0].Batch), "/studies",
		"/studies/spring?parts=2&operators=Ada,Ben&repeats=2&bench=north&design=" + design,
		"/coils/HN-0001/certificate", "/benches/north/rack", "/reevaluate", "/reevaluate?show=1", "/designs", "/designs/" + design,
		"/instruments", "/instruments/north",
		"/instruments/north/recheck?correction=2&instrument=meter:" + url.QueryEscape(kept[0].Meter),
	} {
		page.open(path)
		page.inspect(path, engine, i, page.clear, func(name string) {
			// What matters of a table is seen without moving it sideways.
			if cut := evaluate[[]string](page, `[...document.querySelectorAll(".wide")]
				.filter((at) => at.scrollWidth > at.clientWidth + 1).map((at) => at.ariaLabel)`); len(cut) > 0 {
				t.Errorf("%s: tables are cut off: %q", name, cut)
			}
		})
	}
}

// TestBrowserPrints prints pages from a browser that prefers the dark: the paper
// is light all the same, nothing on it is there to be pressed, and it takes no
// more sheets of A4 (ISO 216) than it must.
func TestBrowserPrints(t *testing.T) {
	t.Parallel()
	b := rig()
	_, meter := scpiMeter(t, b)
	_, probe := lineProbe(t, b)
	d := startDaemon(t, t.TempDir(), benchTOML(meter, probe))
	d.batch()
	page := openTab(t, d.url, "/")
	page.openClips()
	b.Attach(simulate.CopperCoil(6650, 21.5))
	page.judged(d, "HN-0001", "in", "in tolerance")
	page.wait("the chart", `document.querySelector("svg.chart")`)
	_, err := chromedp.Call(page.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Media: "print", Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "dark"}},
	})
	if err != nil {
		t.Fatal(err)
	}
	for path, most := range map[string]int{"/": 2, "/batches/first": 2, "/coils/HN-0001": 2, "/coils/HN-0001/certificate": 2} {
		page.open(path)
		const width, height = 210 / 25.4, 297 / 25.4 // in inches
		printed, err := chromedp.Call(page.ctx, cdppage.PrintToPDF, cdppage.PrintToPDFParams{PaperWidth: width, PaperHeight: height})
		if err != nil {
			t.Fatal(err)
		}
		if sheets := len(regexp.MustCompile(`/Type\s*/Page\b`).FindAll(printed.Data, -1)); sheets < 1 || sheets > most {
			t.Errorf("%s: takes %d sheets, want 1 to %d", path, sheets, most)
		}
		if buttons := evaluate[int](page, `[...document.querySelectorAll("button, input, canvas, nav a")].filter((at) => `+
			`at.checkVisibility()).length`); buttons > 0 {
			t.Errorf("%s: %d things to press are printed", path, buttons)
		}
		// Backgrounds of pictures and ink of texts, as the mean of red, green and blue.
		light := func(of, property string) float64 {
			return evaluate[float64](page, fmt.Sprintf(`(() => {
				const [r, g, b] = getComputedStyle(document.querySelector(%q)).%s.match(/[\d.]+/g).map(Number);
				return (r + g + b) / 3;
			})()`, of, property))
		}
		if ground := light("svg.chart .f-paper", "fill"); ground < 200 {
			t.Errorf("%s: the picture is printed on a ground of %.0f, want light", path, ground)
		}
		if ink := light("main h1", "color"); ink > 150 {
			t.Errorf("%s: the heading is printed with %.0f, want dark", path, ink)
		}
	}
}

// TestAssetsAreSmall adds up what a page fetches once.
func TestAssetsAreSmall(t *testing.T) {
	t.Parallel()
	b := rig()
	_, meter := scpiMeter(t, b)
	_, probe := lineProbe(t, b)
	d := startDaemon(t, t.TempDir(), benchTOML(meter, probe))
	page := openTab(t, d.url, "/")
	page.wait("the connection", `document.body.dataset.link === "live"`)
	assets := evaluate[[]string](page, `performance.getEntriesByType("resource").map((r) => new URL(r.name).pathname).filter((p) => `+
		`p.startsWith("/assets/"))`)
	if len(assets) < 8 {
		t.Fatalf("the page fetches only %q", assets)
	}
	total := 0
	for _, path := range assets {
		response, err := http.Get(d.url + path)
		if err != nil {
			t.Fatal(err)
		}
		content, err := io.ReadAll(response.Body)
		response.Body.Close()
		if err != nil || response.StatusCode != http.StatusOK {
			t.Fatalf("%s: status %d: %v", path, response.StatusCode, err)
		}
		total += len(content)
	}
	list, err := json.Marshal(assets)
	if err != nil {
		t.Fatal(err)
	}
	if t.Logf("%d bytes: %s", total, list); total > 150_000 {
		t.Errorf("the assets of the page are %d bytes, more than 150 000", total)
	}
}
