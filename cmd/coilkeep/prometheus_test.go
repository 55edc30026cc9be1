package main

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"coilkeep/driver/simulate"
	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
)

// watcher is a real Prometheus that scrapes a daemon three times a second and
// evaluates the rules in dashboards/, made quicker.
type watcher struct {
	t   *testing.T
	url string
}

// quicker says what the times in the rules become, so that hours pass within a
// test. Thresholds stay as they are.
var quicker = map[string]string{
	"5m": "3s", "1h": "25s", "2h": "25s", "6h": "25s", "1d": "30s", "7d": "40s",
}

var (
	holdTime   = regexp.MustCompile(`(?m)^( +for:) \w+$`)
	windowTime = regexp.MustCompile(`(\[|offset )(\d+[a-z])`)
	listening  = regexp.MustCompile(`"Listening on".* address=(\S+)`)
)

// quickRuleFile writes a quicker copy of a rule file into folder.
func quickRuleFile(t *testing.T, folder, name string) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "dashboards", "rules", name))
	if err != nil {
		t.Fatal(err)
	}
	text = holdTime.ReplaceAll(text, []byte("$1 600ms"))
	text = windowTime.ReplaceAllFunc(text, func(found []byte) []byte {
		parts := windowTime.FindSubmatch(found)
		quick, ok := quicker[string(parts[2])]
		if !ok {
			t.Fatalf("%s uses the time %s: say in quicker what the test makes of it", name, parts[2])
		}
		return append(slices.Clone(parts[1]), quick...)
	})
	if err := os.WriteFile(filepath.Join(folder, name), text, 0o600); err != nil {
		t.Fatal(err)
	}
}

const quickPrometheus = `
global: { scrape_interval: 300ms, scrape_timeout: 300ms, evaluation_interval: 300ms }
rule_files: [recording.yml, alerts.yml]
scrape_configs:
  - job_name: coilkeep
    static_configs: [{ targets: [%q] }]
`

// startPrometheus starts Prometheus on a free port with its data in a
// temporary folder.
func startPrometheus(t *testing.T, target string) *watcher {
	t.Helper()
	program, err := exec.LookPath("prometheus")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("prometheus is not installed; .ci/run installs it")
		}
		t.Skip("prometheus is not installed: apt-get install prometheus")
	}
	folder := t.TempDir()
	quickRuleFile(t, folder, "recording.yml")
	quickRuleFile(t, folder, "alerts.yml")
	config := filepath.Join(folder, "prometheus.yml")
	if err := os.WriteFile(config, fmt.Appendf(nil, quickPrometheus, target), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(program, "--config.file="+config, "--storage.tsdb.path="+filepath.Join(folder, "data"),
		"--web.listen-address=127.0.0.1:0")
	messages, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	address := make(chan string, 1)
	read := make(chan struct{})
	var said bytes.Buffer
	go func() {
		defer close(read)
		for lines := bufio.NewScanner(messages); lines.Scan(); {
			fmt.Fprintln(&said, lines.Text())
			if found := listening.FindStringSubmatch(lines.Text()); found != nil {
				select {
				case address <- found[1]:
				default: // also said of a second listener
				}
			}
		}
	}()
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		<-read
		_ = cmd.Wait() // killed, so never nil
		if t.Failed() {
			t.Logf("prometheus said:\n%s", said.String())
		}
	})
	select {
	case at := <-address:
		return &watcher{t: t, url: "http://" + at}
	case <-read:
		t.Fatal("prometheus ended at once")
	case <-time.After(waitFor):
		t.Fatal("prometheus does not listen")
	}
	return nil
}

// get asks the HTTP API and decodes the data of its answer.
func (w *watcher) get(path string, into any) error {
	response, err := http.Get(w.url + path)
	if err != nil {
		return err
	}
	defer response.Body.Close()
	var answer struct {
		Status, Error string
		Data          json.RawMessage
	}
	if err := json.NewDecoder(response.Body).Decode(&answer); err != nil {
		return fmt.Errorf("GET %s: status %d: %w", path, response.StatusCode, err)
	}
	if answer.Status != "success" {
		return fmt.Errorf("GET %s: %s", path, answer.Error)
	}
	return json.Unmarshal(answer.Data, into)
}

