package main

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coilkeep/driver/drivertest"
	"coilkeep/driver/simulate"
	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
)

// TestPrometheusRaisesAlertsOnFaults lets a real Prometheus watch a daemon to
// which one thing after another happens: each is raised, and over when it is
// mended. What takes long to show is in TestPrometheusRaisesAlertsOnLastingFaults.
func TestPrometheusRaisesAlertsOnFaults(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("runs Prometheus for some twenty seconds")
	}
	b := rig()
	meterPlug, meter := scpiMeter(t, b)
	probePlug, probe := lineProbe(t, b)
	folder := t.TempDir()
	south := strings.NewReplacer(`"north"`, `"south"`, "HN-", "HS-").Replace(manualBench)
	d := startDaemon(t, folder, benchTOML(meter, probe)+"\n"+south)
	d.batch()
	d.call("POST", "/api/v1/benches/south/batch", `{"batch":"second","design":"Fen","spool":"SP-2"}`, http.StatusCreated, nil)
	typed := *d
	typed.bench = d.running.benches[1]
	w := watched{
		watcher: startPrometheus(t, rightJob, strings.TrimPrefix(d.url, "http://")),
		rig:     b, meter: meterPlug, probe: probePlug, daemon: d, typist: typist{typed},
		folder: folder, other: openBeside(t, filepath.Join(folder, "history.db")),
	}
	w.backups()
	w.instruments()
	w.coils()
	w.history()
	w.drifting()
	w.loosePlug()
	w.panels()
	if err := d.stop(); err != nil {
		t.Fatal(err)
	}
	w.untilRaised("DaemonUnreachable")
}

// watched is a daemon with Prometheus watching it. Its bench north is
// simulated, its bench south is typed in.
type watched struct {
	*watcher
	rig          *drivertest.Bench
	meter, probe *simulate.Plug
	daemon       *testDaemon
	typist       typist
	folder       string
	other        intruder
}

// command runs one command beside the daemon.
func (w *watched) command(args ...string) {
	w.t.Helper()
	var out, problems bytes.Buffer
	args = append(args, "--history", filepath.Join(w.folder, "history.db"))
	if code := run(w.t.Context(), args, strings.NewReader(""), &out, &problems); code != exitOK {
		w.t.Fatalf("coilkeep %s: exit code %d: %s", strings.Join(args, " "), code, problems.String())
	}
}

// calibrate enters a calibration of bench north.
func (w *watched) calibrate(role string, due time.Time) {
	w.t.Helper()
	w.command("instrument", "calibrate", "--bench", "north", "--role", role, "--due", due.Format(time.RFC3339Nano))
}

// checkStandard enters what the meter of bench north showed for 10 kΩ.
func (w *watched) checkStandard(measured string) {
	w.t.Helper()
	w.command("instrument", "check-standard", "--bench", "north", "--standard", "box-10k", "--nominal", "10k", "--measured", measured)
}

// backups: none, one of long ago, a good one.
func (w *watched) backups() {
	w.untilRaised("BackupMissing")
	w.other.exec(fmt.Sprintf("INSERT INTO backups (time_us, path) VALUES (%d, 'copy.db')", time.Now().AddDate(0, 0, -8).UnixMicro()))
	w.untilRaised("BackupOld")
	w.command("backup", filepath.Join(w.folder, "copy.db"))
	w.untilQuiet()
}

