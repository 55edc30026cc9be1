package main

import (
	"fmt"
	"math"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"coilkeep/driver/simulate"
	"coilkeep/internal/capture"
	"coilkeep/internal/record"
)

// openClips are what the page says when a coil may come.
func (b *tab) openClips() {
	b.t.Helper()
	b.waitText(".words", "clips open")
}

// judged waits for the verdict of a coil and checks the number beside it
// against the record.
func (b *tab) judged(d *testDaemon, serial, verdict, words string) record.Measurement {
	b.t.Helper()
	b.wait("coil "+serial+" to be "+words, fmt.Sprintf(`document.querySelector("[data-state=recorded] p.band.%s b")?.textContent === %q &&
		document.querySelector(".which b")?.textContent === %q`, verdict, words, serial))
	list := d.measurements()
	m := list[len(list)-1]
	shown := strings.Fields(evaluate[string](b, `document.querySelector("[data-live=r20]").textContent`))
	value, err := strconv.ParseFloat(shown[0], 64)
	_, places, _ := strings.Cut(shown[0], ".")
	if err != nil || len(shown) != 4 || shown[3] != "kΩ" ||
		math.Abs(value*1000-m.R20Ohms) > 0.5001*math.Pow(10, 3-float64(len(places))) {
		b.t.Errorf("the page shows %q for %.3f Ω", shown, m.R20Ohms)
	}
	if m.Serial != serial || string(m.Verdict) != verdict {
		b.t.Errorf("the record says %s is %s, the page that %s is %s", m.Serial, m.Verdict, serial, verdict)
	}
	return m
}

func TestBrowserFollowsABatch(t *testing.T) {
	t.Parallel()
	b := rig()
	_, meter := scpiMeter(t, b)
	_, probe := lineProbe(t, b)
	d := startDaemon(t, t.TempDir(), benchTOML(meter, probe))
	page := openTab(t, d.url, "/")
	page.waitText("[data-part=greeting]", "Three steps to your first measured coil")
	page.wait("the connection", `document.body.dataset.link === "live"`)

	// The design is added elsewhere; the batch is started here.
	d.call("POST", "/api/v1/designs", `{"name":"Fen","target_ohms":6650,"tolerance_percent":6}`, http.StatusCreated, nil)
	page.press("#do-batch")
	page.wait("the design in the list", `document.querySelector("#dialog-start[open] option")?.value === "Fen"`)
	evaluate[bool](page, `(document.getElementById("start-spool").focus(), true)`)
	page.keys("SP-1\r")
	page.waitText("#said", "is open")
	page.waitText("[data-part=facts]", "SP-1")
	page.press("#sound")
	page.waitText("#sound", "on")
	page.wait("a sample of the sound", `window.tones === 2`)
	page.openClips()

	b.Attach(simulate.CopperCoil(6650, 21.5))
	page.judged(d, "HN-0001", "in", "in tolerance")
	page.wait("the greeting to go", `document.querySelector(".start") === null`)
	page.wait("the sound of a good coil", `window.tones === 4`)
	b.Detach()
	page.openClips()
	page.waitText(".r20 dt", "Last coil HN-0001")
	page.waitText("p.band", "in tolerance")
	b.Attach(simulate.CopperCoil(7200, 21.5))
	page.judged(d, "HN-0002", "high", "too high")
	page.wait("the coil before to be gone", `!document.querySelector(".r20 dt").textContent.includes("Last coil")`)
	page.wait("the sound of a coil that is too high", `window.tones === 7`)
	b.Detach()
	page.openClips()
	b.Attach(simulate.CopperCoil(6000, 21.5))
	page.judged(d, "HN-0003", "low", "too low")
	b.Detach()
	page.wait("three points and three rows", `document.querySelectorAll(".picture a.point").length === 3 &&
		document.querySelectorAll(".recent tbody tr").length === 3`)
	page.waitText(".sums", "3 coils")

	// What is voided elsewhere is struck here too, without anything on the clips.
	d.call("POST", "/api/v1/measurements/"+d.measurements()[0].ID+"/void", `{"reason":"the clip slipped"}`, http.StatusOK, nil)
	page.wait("the first to be struck through", `document.querySelector(".recent tr.void")?.textContent.includes("HN-0001")`)
	page.waitText(".sums", "2 coils")

	// What was chosen is remembered by the browser.
	page.open("/benches/north")
	page.waitText("#sound", "on")
}

