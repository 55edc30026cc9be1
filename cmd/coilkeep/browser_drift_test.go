package main

import (
	"testing"
	"time"

	"coilkeep/driver/simulate"
	"coilkeep/internal/drift/watch"
	"coilkeep/internal/history"
)

// TestBrowserTakesNoteOfASignal has a person at the bench see the step of the
// demo's batch and take note of it, by the page alone; the page is as accessible
// with a signal on it as without.
func TestBrowserTakesNoteOfASignal(t *testing.T) {
	engine := axe(t)
	folder := t.TempDir()
	demoHistory(t, folder, time.Now, demoSeed, todayWound)
	b := rig()
	_, meter := scpiMeter(t, b)
	_, probe := lineProbe(t, b)
	d := startDaemon(t, folder, benchTOML(meter, probe))
	page := openTab(t, d.url, "/benches/north")
	page.waitText(`[data-part="batch"]`, "at the change to spool HL-118")
	page.waitText(`[data-part="batch"] .signals`, "a step")
	page.accessible("a bench with a signal", engine)
	page.expectRefusals()
	page.press("#acknowledge")
	page.wait("the question", `document.getElementById("dialog-acknowledge").open`)
	page.press(`#dialog-acknowledge button.wanted`)
	page.waitText("#acknowledge-fault", "Note: must say")
	evaluate[bool](page, `(document.getElementById("acknowledge-text").focus(), true)`)
	page.keys("two turns less")
	page.press(`#dialog-acknowledge button.wanted`)
	page.wait("the signal taken note of", `document.querySelector('[data-part="batch"] .signals') === null`)
	page.waitText(`[data-part="batch"]`, "at the change to spool HL-118")

	var entries []history.JournalEntry
	fromJSON(t, ok(t, "journal", "--history", folder+"/history.db", "--json"), &entries)
	if len(entries) == 0 || entries[len(entries)-1].Action != watch.Acknowledged || entries[len(entries)-1].Detail != "two turns less" {
		t.Errorf("journal %+v", entries)
	}
	page.open("/batches/" + entries[len(entries)-1].Subject + "#drift")
	page.waitText(".finding", "two turns less")
	page.accessible("a batch with a signal", engine)
}

// demoHistory prepares the records of a demo in a folder.
func demoHistory(t *testing.T, folder string, now func() time.Time, seed uint64, wound int) string {
	t.Helper()
	d := &demo{env: &environment{now: now}, seed: seed, wound: wound, design: simulate.Designs()[1]}
	cfg := demoConfiguration(t)
	cfg.History.Path = folder + "/history.db"
	if _, err := d.prepare(t.Context(), cfg); err != nil {
		t.Fatal(err)
	}
	return cfg.History.Path
}
