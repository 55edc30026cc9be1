//go:build unix

package main

import (
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// TestBrowserInstrumentsLoseSight has the daemon fall silent and then die with
// the page of the instruments open: what is old is not shown as live.
func TestBrowserInstrumentsLoseSight(t *testing.T) {
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
	page := openTab(t, p.url, "/instruments/north")
	lines := `document.querySelector("[data-raw=probe]").textContent`
	live := func() {
		t.Helper()
		page.waitText("[data-seen]", "Live.")
		evaluate[bool](page, fmt.Sprintf(`(window.seenBefore = %s, true)`, lines))
		page.wait("another line of the probe", lines+" !== window.seenBefore && "+lines+`.includes("C")`)
	}
	live()
	// A form that is refused is answered at its own address; the cards stay live.
	page.expectRefusals()
	evaluate[bool](page, `(document.querySelector("#correction_percent").value = "a little", document.querySelector("#calibrations `+
		`form").requestSubmit(), true)`)
	page.arrivesWith("#calibrations .wrong", "a little")
	page.wait("the address of the form", `location.pathname === "/instruments/north/calibrations"`)
	live()
	if shown := evaluate[string](page, `document.querySelector("[data-bench]").className`); shown != "" {
		t.Errorf("after a refusal the cards are shown as %q", shown)
	}
	if err := p.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	page.waitText("[data-seen]", "is gone; this is how it was")
	if err := p.cmd.Process.Signal(syscall.SIGCONT); err != nil {
		t.Fatal(err)
	}
	live()
	page.expectRefusals()
	if err := p.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	page.waitText("[data-seen]", "is gone; this is how it was")
	_ = p.cmd.Wait() // killed, so an error
	startProgram(t, config)
	live()
}