// TestBrowserIsQuick measures how long a reading takes from its arrival at the
// bench to the page's next frame. The promise is 50 ms; a busy test machine is
// given some more.
func TestBrowserIsQuick(t *testing.T) {
	b := rig()
	_, meter := scpiMeter(t, b)
	_, probe := lineProbe(t, b)
	d := startDaemon(t, t.TempDir(), benchTOML(meter, probe))
	d.batch()
	page := openTab(t, d.url, "/")
	page.openClips()
	b.Attach(simulate.CopperCoil(6650, 21.5))
	page.judged(d, "HN-0001", "in", "in tolerance")
	delays := evaluate[[]float64](page, `new Promise((done) => {
		const list = [], page = document.querySelector("[data-bench]");
		page.addEventListener("reading", ({ detail: r }) => requestAnimationFrame(() => {
			list.push(Date.now() - Date.parse(r.time));
			if (list.length === 40) done(list);
		}));
	})`)
	slices.Sort(delays)
	t.Logf("from reading to frame: median %.0f ms, slowest of %d %.0f ms", delays[len(delays)/2], len(delays), delays[len(delays)-1])
	if median := delays[len(delays)/2]; median > 150 || median < -5 {
		t.Errorf("a reading takes %.0f ms to the screen", median)
	}
	// A page left open does not grow.
	count := func() int { return evaluate[int](page, `document.querySelectorAll("*").length`) }
	before := count()
	evaluate[bool](page, `new Promise((done) => {
		let left = 8;
		document.querySelector("[data-bench]").addEventListener("state", () => --left || done(true));
	})`)
	if after := count(); after > before {
		t.Errorf("the page grew from %d to %d elements", before, after)
	}
}