// instruments: the meter unplugged, the probe showing what cannot be and then
// unplugged too; calibrations that run out and a check standard that is off.
func (w *watched) instruments() {
	now := time.Now()
	w.calibrate("meter", now.Add(2*time.Second))
	w.calibrate("probe", now.AddDate(0, 0, 10))
	w.checkStandard("10.03k")
	if err := w.meter.Unplug(); err != nil {
		w.t.Fatal(err)
	}
	w.rig.ForceProbe(200)
	w.untilRaised("InstrumentDown north meter", "ImpossibleValues north probe", "TemperatureMissing north probe",
		"CalibrationOverdue north meter", "CalibrationDueSoon north probe", "CheckStandardOut north")
	if err := w.probe.Unplug(); err != nil {
		w.t.Fatal(err)
	}
	w.untilRaised("InstrumentDown north probe", "TemperatureMissing north probe")

	w.rig.StuckProbe(false)
	for _, p := range []*simulate.Plug{w.meter, w.probe} {
		if err := p.Replug(); err != nil {
			w.t.Fatal(err)
		}
	}
	w.checkStandard("10.001k")
	w.calibrate("meter", now.AddDate(1, 0, 0))
	w.untilOver("InstrumentDown north meter", "InstrumentDown north probe", "ImpossibleValues north probe",
		"TemperatureMissing north probe", "CalibrationOverdue north meter", "CheckStandardOut north")
}

// coils: three low, ten on the very limit of 6650 Ω + 6 %.
func (w *watched) coils() {
	w.typist.typeIn("probe", "20")
	for range 3 {
		w.typist.coil("6000")
	}
	for range 10 {
		w.typist.coil("7049")
	}
	w.untilRaised("OutsideShareRising south Fen", "UndecidedShareHigh south Fen")
}

// drifting: twenty-four coils as they should be, then eight 2 % higher, in a
// batch of their own; closing it ends the signal.
func (w *watched) drifting() {
	const batch = "/api/v1/benches/south/batch"
	w.daemon.call("POST", "/api/v1/designs", `{"name":"Brook","target_ohms":6650,"tolerance_percent":6}`, http.StatusCreated, nil)
	w.daemon.call("DELETE", batch, "", http.StatusOK, nil)
	w.daemon.call("POST", batch, `{"batch":"third","design":"Brook","spool":"SP-3"}`, http.StatusCreated, nil)
	w.typist.until("the batch", func(s bench.Snapshot) bool { return s.Batch != nil && s.Batch.Name == "third" })
	for i := range 32 {
		ohms := 6650 + 5*float64(i%3) // 6650, 6655, 6660
		if i >= 24 {
			ohms *= 1.02
		}
		w.typist.coil(fmt.Sprintf("%.1f", ohms))
	}
	w.untilRaised("DriftSignal south Brook")
	w.daemon.call("DELETE", batch, "", http.StatusOK, nil)
	w.untilOver("DriftSignal south Brook")
	w.daemon.call("POST", batch, `{"batch":"fourth","design":"Brook","spool":"SP-3"}`, http.StatusCreated, nil)
	w.typist.until("the batch", func(s bench.Snapshot) bool { return s.Batch != nil && s.Batch.Name == "fourth" })
	w.typist.coil("6650")
	w.typist.coil("6655")
}

// history: locked by another program, for longer than a slow write takes, then
// damaged.
func (w *watched) history() {
	release := w.other.lock()
	w.typist.coil("6650")
	waiting := time.Now()
	w.untilRaised("MeasurementNotSaved south")
	w.until("a slow write", func([]string) bool { return time.Since(waiting) > 1500*time.Millisecond })
	release()
	w.untilOver("MeasurementNotSaved south")
	w.untilRaised("HistoryWritesSlow")
	w.other.exec("ALTER TABLE backups RENAME TO lost")
	w.untilRaised("HistoryUnreadable")
	w.other.exec("ALTER TABLE lost RENAME TO backups")
	w.untilOver("HistoryUnreadable")
}

// loosePlug loses coil after coil.
func (w *watched) loosePlug() {
	for range 6 {
		w.rig.Attach(simulate.CopperCoil(6650, 21.5))
		w.daemon.until("contact", func(s bench.Snapshot) bool { return s.ResistanceOhms != nil })
		if err := w.meter.Unplug(); err != nil {
			w.t.Fatal(err)
		}
		w.daemon.untilState(capture.Offline)
		w.rig.Detach()
		if err := w.meter.Replug(); err != nil {
			w.t.Fatal(err)
		}
		// Whether the next coil is the one that was lost is asked; nobody says.
		w.daemon.until("open clips, or the question", func(s bench.Snapshot) bool {
			return s.Meter.Up && s.ResistanceOhms == nil && (s.State == capture.Open || s.State == capture.Waiting)
		})
	}
	w.untilRaised("InstrumentComesAndGoes north meter", "CapturesRefused north")
}

