package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"coilkeep/driver/drivertest"
	"coilkeep/driver/simulate"
	"coilkeep/internal/capture"
)

// TestPrometheusRaisesAlertsOnLastingFaults has a real Prometheus watch a
// daemon with faults that nobody notices at the bench for long: first it does
// not know the daemon as coilkeep, then a probe has never moved, a meter's
// answers are spoiled, and the history grows. Bench south is in order all the
// time, and nothing is raised for it.
func TestPrometheusRaisesAlertsOnLastingFaults(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("runs Prometheus for some twenty seconds")
	}
	north, south := rig(), rig()
	// Stuck before its first reading, so that the daemon has never seen it
	// scatter and cannot take it for stuck by itself.
	north.StuckProbe(true)
	var spoiled atomic.Bool
	folder := t.TempDir()
	// Bench south is patient: that this machine is busy is no fault of its own.
	d := startDaemon(t, folder, talkingBench(t, north, &spoiled)+"\n"+
		strings.NewReplacer(`"north"`, `"south"`, "HN-", "HS-", `timeout = "1s"`,
			`timeout = "20s"`, `max_age = "2s"`, `max_age = "30s"`).Replace(talkingBench(t, south, new(atomic.Bool))))
	d.batch()
	w := watched{
		watcher: startPrometheus(t, "workshop", strings.TrimPrefix(d.url, "http://")),
		rig:     north, daemon: d, folder: folder, other: openBeside(t, filepath.Join(folder, "history.db")),
	}
	w.command("backup", filepath.Join(folder, "copy.db"))
	w.unwatched()
	north.WarmProbe(2.5)
	south.WarmProbe(2.5)
	w.spoiled(&spoiled)
	w.swelling()
	w.large()
	w.frozen()
	if raised, err := w.series(`count_over_time(ALERTS{bench="south",alertstate="firing"}[5m])`); err != nil || len(raised) != 0 {
		t.Errorf("raised for bench south were %v, %v; want none", raised, err)
	}
	if raised, err := w.series(`count_over_time(ALERTS{bench="north",alertstate="firing"}[5m])`); err != nil || len(raised) < 2 {
		t.Errorf("raised for bench north were %v, %v; the check of bench south finds nothing", raised, err)
	}
}

// talkingBench is bench north with a meter and a probe that print lines by
// themselves. While spoiled is set the meter's lines are what a wrong baud rate
// makes of them.
func talkingBench(t *testing.T, b *drivertest.Bench, spoiled *atomic.Bool) (toml string) {
	t.Helper()
	whole := drivertest.MeterLine(b)
	meter := plug(t, "meter", &drivertest.Talker{Every: 50 * time.Millisecond, Line: func() string {
		if spoiled.Load() {
			return "\x9a\xe6\x00\xf8~\x1e\x86"
		}
		return whole()
	}})
	// Often enough for a hundred readings in what six hours have become.
	probe := plug(t, "probe", &drivertest.Talker{Every: 40 * time.Millisecond, Line: drivertest.ProbeLine(b)})
	return benchTOML(fmt.Sprintf("driver = \"line\"\nport = %q\ntimeout = \"1s\"", meter.Address()),
		fmt.Sprintf("driver = \"line\"\nport = %q\ntimeout = \"1s\"", probe.Address()))
}

// unwatched: the daemon is scraped in a job with a name the rules do not know,
// and then in the right one.
func (w *watched) unwatched() {
	w.until("a scrape of the wrong job", func([]string) bool {
		scraped, err := w.series(`up{job="workshop"} == 1`)
		return err == nil && len(scraped) == 1
	})
	w.untilRaised("DaemonNotScraped")
	w.rename(rightJob)
	w.untilOver("DaemonNotScraped")
	w.untilQuiet()
}

// spoiled: nothing that the meter says can be read.
func (w *watched) spoiled(spoiled *atomic.Bool) {
	spoiled.Store(true)
	w.untilRaised("UnreadableAnswers north meter")
	spoiled.Store(false)
	w.untilOver("UnreadableAnswers north meter")
}

// swelling: a browser keeps a table open, so that the write-ahead log cannot be
// folded back, and the log gets a hole at its end, which SQLite passes over. To
// write as much would take a busy machine longer than the rule looks back.
func (w *watched) swelling() {
	table, err := w.other.db.QueryContext(w.t.Context(), "SELECT name FROM sqlite_schema")
	if err != nil {
		w.t.Fatal(err)
	}
	defer table.Close()
	if !table.Next() {
		w.t.Fatalf("a history without tables: %v", table.Err())
	}
	// By its path: opening the file would drop this process's locks on it.
	if err := os.Truncate(w.other.path+"-wal", 230_000_000); err != nil {
		w.t.Fatal(err)
	}
	w.untilRaised("HistoryGrowsFast")
	if err := table.Close(); err != nil {
		w.t.Fatal(err)
	}
	w.other.fold()
	w.untilOver("HistoryGrowsFast")
}

// large: the file gets a hole at its end, which fills no disk but counts as
// 8 GB. SQLite takes it for room that was asked for ahead, and cuts it off when
// it folds the log back next.
func (w *watched) large() {
	if early, err := w.series(`ALERTS{alertname="CoilkeepHistoryLarge"}`); err != nil || len(early) != 0 {
		w.t.Errorf("alerts of a large history before it is large: %v, %v", early, err)
	}
	// By its path, as before.
	if err := os.Truncate(w.other.path, 8_100_000_000); err != nil {
		w.t.Fatal(err)
	}
	w.untilRaised("HistoryLarge")
	w.rig.Attach(simulate.CopperCoil(6650, 21.5))
	w.daemon.untilState(capture.Recorded)
	w.other.fold()
	w.untilOver("HistoryLarge")
}

// frozen: it has become warmer at both probes, and that of bench north says what
// it said at first.
func (w *watched) frozen() {
	w.untilRaised("TemperatureFrozen north")
	w.rig.StuckProbe(false)
	w.untilOver("TemperatureFrozen north")
}
