package main

import (
	"testing"
	"time"

	"coilkeep/internal/demo"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// TestBrowserTakesNoteOfASignal has a person at the bench see the step of the
// demo's batch and take note of it, by the page alone; the page is as accessible
// with a signal on it as without.
func TestBrowserTakesNoteOfASignal(t *testing.T) {
	t.Parallel()
	engine := axe(t)
	folder := t.TempDir()
	demoHistory(t, folder, time.Now(), demo.UsualSeed, demo.UsuallyWound)
	b := rig()
	_, meter := scpiMeter(t, b)
	_, probe := lineProbe(t, b)
	d := startDaemon(t, folder, benchTOML(meter, probe))
	page := openTab(t, d.url, "/benches/north")
	page.waitText(`[data-part="batch"]`, "the change to spool HL-118")
	page.waitText(`[data-part="batch"] .do`, "turns")
	page.inspect("a bench with a signal", engine, 0)
	page.look(360, "light")
	page.fits("a bench with a signal, 360 wide")
	page.look(1280, "light")
	if bottom := evaluate[float64](page, `document.getElementById("do-note").getBoundingClientRect().bottom`); bottom > 800 {
		t.Errorf("the buttons end at %.0f pixels, below a window of 1280 × 800", bottom)
	}
	page.staysOpen()
	page.expectRefusals()
	// From the notice at the top by keyboard alone.
	evaluate[bool](page, `(document.getElementById("to-finding").focus(), true)`)
	page.keys("\r")
	page.wait("the finding", `location.hash === "#finding"`)
	page.key("Tab", 9)
	page.wait("the keyboard on Take note", `document.activeElement.id === "acknowledge"`)
	page.keys("\r")
	page.wait("the question", `document.getElementById("dialog-acknowledge").open`)
	page.press(`#dialog-acknowledge button.wanted`)
	page.waitText("#acknowledge-fault", "Note: must say")
	evaluate[bool](page, `(document.getElementById("acknowledge-text").focus(), true)`)
	page.keys("two turns less")
	page.press(`#dialog-acknowledge button.wanted`)
	page.wait("the signal taken note of", `document.querySelector(".signals, .strip-news") === null`)
	page.waitText(`[data-part="batch"] .noted`, "two turns less")
	page.waitText(`[data-part="batch"]`, "the change to spool HL-118")

	var entries []record.JournalEntry
	fromJSON(t, ok(t, "journal", "--history", folder+"/history.db", "--json"), &entries)
	if len(entries) == 0 || entries[len(entries)-1].Action != workshop.Acknowledged || entries[len(entries)-1].Detail != "two turns less" {
		t.Errorf("journal %+v", entries)
	}
	page.open("/batches/" + entries[len(entries)-1].Subject + "#drift")
	page.waitText(".finding", "two turns less")
	page.accessible("a batch with a signal", engine)
}

// staysOpen opens what is behind the disclosure by keyboard; the page, drawn
// anew, leaves it open and the keyboard in it.
func (b *tab) staysOpen() {
	b.t.Helper()
	evaluate[bool](b, `(document.getElementById("finding-more").focus(), true)`)
	b.keys("\r")
	b.wait("the disclosure", `document.getElementById("finding-whole").open`)
	evaluate[bool](b, `(document.getElementById("finding").dataset.before = "yes", import("/assets/live.js").then((live) => `+
		`live.refreshRecords()), true)`)
	b.wait("the page drawn anew", `!document.getElementById("finding").dataset.before`)
	b.wait("it to be open still", `document.getElementById("finding-whole").open && document.activeElement.id === "finding-more"`)
}
