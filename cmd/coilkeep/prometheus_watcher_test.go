package main

import (
	"bufio"
	"bytes"
	"encoding/json"
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
)

// watcher is a real Prometheus that scrapes a daemon three times a second and
// evaluates the rules in dashboards/, made quicker.
type watcher struct {
	t      *testing.T
	url    string
	config string // path of its configuration
	target string // host and port of the daemon
}

// quicker says what the times in the rules become, so that hours pass within a
// test. Thresholds stay as they are.
var quicker = map[string]time.Duration{
	"5m": 3 * time.Second, "1h": 25 * time.Second, "2h": 25 * time.Second,
	"6h": 8 * time.Second, "1d": 30 * time.Second, "7d": 40 * time.Second,
}

const (
	scrapeEvery = 300 * time.Millisecond // also the longest that a scrape may take
	holdFor     = 600 * time.Millisecond // what every "for" of the rules becomes
)

// unhurried stretches a time of the watcher in CI, where the race detector and
// the tests of other packages keep the machine busy.
func unhurried(d time.Duration) time.Duration {
	if os.Getenv("CI") != "" {
		return 2 * d
	}
	return d
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
	text = holdTime.ReplaceAll(text, fmt.Appendf(nil, "$1 %dms", unhurried(holdFor).Milliseconds()))
	text = windowTime.ReplaceAllFunc(text, func(found []byte) []byte {
		parts := windowTime.FindSubmatch(found)
		quick, ok := quicker[string(parts[2])]
		if !ok {
			t.Fatalf("%s uses the time %s: say in quicker what the test makes of it", name, parts[2])
		}
		return fmt.Appendf(slices.Clone(parts[1]), "%dms", unhurried(quick).Milliseconds())
	})
	if err := os.WriteFile(filepath.Join(folder, name), text, 0o600); err != nil {
		t.Fatal(err)
	}
}

const quickPrometheus = `
global: { scrape_interval: %[3]dms, scrape_timeout: %[3]dms, evaluation_interval: %[3]dms }
rule_files: [recording.yml, alerts.yml]
scrape_configs:
  - job_name: %[1]s
    static_configs: [{ targets: [%[2]q] }]
`

// rightJob is the name of the scrape job that the rules know.
const rightJob = "coilkeep"

// configure writes the configuration with a scrape job of that name.
func (w *watcher) configure(job string) {
	w.t.Helper()
	if err := os.WriteFile(w.config, fmt.Appendf(nil, quickPrometheus, job, w.target, unhurried(scrapeEvery).Milliseconds()),
		0o600); err != nil {
		w.t.Fatal(err)
	}
}

// rename changes the name of the scrape job while Prometheus runs, which looks
// for changed jobs every five seconds.
func (w *watcher) rename(job string) {
	w.t.Helper()
	w.configure(job)
	response, err := http.Post(w.url+"/-/reload", "", nil)
	if err != nil {
		w.t.Fatal(err)
	}
	defer response.Body.Close()
	if response.StatusCode != http.StatusOK {
		w.t.Fatalf("reload: status %d", response.StatusCode)
	}
}

// startPrometheus starts Prometheus on a free port with its data in a
// temporary folder. It scrapes target in a job of that name.
func startPrometheus(t *testing.T, job, target string) *watcher {
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
	w := &watcher{t: t, config: filepath.Join(folder, "prometheus.yml"), target: target}
	w.configure(job)
	cmd := exec.Command(program, "--config.file="+w.config, "--storage.tsdb.path="+filepath.Join(folder, "data"),
		"--web.listen-address=127.0.0.1:0", "--web.enable-lifecycle")
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
		w.url = "http://" + at
		return w
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

// series asks which series expr has now, by their labels.
func (w *watcher) series(expr string) ([]map[string]string, error) {
	var found struct {
		Result []struct{ Metric map[string]string }
	}
	err := w.get("/api/v1/query?query="+url.QueryEscape(expr), &found)
	var list []map[string]string
	for _, r := range found.Result {
		list = append(list, r.Metric)
	}
	return list, err
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
		reading, err := w.series("bench_role:coilkeep_instrument_readings:rate5m > 0")
		return err == nil && len(reading) >= 2 && len(firing) == 0
	})
}
