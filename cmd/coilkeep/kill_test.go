package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coilkeep/driver/simulate"
	"coilkeep/internal/bench"
	"coilkeep/internal/history"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// program is a daemon in a process of its own.
type program struct {
	cmd *exec.Cmd
	url string
}

func startProgram(t *testing.T, config string) *program {
	t.Helper()
	cmd := exec.Command(os.Args[0], "serve", "--config", config)
	cmd.Env = append(os.Environ(), asProgram+"=1")
	cmd.Stderr = t.Output()
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatalf("the daemon said %q: %v", line, err)
	}
	return &program{cmd: cmd, url: strings.TrimSpace(strings.TrimPrefix(line, "coilkeep serves "))}
}

// follow sends the states of the bench, as the page sees them, until the
// process is gone.
func (p *program) follow(t *testing.T) <-chan bench.Snapshot {
	t.Helper()
	response, err := http.Get(p.url + "/api/v1/events?bench=north")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { response.Body.Close() })
	states := make(chan bench.Snapshot)
	go func() {
		defer close(states)
		lines := bufio.NewScanner(response.Body)
		lines.Buffer(nil, 1<<20)
		event := ""
		for lines.Scan() {
			if name, ok := strings.CutPrefix(lines.Text(), "event: "); ok {
				event = name
			}
			data, ok := strings.CutPrefix(lines.Text(), "data: ")
			if !ok || event != string(bench.StateEvent) {
				continue
			}
			var s bench.Snapshot
			if json.Unmarshal([]byte(data), &s) != nil {
				return
			}
			select {
			case states <- s:
			case <-t.Context().Done():
				return
			}
		}
	}()
	return states
}

// waitState waits for a state that satisfies ok.
func waitState(t *testing.T, states <-chan bench.Snapshot, what string, ok func(bench.Snapshot) bool) bench.Snapshot {
	t.Helper()
	timeout := time.NewTimer(waitFor)
	defer timeout.Stop()
	var last bench.Snapshot
	for {
		select {
		case s, open := <-states:
			if !open {
				t.Fatalf("the daemon ended while waiting for %s", what)
			}
			if last = s; ok(s) {
				return s
			}
		case <-timeout.C:
			t.Fatalf("waited in vain for %s; state %s: %s", what, last.State, last.Words)
		}
	}
}

// TestKillingTheDaemonLosesAndDoublesNothing kills the daemon at the worst
// moments of a batch: while a coil settles, right after it is recorded, with
// the coil still on. Every acknowledged measurement is there once.
func TestKillingTheDaemonLosesAndDoublesNothing(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("starts and kills processes")
	}
	b := rig()
	_, meter := scpiMeter(t, b)
	_, probe := lineProbe(t, b)
	folder := t.TempDir()
	database := filepath.Join(folder, "history.db")
	config := filepath.Join(folder, "coilkeep.toml")
	text := fmt.Sprintf("[history]\npath = %q\n[web]\nlisten = \"127.0.0.1:0\"\n%s", database, benchTOML(meter, probe))
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	acknowledged := map[string]float64{} // by id
	wound := 0
	for round := range 5 {
		p := startProgram(t, config)
		d := &testDaemon{t: t, url: p.url}
		if round == 0 {
			d.batch()
		}
		states := p.follow(t)
		wait := func(what string, ok func(bench.Snapshot) bool) bench.Snapshot {
			t.Helper()
			return waitState(t, states, what, ok)
		}
		if round > 0 {
			// The coil that was on when it was killed may have been measured.
			wait("the question about the coil on the clips", func(s bench.Snapshot) bool { return s.State == "asking" })
			b.Detach()
		}
		wait("open clips", func(s bench.Snapshot) bool { return s.State == "open" && strings.HasPrefix(s.Words, "clips open") })
		measure := func() {
			wound++
			r20 := 6600 + 5*float64(wound)
			b.Attach(simulate.CopperCoil(r20, 21.5))
			s := wait("a measurement", func(s bench.Snapshot) bool {
				return s.State == "recorded" && s.Last != nil && acknowledged[s.Last.ID] == 0
			})
			acknowledged[s.Last.ID] = r20
		}
		measure()
		b.Detach()
		wait("open clips", func(s bench.Snapshot) bool { return s.State == "open" && strings.HasPrefix(s.Words, "clips open") })
		if round%2 == 0 { // killed with a recorded coil on
			measure()
		} else { // killed while a coil settles
			b.Attach(simulate.CopperCoil(6600, 21.5))
			wait("a coil that settles", func(s bench.Snapshot) bool { return s.State == "settling" })
		}
		if err := p.cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		_ = p.cmd.Wait()
	}
	b.Detach()

	store, err := history.Open(t.Context(), database, history.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	list, _, err := store.Measurements(t.Context(), record.Filter{})
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]bool{}
	serials := map[string]bool{}
	for _, m := range list {
		found[m.ID] = true
		if m.Reason == record.MeasuredLonger && m.Status == record.Superseded {
			continue // the first of a coil that stayed on
		}
		if serials[m.Serial] {
			t.Errorf("serial %s twice", m.Serial)
		}
		serials[m.Serial] = true
		if r20, ok := acknowledged[m.ID]; ok && (math.Abs(m.R20Ohms-r20) > m.ExpandedUncertaintyOhms || math.Abs(atProbe(m)-r20) > 3) {
			t.Errorf("coil %s: R20 %.1f ± %.1f Ω, truly %.1f Ω", m.Serial, m.R20Ohms, m.ExpandedUncertaintyOhms, r20)
		}
	}
	for id := range acknowledged {
		if !found[id] {
			t.Errorf("acknowledged measurement %s is not in the history", id)
		}
	}
	// One that was recorded in the instant of the kill may be there without
	// having been acknowledged; there were two such instants.
	if extra := len(list) - len(acknowledged); extra < 0 || extra > 2 {
		t.Errorf("%d measurements, %d acknowledged", len(list), len(acknowledged))
	}
	report, err := store.Verify(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := workshop.VerifyCaptures(t.Context(), store, &report, func(int, int) {}); err != nil {
		t.Fatal(err)
	}
	if len(report.Faults) > 0 || report.CapturedAgain != len(list) {
		t.Errorf("the history does not verify: %+v; captured again %d of %d", report.Faults, report.CapturedAgain, len(list))
	}
}