// panels: after all this there is something to see on every one. A scrape that a
// busy machine answers late leaves a gap, which the next one fills.
func (w *watched) panels() {
	for _, p := range panelQueries(w.t) {
		w.until(fmt.Sprintf("panel %s to show something for %s", p.title, p.expr), func([]string) bool {
			shown, err := w.series(p.expr)
			return err == nil && len(shown) > 0
		})
	}
}

type panelQuery struct{ title, expr string }

// panelQueries reads what the panels in dashboards/grafana ask, everything
// chosen.
func panelQueries(t *testing.T) []panelQuery {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("..", "..", "dashboards", "grafana", "*.json"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no dashboards: %v", err)
	}
	chosen := strings.NewReplacer("$bench", ".+", "$design", ".+", "$__rate_interval", "10s")
	var list []panelQuery
	for _, name := range files {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		var board struct {
			Panels []struct {
				Title   string
				Targets []struct{ Expr string }
			}
		}
		if err := json.Unmarshal(text, &board); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		before := len(list)
		for _, p := range board.Panels {
			for _, target := range p.Targets {
				list = append(list, panelQuery{p.Title, chosen.Replace(target.Expr)})
			}
		}
		if len(list) == before {
			t.Fatalf("%s asks nothing", name)
		}
	}
	return list
}

// typist measures coils on a bench whose values are typed in.
type typist struct{ testDaemon }

func (p *typist) typeIn(role, value string) {
	p.t.Helper()
	p.call("POST", "/api/v1/benches/south/readings", fmt.Sprintf(`{"role":%q,"value":%q}`, role, value), http.StatusOK, nil)
}

// coil types a meter reading as soon as the next coil has its serial number,
// and waits until it is being saved or has been.
func (p *typist) coil(ohms string) {
	p.t.Helper()
	next := p.until("the next serial number", func(s bench.Snapshot) bool {
		return s.NextSerial != "" && s.Unsaved == ""
	}).NextSerial
	p.typeIn("meter", ohms)
	p.until("coil "+next, func(s bench.Snapshot) bool {
		return s.State == capture.Unsaved || s.Last != nil && s.Last.Serial == next
	})
}

// intruder is another program that uses the same database.
type intruder struct {
	t    *testing.T
	path string
	db   *sql.DB
}

func openBeside(t *testing.T, path string) intruder {
	t.Helper()
	db, err := sql.Open("sqlite", (&url.URL{Scheme: "file", Opaque: path, RawQuery: "_pragma=busy_timeout(5000)&_txlock=immediate"}).String())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	})
	return intruder{t: t, path: path, db: db}
}

func (i intruder) exec(statement string, values ...any) {
	i.t.Helper()
	if _, err := i.db.ExecContext(i.t.Context(), statement, values...); err != nil {
		i.t.Fatalf("%s: %v", statement, err)
	}
}

// fold folds the write-ahead log back into the history.
func (i intruder) fold() {
	i.t.Helper()
	var busy, frames, folded int
	err := i.db.QueryRowContext(i.t.Context(), "PRAGMA wal_checkpoint(TRUNCATE)").Scan(&busy, &frames, &folded)
	if err != nil || busy != 0 {
		i.t.Fatalf("fold the log back: busy %d, %v", busy, err)
	}
}

// lock keeps everybody else from writing until release is called.
func (i intruder) lock() (release func()) {
	i.t.Helper()
	// Not the test's context: its end must not race the rollback.
	transaction, err := i.db.BeginTx(context.Background(), nil)
	if err != nil {
		i.t.Fatal(err)
	}
	i.t.Cleanup(func() {
		if err := transaction.Rollback(); err != nil && !errors.Is(err, sql.ErrTxDone) {
			i.t.Error(err)
		}
	})
	return func() {
		if err := transaction.Rollback(); err != nil {
			i.t.Errorf("release the lock: %v", err)
		}
	}
}