func TestBrowserActions(t *testing.T) {
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
	b.Detach()
	page.openClips()

	// A serial that was measured before is named at once, typed or scanned.
	page.keys("c")
	page.wait("the serial field to have the keyboard", `document.activeElement.id === "serial"`)
	page.keys("HN-0001")
	page.waitText("#serial-fault", "was measured already")
	page.key("Escape", 27)
	page.scan("HN-0001")
	page.waitText("#serial-fault", "measure it again to replace that")
	page.press("#serial-again")
	page.waitText("#said", "replaces its last measurement")
	page.waitText(".which", "HN-0001")
	b.Attach(simulate.CopperCoil(6660, 21.5))
	page.wait("the second measurement", `document.querySelectorAll(".recent tbody tr").length === 2 && document.querySelector("p.band")`)
	again := page.judged(d, "HN-0001", "in", "in tolerance")
	if first := d.measurements()[0]; first.Status != record.Superseded || again.Supersedes != first.ID {
		t.Errorf("the first measurement is %s, the second replaces %q", first.Status, again.Supersedes)
	}

	// Without a reason nothing is void, and the field says so.
	page.keys("v")
	page.wait("the question", `document.querySelector("#dialog-void[open]")`)
	page.keys("\r")
	page.wait("the fault at the field", `document.getElementById("void-fault").textContent !== "" &&
		document.activeElement.id === "void-reason" && document.activeElement.getAttribute("aria-invalid") === "true"`)
	page.keys("hit by the trolley\r")
	page.waitText("#said", "Coil HN-0001 is void.")
	page.wait("it to be struck through", `document.querySelector(".recent tr.void")?.textContent.includes("void")`)
	if m := d.measurements()[1]; m.Status != record.Void || m.Reason != "hit by the trolley" {
		t.Errorf("the measurement is %s because of %q", m.Status, m.Reason)
	}
	b.Detach()
	page.openClips()

	// A scanner is understood wherever the keyboard is.
	page.keys("n")
	page.wait("the note", `document.querySelector("#dialog-note[open]")`)
	evaluate[bool](page, `(document.getElementById("note-text").focus(), true)`)
	page.keys("felt worn on ")
	page.scan("XZ-77")
	page.wait("the scan to be part of the note", `document.getElementById("note-text").value === "felt worn on XZ-77" &&
		document.querySelector("#dialog-note[open]")`)
	page.press("#dialog-note .wanted")
	page.waitText("#said", "The note is kept.")
	page.waitText(".notes", "felt worn on XZ-77")
	page.scan("XZ-77")
	page.waitText(".which", "XZ-77")

	// What is scanned while a dialog asks is its answer, of whatever kind it is.
	page.keys("s")
	page.wait("the spool to be asked for", `document.querySelector("#dialog-spool[open]")`)
	page.scan("HN-0001 R20 6.650 +- 0.018 kohm 2026-03-14")
	page.waitText("#spool-fault", "This is the label of a coil.")
	page.scan("SP-9")
	page.waitText("#said", "SP-9")
	page.waitText("[data-part=facts]", "spool SP-9")
	page.waitText(".which", "XZ-77")
	page.scan("sp-9")
	page.waitText("#said", "is a spool's label")
	page.waitText(".which", "XZ-77")
	page.scan("XZ-78 R20 6.650 +- 0.018 kohm 2026-03-14")
	page.waitText(".which", "XZ-78")

	// A warm coil is waited for; a person may insist.
	warm := simulate.CopperCoil(6650, 60) // longer than a slow machine takes to insist
	warm.TimeConstant = 20 * time.Second  // what the bench is told of its coils
	b.Attach(warm)
	d.untilState(capture.Cooling)
	page.waitText(".words", "above")
	page.keys("f")
	page.wait("the question", `document.querySelector("#dialog-force[open]")`)
	page.keys("the van leaves\r")
	page.waitText("#said", "marked as forced")
	list := d.measurements()
	if m := list[len(list)-1]; m.Status != record.Forced || m.Reason != "the van leaves" || m.Serial != "XZ-78" {
		t.Errorf("measurement of %s is %s because of %q", m.Serial, m.Status, m.Reason)
	}
	b.Detach()
	page.openClips()

	page.keys("s")
	page.wait("the question", `document.querySelector("#dialog-spool[open]")`)
	page.keys("SP-2\r")
	page.waitText("[data-part=facts]", "SP-2")
	page.keys("b")
	page.wait("the question", `document.querySelector("#dialog-close[open]")`)
	page.keys("\r")
	page.waitText("#said", "is closed")
	page.waitText("#do-batch", "Start a batch")
}

func TestBrowserByKeyboard(t *testing.T) {
	t.Parallel()
	b := rig()
	_, meter := scpiMeter(t, b)
	_, probe := lineProbe(t, b)
	d := startDaemon(t, t.TempDir(), benchTOML(meter, probe))
	d.batch()
	page := openTab(t, d.url, "/")
	page.openClips()
	page.key("Tab", 9)
	page.wait("the way past the navigation first", `document.activeElement.className === "skip"`)

	// Everything that can be pressed can be reached.
	reached := map[string]bool{}
	for range 60 {
		page.key("Tab", 9)
		at := evaluate[string](page, `document.activeElement.id || document.activeElement.tagName`)
		if at == "BODY" {
			break
		}
		reached[at] = true
	}
	for _, id := range []string{"sound", "serial", "stage", "do-record", "do-again", "do-force", "do-spool", "do-batch", "do-note"} {
		if !reached[id] {
			t.Errorf("Tab does not reach %s", id)
		}
	}

	// The list of keys, a foot switch, and letters that do nothing.
	evaluate[bool](page, `(document.activeElement.blur(), true)`)
	page.keys("?")
	page.wait("the list of keys", `document.querySelector("#dialog-help[open]")`)
	page.press("#pedal-learn")
	page.key("F9", 120)
	page.waitText("#pedal-key", "F9")
	page.press("#letters")
	page.key("Escape", 27)
	page.wait("the list to close", `!document.querySelector("dialog[open]")`)
	page.key("F9", 120)
	page.waitText("#said", "it records by itself")
	page.keys("n")
	// A letter works after 90 ms; timers of a page fire in order, so that this
	// longer one, begun later, ends after it.
	evaluate[bool](page, `new Promise((done) => setTimeout(() => done(true), 120))`)
	if evaluate[bool](page, `!!document.querySelector("dialog[open]")`) {
		t.Error("a letter still works as a key")
	}
}

