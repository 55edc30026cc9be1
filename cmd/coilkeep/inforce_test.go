package main

import (
	"bytes"
	"fmt"
	"html"
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
		d.until("open clips", func(s bench.Snapshot) bool { return s.State == capture.Open && s.NextSerial == serial })
		d.call("POST", "/api/v1/benches/north/readings", `{"role":"probe","value":"20"}`, http.StatusOK, nil)
		d.call("POST", "/api/v1/benches/north/readings", `{"role":"meter","value":"6690"}`, http.StatusOK, nil)
		return *d.until("coil "+serial, func(s bench.Snapshot) bool { return s.Last != nil && s.Last.Serial == serial }).Last
	}
	due := time.Now().AddDate(0, -1, 0) // overdue
	d.call("POST", "/api/v1/benches/north/calibrations", fmt.Sprintf(
		`{"role":"meter","instrument":"manual","certificate":"K-1","correction_ratio":0.01,"time":%q,"due_at":%q}`,
		due.AddDate(-1, 0, 0).Format(time.RFC3339), due.Format(time.RFC3339)), http.StatusCreated, nil)
	command("instrument", "calibrate", "--bench", "north", "--role", "meter", "--instrument", "spare meter 2",
		"--certificate", "K-2", "--correction-percent", "0", "--due", due.AddDate(2, 0, 0).Format(time.RFC3339))
	d.batch() // the bench asks the history again
	d.until("the batch", func(s bench.Snapshot) bool { return s.Batch != nil })

	m := measure(1)
	if math.Abs(m.R20Ohms-6756.9) > 1e-9 || m.Inputs.CorrectionRatio != 0.01 {
		t.Errorf("R20 = %.10g Ω with correction ratio %g; want 6756.9 Ω with 0.01", m.R20Ohms, m.Inputs.CorrectionRatio)
	}
	// 6690 Ω × 1.01 is 6756.9 Ω, by hand.
	for path, wanted := range map[string][]string{
		"/coils/" + m.Serial:                  {"6.757", "corrected by", "K-1"},
		"/coils/" + m.Serial + "/certificate": {"6.757", "certificate K-1, overdue since"},
		"/instruments":                        {"K-1"},
		"/api/v1/coils/" + m.Serial:           {`"r20_ohms":6756.9,`, `"correction_ratio":0.01`},
		"/api/v1/benches/north":               {`"r20_ohms":6756.9,`, `"correction_ratio":0.01`},
	} {
		text := d.seen(path)
		for _, want := range wanted {
			if !strings.Contains(text, want) {
				t.Errorf("%s lacks %q", path, want)
			}
		}
		if strings.Contains(text, "K-2") {
			t.Errorf("%s cites the certificate of another meter", path)
		}
	}
	// The bench's own page lists all that was entered.
	if !strings.Contains(html.UnescapeString(d.seen("/instruments/north")), "+1.000 %") {
		t.Error("the page of the instruments lacks the correction of 1 %")
	}
	metric := fmt.Sprintf("coilkeep_calibration_due_timestamp_seconds{bench=\"north\",role=\"meter\"} %g", float64(due.Unix()))
	if !strings.Contains(d.seen("/metrics"), metric) {
		t.Errorf("the metrics lack %s", metric)
	}
}

// A certificate cites the calibration that was applied, whatever is entered later as
// if it had been made before: with the same correction or with another, or where
// there was none.
func TestCertificateCitesWhatWasApplied(t *testing.T) {
	d := startDaemon(t, t.TempDir(), manualBench)
	certificate := func(name string, ratio float64, ago time.Duration) {
		t.Helper()
		before := d.bench.Snapshot().LastDeed
		d.call("POST", "/api/v1/benches/north/calibrations", fmt.Sprintf(
			`{"role":"meter","instrument":"manual","certificate":%q,"correction_ratio":%g,"time":%q}`,
			name, ratio, time.Now().Add(-ago).Format(time.RFC3339)), http.StatusCreated, nil)
		d.until("certificate "+name, func(s bench.Snapshot) bool { return s.LastDeed != before })
	}
	measure := func(serial string, ratio float64) record.Measurement {
		t.Helper()
		d.call("POST", "/api/v1/benches/north/readings", `{"role":"probe","value":"20"}`, http.StatusOK, nil)
		d.typedCoil(6690)
		m := *d.bench.Snapshot().Last
		if m.Serial != serial || m.Inputs.CorrectionRatio != ratio {
			t.Fatalf("coil %s was corrected by %g, want %s and %g", m.Serial, m.Inputs.CorrectionRatio, serial, ratio)
		}
		return m
	}
	d.batch()
	d.until("the batch", func(s bench.Snapshot) bool { return s.Batch != nil })
	before := measure("HN-0001", 0)
	if before.MeterCalibrationID == nil || *before.MeterCalibrationID != "" {
		t.Errorf("without a calibration: %v, want an empty id", before.MeterCalibrationID)
	}
	certificate("K-1", 0.01, 3*time.Hour)
	m := measure("HN-0002", 0.01)
	certificate("K-2", 0.01, 2*time.Hour)
	certificate("K-3", 0.02, time.Hour)
	for _, page := range []string{"", "/certificate"} {
		text := d.seen("/coils/" + m.Serial + page)
		if !strings.Contains(text, "certificate K-1") || strings.Contains(text, "K-2") || strings.Contains(text, "K-3") {
			t.Errorf("%s%s does not cite K-1 alone:\n%s", m.Serial, page, text)
		}
		text = d.seen("/coils/" + before.Serial + page)
		if strings.Contains(text, "K-") {
			t.Errorf("%s%s cites a calibration that was entered later:\n%s", before.Serial, page, text)
		}
	}
	var listed struct{ Measurements []record.Measurement }
	d.call("GET", "/api/v1/measurements", "", http.StatusOK, &listed)
	if len(listed.Measurements) != 2 || listed.Measurements[1].MeterCalibrationID == nil ||
		*listed.Measurements[1].MeterCalibrationID != *m.MeterCalibrationID || *m.MeterCalibrationID == "" {
		t.Errorf("the API lists %+v", listed.Measurements)
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
