package main

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
	"coilkeep/internal/record"
)

// Whatever is entered of another instrument, the calibration of this one stays in
// force for what is measured, for pages and papers, and for its due date.
func TestCalibrationOfAnotherInstrument(t *testing.T) {
	folder := t.TempDir()
	d := startDaemon(t, folder, manualBench)
	command := func(args ...string) {
		t.Helper()
		var out, problems bytes.Buffer
		args = append(args, "--history", filepath.Join(folder, "history.db"))
		if code := run(t.Context(), args, strings.NewReader(""), &out, &problems); code != exitOK {
			t.Fatalf("coilkeep %s: exit code %d: %s", strings.Join(args, " "), code, problems.String())
		}
	}
	measure := func(next int) record.Measurement {
		t.Helper()
		serial := fmt.Sprintf("HN-%04d", next)
		d.until("open clips", func(s bench.Snapshot) bool { return s.State == string(capture.Open) && s.NextSerial == serial })
		d.call("POST", "/api/v1/benches/north/readings", `{"role":"probe","value":"20"}`, http.StatusOK, nil)
		d.call("POST", "/api/v1/benches/north/readings", `{"role":"meter","value":"6690"}`, http.StatusOK, nil)
		return *d.until("coil "+serial, func(s bench.Snapshot) bool { return s.Last != nil && s.Last.Serial == serial }).Last
	}
	due := time.Now().AddDate(0, 1, 0)
	command("instrument", "calibrate", "--bench", "north", "--role", "meter", "--instrument", "manual",
		"--certificate", "K-1", "--correction-percent", "1", "--due", due.Format(time.RFC3339))
	command("instrument", "calibrate", "--bench", "north", "--role", "meter", "--instrument", "spare meter 2",
		"--certificate", "K-2", "--correction-percent", "0", "--due", due.AddDate(1, 0, 0).Format(time.RFC3339))
	d.batch() // the bench asks the history again
	d.until("the batch", func(s bench.Snapshot) bool { return s.Batch != nil })

	m := measure(1)
	if math.Abs(m.R20Ohms-6756.9) > 1e-9 || m.Inputs.CorrectionRatio != 0.01 {
		t.Errorf("R20 = %.10g Ω with correction ratio %g; want 6756.9 Ω with 0.01", m.R20Ohms, m.Inputs.CorrectionRatio)
	}
	coil := d.seen("/coils/" + m.Serial)
	for _, want := range []string{"6.757", "corrected by", "K-1"} {
		if !strings.Contains(coil, want) {
			t.Errorf("the page of the coil lacks %q", want)
		}
	}
	if strings.Contains(coil, "K-2") {
		t.Error("the page of the coil cites the certificate of another meter")
	}
	if page := d.seen("/instruments"); !strings.Contains(page, "K-1") || strings.Contains(page, "K-2") {
		t.Error("the page of the instruments has another calibration in force")
	}
	metric := fmt.Sprintf("coilkeep_calibration_due_timestamp_seconds{bench=\"north\",role=\"meter\"} %g", float64(due.Unix()))
	if !strings.Contains(d.seen("/metrics"), metric) {
		t.Errorf("the metrics lack %s", metric)
	}
}

// seen is the text of a page.
func (d *testDaemon) seen(path string) string {
	d.t.Helper()
	response, err := http.Get(d.url + path)
	if err != nil {
		d.t.Fatal(err)
	}
	defer response.Body.Close()
	text, err := io.ReadAll(response.Body)
	if err != nil || response.StatusCode != http.StatusOK {
		d.t.Fatalf("GET %s: status %d, %v", path, response.StatusCode, err)
	}
	return string(text)
}