// TestBrowserNamesALostMeter unplugs the meter and plugs it in again.
func TestBrowserNamesALostMeter(t *testing.T) {
	t.Parallel()
	b := rig()
	plug, meter := scpiMeter(t, b)
	_, probe := lineProbe(t, b)
	d := startDaemon(t, t.TempDir(), benchTOML(meter, probe))
	d.batch()
	page := openTab(t, d.url, "/")
	page.openClips()
	b.Attach(simulate.CopperCoil(6650, 21.5))
	page.wait("the meter's number", `document.querySelector("[data-live=meter]").textContent.includes("kΩ")`)
	if err := plug.Unplug(); err != nil {
		t.Fatal(err)
	}
	page.waitText(".instruments .down", "does not answer")
	page.waitText(".words", "no meter")
	page.wait("no number of the meter", `document.querySelector("[data-live=meter]").textContent === "—" &&
		document.querySelector("[data-live=r20]").textContent === "—"`)
	if err := plug.Replug(); err != nil {
		t.Fatal(err)
	}
	page.wait("the meter's number again", `document.querySelector("[data-live=meter]").textContent.includes("kΩ") &&
		!document.querySelector(".instruments .down")`)
}

// TestBrowserOutlivesTheDaemon kills the daemon with the page open and starts
// it again at the same address.
func TestBrowserOutlivesTheDaemon(t *testing.T) {
	t.Parallel()
	b := rig()
	_, meter := scpiMeter(t, b)
	_, probe := lineProbe(t, b)
	folder := t.TempDir()
	config := filepath.Join(folder, "coilkeep.toml")
	text := fmt.Sprintf("[history]\npath = %q\n[web]\nlisten = %q\n%s", filepath.Join(folder, "history.db"), vacant(t),
		benchTOML(meter, probe))
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	p := startProgram(t, config)
	d := &testDaemon{t: t, url: p.url}
	d.batch()
	page := openTab(t, d.url, "/")
	page.openClips()
	b.Attach(simulate.CopperCoil(6650, 21.5))
	page.judged(d, "HN-0001", "in", "in tolerance")
	evaluate[bool](page, `(window.sameAsBefore = true)`)

	page.expectRefusals()
	if err := p.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	page.wait("the page to say so", `!document.getElementById("lost").hidden && document.body.dataset.link === "lost"`)
	page.wait("no number", `[...document.querySelectorAll("[data-live]")].every((at) => at.textContent === "—")`)
	page.waitText(".words", "Not known: no connection.")
	if evaluate[string](page, `getComputedStyle(document.querySelector("p.band")).visibility`) != "hidden" {
		t.Error("the verdict still stands")
	}
	_ = p.cmd.Wait() // killed, so an error
	startProgram(t, config)
	page.wait("the connection", `document.body.dataset.link === "live" && document.getElementById("lost").hidden`)
	page.waitText(".words", "take it off")
	page.wait("the record", `document.querySelectorAll(".recent tbody tr").length === 1 && window.sameAsBefore`)

	// It was another coil after all: told so, the bench records it.
	page.keys("r")
	page.judged(d, "HN-0002", "in", "in tolerance")
}

// vacant returns an address that nothing listens on.
func vacant(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}