// firing lists the alerts that are raised now, as "Name bench role design".
func (w *watcher) firing() ([]string, error) {
	var data struct {
		Alerts []struct {
			State  string
			Labels map[string]string
		}
	}
	if err := w.get("/api/v1/alerts", &data); err != nil {
		return nil, err
	}
	var list []string
	for _, a := range data.Alerts {
		if a.State != "firing" {
			continue
		}
		words := []string{strings.TrimPrefix(a.Labels["alertname"], "Coilkeep")}
		for _, label := range []string{"bench", "role", "design"} {
			if v := a.Labels[label]; v != "" {
				words = append(words, v)
			}
		}
		list = append(list, strings.Join(words, " "))
	}
	return list, nil
}

// until asks again and again until ok, and fails with what it saw last.
func (w *watcher) until(what string, ok func(firing []string) bool) {
	w.t.Helper()
	ask := time.NewTicker(100 * time.Millisecond)
	defer ask.Stop()
	deadline := time.After(waitFor)
	for {
		list, err := w.firing()
		if err == nil && ok(list) {
			return
		}
		select {
		case <-ask.C:
		case <-deadline:
			w.t.Fatalf("waited in vain for %s; raised are %q, %v", what, list, err)
		}
	}
}

func (w *watcher) untilRaised(alerts ...string) {
	w.t.Helper()
	for _, alert := range alerts {
		w.until(alert, func(firing []string) bool { return slices.Contains(firing, alert) })
	}
}

func (w *watcher) untilOver(alerts ...string) {
	w.t.Helper()
	for _, alert := range alerts {
		w.until("the end of "+alert, func(firing []string) bool { return !slices.Contains(firing, alert) })
	}
}

// untilQuiet waits until everything was scraped and evaluated and nothing is
// raised.
func (w *watcher) untilQuiet() {
	w.t.Helper()
	w.until("silence", func(firing []string) bool {
		var recorded struct{ Result []json.RawMessage }
		err := w.get("/api/v1/query?query="+url.QueryEscape("bench_role:coilkeep_instrument_readings:rate5m > 0"), &recorded)
		return err == nil && len(recorded.Result) >= 2 && len(firing) == 0
	})
}

