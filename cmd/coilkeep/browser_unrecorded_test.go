package main

import (
	"strings"
	"testing"

	"coilkeep/driver/simulate"
)

// TestBrowserAnswersForLostCoils takes coils off before their verdict is certain:
// the page says so by words and sound, and each answer is a key, a button or a scan
// away. Nothing is recorded under a serial number that is not the coil's.
func TestBrowserAnswersForLostCoils(t *testing.T) {
	t.Parallel()
	engine := axe(t)
	b := rig()
	_, meter := scpiMeter(t, b)
	_, probe := lineProbe(t, b)
	d := startDaemon(t, t.TempDir(), strings.Replace(benchTOML(meter, probe), `patience = "2s"`, `patience = "10m"`, 1))
	d.batch()
	page := openTab(t, d.url, "/benches/north")
	page.wait("the connection", `document.body.dataset.link === "live"`)
	page.press("#sound")
	page.wait("a sample of the sound", `window.tones === 2`)
	page.openClips()
	// The upper limit of the design is 6650 Ω and 6 %: a coil that lies on it is
	// never decided.
	lose := func(serial string) {
		t.Helper()
		evaluate[bool](page, `(window.tones = 0, true)`)
		b.Attach(simulate.CopperCoil(6650*1.06, 21.5))
		page.waitText(".tells .gain", "U ±")
		page.waitText(".tells .copper", "the probe")
		b.Detach()
		page.waitText(".alert.unrecorded[data-asked] .what", serial+" was not recorded:")
		page.wait("its own sound", `window.tones === 6`)
	}
	lose("HN-0001")
	page.inspect("a coil that was not recorded", engine, 1)
	page.open("/benches/north") // it stays
	page.waitText(".alert.unrecorded[data-asked] .what", "HN-0001 was not recorded:")

	// The same again, by a key.
	page.wait("the connection", `document.body.dataset.link === "live"`)
	page.keys("1")
	page.waitText("#said", "Coil HN-0001 comes next")
	b.Attach(simulate.CopperCoil(6650, 21.5))
	page.judged(d, "HN-0001", "in", "in tolerance")
	page.wait("the alert to go", `!document.querySelector(".alert")`)
	b.Detach()
	page.openClips()

	// The next one, by a button; the lost one keeps its number and comes back by
	// its label.
	lose("HN-0002")
	page.press(`.alert [data-do="nextOne"]`)
	page.waitText("#said", "HN-0002 is put aside")
	b.Attach(simulate.CopperCoil(6655, 21.5))
	page.judged(d, "HN-0003", "in", "in tolerance")
	b.Detach()
	page.openClips()
	page.waitText(".alert.unrecorded .what", "HN-0002 was not recorded:")
	page.scan("HN-0002")
	page.waitText("#said", "Next coil: HN-0002.")
	b.Attach(simulate.CopperCoil(6645, 21.5))
	page.judged(d, "HN-0002", "in", "in tolerance")
	page.wait("the alert to go", `!document.querySelector(".alert")`)
	b.Detach()
	page.openClips()

	lose("HN-0004")
	page.keys("d")
	page.waitText("#said", "HN-0004 is dismissed.")
	page.wait("the alert to go", `!document.querySelector(".alert")`)
	page.expectRefusals()
	page.keys("1")
	page.waitText("#said", "The bench asks about no coil now.")

	// The rack, by its key; a scan puts a coil there wherever the keyboard is.
	page.keys("k")
	page.arrives("Rack of bench north")
	there := func() {
		t.Helper()
		page.wait("the rack to be there", `document.readyState === "complete" && document.activeElement.id === "serial"`)
	}
	there()
	page.scan("HN-0009")
	page.arrivesWith(".saved", "HN-0009 lies beside the probe since")
	there()
	evaluate[bool](page, `(document.getElementById("main").focus(), true)`)
	page.scan("HN-0010")
	page.arrivesWith(".saved", "HN-0010 lies beside the probe since")
	page.waitText("tbody", "HN-0009")
}