// TestPrometheusRaisesAlertsOnFaults lets a real Prometheus watch a daemon to
// which one thing after another happens: each is raised, and over when it is
// mended. What needs days or gigabytes is tested with made-up series in
// dashboards/tests only.
func TestPrometheusRaisesAlertsOnFaults(t *testing.T) {
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
	w := startPrometheus(t, strings.TrimPrefix(d.url, "http://"))
	database := filepath.Join(folder, "history.db")
	command := func(args ...string) {
		t.Helper()
		var out, problems bytes.Buffer
		args = append(args, "--history", database)
		if code := run(t.Context(), args, strings.NewReader(""), &out, &problems); code != exitOK {
			t.Fatalf("coilkeep %s: exit code %d: %s", strings.Join(args, " "), code, problems.String())
		}
	}
	other := openBeside(t, database)

	// Backups: none, one of long ago, a good one.
	w.untilRaised("BackupMissing")
	other.exec(fmt.Sprintf("INSERT INTO backups (time_us, path) VALUES (%d, 'copy.db')", time.Now().AddDate(0, 0, -8).UnixMicro()))
	w.untilRaised("BackupOld")
	command("backup", filepath.Join(folder, "copy.db"))
	w.untilQuiet()

	// Meter and probe: gone, and saying what cannot be; papers and checks.
	today := time.Now()
	command("instrument", "calibrate", "--bench", "north", "--role", "meter", "--due", today.Add(2*time.Second).Format(time.RFC3339Nano))
	command("instrument", "calibrate", "--bench", "north", "--role", "probe", "--due", today.AddDate(0, 0, 10).Format(time.DateOnly))
	command("instrument", "check-standard", "--bench", "north", "--standard", "box-10k", "--nominal", "10k", "--measured", "10.03k")
	if err := meterPlug.Unplug(); err != nil {
		t.Fatal(err)
	}
	b.ForceProbe(200)
	w.untilRaised("InstrumentDown north meter", "ImpossibleValues north probe", "TemperatureMissing north probe",
		"CalibrationOverdue north meter", "CalibrationDueSoon north probe", "CheckStandardOut north")
	if err := probePlug.Unplug(); err != nil {
		t.Fatal(err)
	}
	w.untilRaised("InstrumentDown north probe", "TemperatureMissing north probe")
	b.StuckProbe(false)
	for _, p := range []*simulate.Plug{meterPlug, probePlug} {
		if err := p.Replug(); err != nil {
			t.Fatal(err)
		}
	}
	command("instrument", "check-standard", "--bench", "north", "--standard", "box-10k", "--nominal", "10k", "--measured", "10.001k")
	command("instrument", "calibrate", "--bench", "north", "--role", "meter", "--due", today.AddDate(1, 0, 0).Format(time.DateOnly))
	w.untilOver("InstrumentDown north meter", "InstrumentDown north probe", "ImpossibleValues north probe",
		"TemperatureMissing north probe", "CalibrationOverdue north meter", "CheckStandardOut north")

	typing := typist{daemon: *d}
	typing.daemon.bench = d.running.benches[1]
	typing.typeIn("probe", "20")
	// Coils: three low, ten on the very limit of 6650 Ω + 6 %.
	for range 3 {
		typing.coil("6000")
	}
	for range 10 {
		typing.coil("7049")
	}
	w.untilRaised("OutsideShareRising south Fen", "UndecidedShareHigh south Fen")

	// The history: locked by another program, then damaged.
	release := other.lock()
	typing.coil("6650")
	w.untilRaised("MeasurementNotSaved south")
	release()
	w.untilOver("MeasurementNotSaved south")
	w.untilRaised("HistoryWritesSlow")
	other.exec("ALTER TABLE backups RENAME TO lost")
	w.untilRaised("HistoryUnreadable")
	other.exec("ALTER TABLE lost RENAME TO backups")
	w.untilOver("HistoryUnreadable")

	// A loose plug loses coil after coil.
	for range 6 {
		b.Attach(simulate.CopperCoil(6650, 21.5))
		d.until("contact", func(s bench.Snapshot) bool { return s.ResistanceOhms != nil })
		if err := meterPlug.Unplug(); err != nil {
			t.Fatal(err)
		}
		d.untilState(capture.Offline)
		b.Detach()
		if err := meterPlug.Replug(); err != nil {
			t.Fatal(err)
		}
		d.untilState(capture.Open)
	}
	w.untilRaised("InstrumentComesAndGoes north meter", "CapturesRefused north")

	if err := d.stop(); err != nil {
		t.Fatal(err)
	}
	w.untilRaised("DaemonUnreachable")
}

// typist measures coils on a bench whose values are typed in.
type typist struct{ daemon testDaemon }

func (p *typist) typeIn(role, value string) {
	p.daemon.t.Helper()
	p.daemon.call("POST", "/api/v1/benches/south/readings", fmt.Sprintf(`{"role":%q,"value":%q}`, role, value), http.StatusOK, nil)
}

// coil types a meter reading as soon as the next coil has its serial number,
// and waits until it is being saved or has been.
func (p *typist) coil(ohms string) {
	p.daemon.t.Helper()
	next := p.daemon.until("the next serial number", func(s bench.Snapshot) bool {
		return s.NextSerial != "" && s.Unsaved == ""
	}).NextSerial
	p.typeIn("meter", ohms)
	p.daemon.until("coil "+next, func(s bench.Snapshot) bool {
		return s.State == string(capture.Unsaved) || s.Last != nil && s.Last.Serial == next
	})
}

// intruder is another program that uses the same database.
type intruder struct {
	t  *testing.T
	db *sql.DB
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
	return intruder{t: t, db: db}
}

func (i intruder) exec(statement string) {
	i.t.Helper()
	if _, err := i.db.ExecContext(i.t.Context(), statement); err != nil {
		i.t.Fatalf("%s: %v", statement, err)
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
