package metrics

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/promhttp"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"coilkeep/driver"
	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
	"coilkeep/internal/conformity"
	"coilkeep/internal/drift/watch"
	"coilkeep/internal/history"
	"coilkeep/internal/record"
)

var update = flag.Bool("update", false, "rewrite the golden scrape")

var noon = time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC)

// still is a bench that always stands the same.
type still bench.Snapshot

func (s still) Snapshot() bench.Snapshot { return bench.Snapshot(s) }

// north is a bench with everything in order and a batch under way.
func north() bench.Snapshot {
	resistance, temperature := 6721.4, 22.35
	meterAt, probeAt := noon.Add(-200*time.Millisecond), noon.Add(-time.Second)
	return bench.Snapshot{
		Bench: "north", Time: noon, State: capture.Steady,
		ResistanceOhms: &resistance, TemperatureCelsius: &temperature,
		Meter:  bench.Instrument{Role: record.Meter, Driver: "scpi", Up: true, LastAt: &meterAt},
		Probe:  bench.Instrument{Role: record.Probe, Driver: "line", Up: true, LastAt: &probeAt},
		Batch:  &record.Batch{Name: "LM-12", Bench: "north", Design: "Long Meadow", DesignRevision: 1},
		Design: &record.Design{Name: "Long Meadow", Revision: 1, TargetOhms: 6690, LowerOhms: 6355.5, UpperOhms: 7024.5},
	}
}

// south is a bench whose probe is gone and that has never been used.
func south() bench.Snapshot {
	return bench.Snapshot{
		Bench: "south", Time: noon, State: capture.Offline,
		Meter: bench.Instrument{Role: record.Meter, Driver: "line", Fault: "unplugged"},
		Probe: bench.Instrument{Role: record.Probe, Fault: "this bench has no probe"},
	}
}

// answers is a history that gives the answers it was made with. The real one is
// asked in TestRealHistory.
type answers struct {
	statistics   record.BatchStatistics
	calibrations []record.Calibration
	checks       []record.CheckMeasurement
	size         int64
	backup       time.Time
	err          error
}

func (a answers) BatchStatistics(context.Context, string, ...string) (record.BatchStatistics, error) {
	return a.statistics, a.err
}
func (a answers) Calibrations(context.Context, string) ([]record.Calibration, error) {
	return a.calibrations, a.err
}
func (a answers) CheckMeasurements(context.Context, record.CheckFilter) ([]record.CheckMeasurement, error) {
	return a.checks, a.err
}
func (a answers) SizeBytes() (int64, error)                     { return a.size, a.err }
func (a answers) LastBackup(context.Context) (time.Time, error) { return a.backup, a.err }

// StandingIn has a step and two charts signal in every batch.
func (a answers) StandingIn(context.Context, string) ([]string, error) {
	return []string{"WE2", "ewma", "step"}, a.err
}

func full() answers {
	return answers{
		statistics: record.BatchStatistics{Count: 2, MeanOhms: 6701.5, StandardDeviationOhms: 21.25, MinimumOhms: 6686.5, MaximumOhms: 6716.5},
		calibrations: []record.Calibration{
			{Role: record.Meter, DueAt: noon.AddDate(0, 6, 0)},
			{Role: record.Probe, DueAt: noon.AddDate(0, 6, 0)},
		},
		checks: []record.CheckMeasurement{{DeviationRatio: -0.00025}},
		size:   1 << 20,
		backup: noon.AddDate(0, 0, -1),
	}
}

// used is a recorder to which a little of everything has happened.
func used() *Recorder {
	r := NewRecorder()
	r.AddBench("north", record.Meter, record.Probe)
	r.AddBench("south", record.Meter)
	r.ReadingSeen("north", record.Meter, driver.OK)
	r.ReadingSeen("north", record.Meter, driver.OK)
	r.ReadingSeen("north", record.Meter, driver.Overload)
	r.ReadingSeen("north", record.Probe, driver.Unreadable)
	r.Reconnected("south", record.Meter)
	r.BytesDropped("north", record.Meter, 9)
	r.BytesDropped("north", record.Meter, 3)
	recorded := record.Measurement{Bench: "north", Design: "Long Meadow", Serial: "HN-0001",
		R20Ohms: 6716.5, Verdict: conformity.In, Status: record.Recorded, CaptureSeconds: 6.5}
	r.MeasurementRecorded(recorded, 6690)
	typed := record.Measurement{Bench: "north", Design: "Long Meadow", Serial: "HN-0002",
		R20Ohms: 6200, Verdict: conformity.Low, Status: record.Manual}
	r.MeasurementRecorded(typed, 6690)
	r.CaptureRefused("north", capture.TooShort)
	r.HistoryWrite(4 * time.Millisecond)
	return r
}

func scrape(t *testing.T, s Sources) string {
	t.Helper()
	registry, err := s.registry()
	if err != nil {
		t.Fatal(err)
	}
	// The first scrape starts the series of a design that is new.
	if _, err := registry.Gather(); err != nil {
		t.Fatal(err)
	}
	answer := httptest.NewRecorder()
	promhttp.HandlerFor(registry, promhttp.HandlerOpts{ErrorHandling: promhttp.HTTPErrorOnError}).
		ServeHTTP(answer, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	if answer.Code != http.StatusOK {
		t.Fatal(answer.Body.String())
	}
	return answer.Body.String()
}

// TestScrape compares everything that is exported with the golden scrape; the
// build info depends on the build and is left out.
func TestScrape(t *testing.T) {
	t.Parallel()
	got := scrape(t, Sources{Recorder: used(), Benches: []Bench{still(north()), still(south())}, History: full(), Drift: full()})
	got = regexp.MustCompile(`(?m)^coilkeep_build_info\{.*\} 1$`).ReplaceAllString(got, "coilkeep_build_info{…} 1")
	golden := filepath.Join("testdata", "scrape.txt")
	if *update {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("the scrape differs from %s; run with -update and read the difference\ngot:\n%s", golden, got)
	}
}

// TestContractNames holds the names other people's dashboards rest on, spelled
// out once more so that a changed constant is noticed.
func TestContractNames(t *testing.T) {
	t.Parallel()
	text := scrape(t, Sources{Recorder: used(), Benches: []Bench{still(north()), still(south())}, History: full(), Drift: full()})
	for _, series := range []string{
		`coilkeep_instrument_up{bench="north",role="meter"} 1`,
		`coilkeep_instrument_readings_total{bench="north",role="meter",status="ok"} 2`,
		`coilkeep_instrument_reconnects_total{bench="south",role="meter"} 1`,
		`coilkeep_instrument_dropped_bytes_total{bench="north",role="meter"} 12`,
		`coilkeep_instrument_last_reading_timestamp_seconds{bench="north",role="meter"} 1.7734895998e+09`,
		`coilkeep_resistance_ohms{bench="north"} 6721.4`,
		`coilkeep_temperature_celsius{bench="north"} 22.35`,
		`coilkeep_capture_state{bench="north",state="steady"} 1`,
		`coilkeep_measurements_total{bench="north",design="Long Meadow",verdict="in"} 1`,
		`coilkeep_measurement_deviation_ratio_count{bench="north",design="Long Meadow"} 2`,
		`coilkeep_capture_duration_seconds_sum{bench="north"} 6.5`,
		`coilkeep_captures_refused_total{bench="north",reason="too-short"} 1`,
		`coilkeep_batch_r20_ohms{bench="north",design="Long Meadow",statistic="mean"} 6701.5`,
		`coilkeep_drift_signal{bench="north",design="Long Meadow",rule="ewma"} 1`,
		`coilkeep_drift_signal{bench="north",design="Long Meadow",rule="cusum"} 0`,
		`coilkeep_calibration_due_timestamp_seconds{bench="north",role="meter"} 1.7893872e+09`,
		`coilkeep_check_standard_deviation_ratio{bench="north"} -0.00025`,
		`coilkeep_history_size_bytes 1.048576e+06`,
		`coilkeep_history_write_seconds_count 1`,
		`coilkeep_history_last_backup_timestamp_seconds 1.7734032e+09`,
	} {
		if !strings.Contains(text, "\n"+series+"\n") {
			t.Errorf("the scrape lacks %s", series)
		}
	}
	if strings.Contains(text, "HN-") {
		t.Error("a serial number is in the scrape")
	}
}

// TestLint runs Prometheus's own linter, and adds the units it does not know:
// resistances are in ohms and temperatures in degrees Celsius.
func TestLint(t *testing.T) {
	t.Parallel()
	s := Sources{Recorder: used(), Benches: []Bench{still(north()), still(south())}, History: full(), Drift: full()}
	registry, err := s.registry()
	if err != nil {
		t.Fatal(err)
	}
	problems, err := testutil.GatherAndLint(registry)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range problems {
		t.Errorf("%s: %s", p.Metric, p.Text)
	}
	families, err := registry.Gather()
	if err != nil {
		t.Fatal(err)
	}
	if len(families) < 15 {
		t.Fatalf("got %d metrics to lint, want all of them", len(families))
	}
	for _, family := range families {
		if fault := unitFault(family.GetName(), family.GetHelp()); fault != "" {
			t.Errorf("%s: %s", family.GetName(), fault)
		}
	}
}

// unitFault says what is wrong with the unit in a metric's name.
func unitFault(name, help string) string {
	help = strings.ToLower(help)
	isRatio := strings.HasSuffix(name, "_ratio")
	isTotal := strings.HasSuffix(name, "_total")
	isTime := strings.HasSuffix(name, "_seconds")
	switch {
	case !strings.HasPrefix(name, "coilkeep_"):
		return "does not begin with coilkeep_"
	case regexp.MustCompile(`(kilo|milli|mega)ohms|kohms|fahrenheit|kelvin|percent|minutes|_ms\b`).MatchString(name):
		return "is not in a base unit"
	case isRatio || isTotal || isTime:
		return ""
	case strings.Contains(help, "resistance") || strings.Contains(help, "reading of the meter"):
		if !strings.HasSuffix(name, "_ohms") {
			return "is a resistance and does not end in _ohms"
		}
	case strings.Contains(help, "temperature"):
		if !strings.HasSuffix(name, "_celsius") {
			return "is a temperature and does not end in _celsius"
		}
	}
	return ""
}

func TestUnitFault(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, help string
		bad        bool
	}{
		{"coilkeep_resistance_ohms", "Resistance.", false},
		{"coilkeep_resistance_kiloohms", "Resistance.", true},
		{"coilkeep_resistance", "Resistance.", true},
		{"coilkeep_temperature_kelvin", "Temperature.", true},
		{"coilkeep_temperature", "Temperature.", true},
		{"coilkeep_temperature_celsius", "Temperature.", false},
		{"other_ohms", "Resistance.", true},
	} {
		if got := unitFault(c.name, c.help); (got != "") != c.bad {
			t.Errorf("%s: got fault %q, want a fault: %v", c.name, got, c.bad)
		}
	}
}

// TestAbsent has values disappear when they are not known: a frozen value
// would be taken for a live one.
func TestAbsent(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		change func(*bench.Snapshot, *answers)
		gone   string
		stays  string
	}{
		{"probe dead", func(s *bench.Snapshot, _ *answers) {
			s.TemperatureCelsius = nil
			s.Probe.Up = false
		}, Temperature + "{", `coilkeep_instrument_up{bench="north",role="probe"} 0`},
		{"clips open", func(s *bench.Snapshot, _ *answers) { s.ResistanceOhms = nil }, Resistance + "{", Temperature + "{"},
		{"no reading yet", func(s *bench.Snapshot, _ *answers) { s.Meter.LastAt = nil },
			InstrumentLastReading + `{bench="north",role="meter"}`, InstrumentLastReading + `{bench="north",role="probe"}`},
		{"no probe at all", func(s *bench.Snapshot, _ *answers) { s.Probe = bench.Instrument{Role: record.Probe} },
			`role="probe"} `, `coilkeep_instrument_up{bench="north",role="meter"} 1`},
		{"no batch", func(s *bench.Snapshot, _ *answers) { s.Batch = nil }, BatchR20 + "{", Resistance + "{"},
		{"no batch, no drift", func(s *bench.Snapshot, _ *answers) { s.Batch = nil }, DriftSignal + "{", Resistance + "{"},
		{"no coil in the batch", func(_ *bench.Snapshot, a *answers) { a.statistics = record.BatchStatistics{} }, BatchR20 + "{",
			Resistance + "{"},
		{"one coil in the batch", func(_ *bench.Snapshot, a *answers) { a.statistics.Count = 1 },
			`statistic="standard_deviation"`, `statistic="mean"`},
		{"no calibration", func(_ *bench.Snapshot, a *answers) { a.calibrations = nil }, CalibrationDue + "{", HistorySize},
		{"calibration without end", func(_ *bench.Snapshot, a *answers) {
			a.calibrations[0].DueAt, a.calibrations[1].DueAt = time.Time{}, time.Time{}
		}, CalibrationDue + "{", HistorySize},
		{"no check standard", func(_ *bench.Snapshot, a *answers) { a.checks = nil }, CheckStandardDeviation + "{", HistorySize},
		{"no backup", func(_ *bench.Snapshot, a *answers) { a.backup = time.Time{} }, HistoryLastBackup, HistorySize},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			snapshot, answers := north(), full()
			before := scrape(t, Sources{Recorder: NewRecorder(), Benches: []Bench{still(snapshot)}, History: answers, Drift: answers})
			if !strings.Contains(before, c.gone) {
				t.Fatalf("%s is not there even before", c.gone)
			}
			c.change(&snapshot, &answers)
			after := scrape(t, Sources{Recorder: NewRecorder(), Benches: []Bench{still(snapshot)}, History: answers, Drift: answers})
			if strings.Contains(after, c.gone) {
				t.Errorf("%s is still there", c.gone)
			}
			if !strings.Contains(after, c.stays) {
				t.Errorf("%s is gone too", c.stays)
			}
		})
	}
}

// TestHistoryFails has a history that cannot be read spoil only what comes
// from it.
func TestHistoryFails(t *testing.T) {
	t.Parallel()
	var log bytes.Buffer
	broken := full()
	broken.err = errors.New("the disk fails")
	handler, err := Handler(Sources{Recorder: used(), Benches: []Bench{still(north())}, History: broken, Drift: broken,
		Logger: slog.New(slog.NewTextHandler(&log, nil))})
	if err != nil {
		t.Fatal(err)
	}
	answer := httptest.NewRecorder()
	handler.ServeHTTP(answer, httptest.NewRequest("GET", "/metrics", nil))
	if answer.Code != 200 {
		t.Errorf("got status %d, want 200", answer.Code)
	}
	if got := answer.Header().Get("Content-Type"); !strings.HasPrefix(got, "text/plain") {
		t.Errorf("got content type %q, want text/plain", got)
	}
	text := answer.Body.String()
	for _, want := range []string{HistoryUp + " 0", Resistance + `{bench="north"} 6721.4`, "go_goroutines"} {
		if !strings.Contains(text, want) {
			t.Errorf("the scrape lacks %s", want)
		}
	}
	for _, unwanted := range []string{HistorySize, BatchR20, DriftSignal, CalibrationDue, CheckStandardDeviation, HistoryLastBackup} {
		if strings.Contains(text, unwanted) {
			t.Errorf("the scrape holds %s", unwanted)
		}
	}
	if !strings.Contains(log.String(), "the disk fails") {
		t.Errorf("the log does not say why: %s", log.String())
	}
}

// TestRealHistory scrapes a real history file: empty first, then with an older
// and a newer statement of each kind.
func TestRealHistory(t *testing.T) {
	t.Parallel()
	store, err := history.Open(t.Context(), filepath.Join(t.TempDir(), "coilkeep.db"),
		history.Options{Now: func() time.Time { return noon }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := store.Close(); err != nil {
			t.Error(err)
		}
	})
	snapshot := north()
	snapshot.Meter.Identity = "Elder Vale EV-40"
	_, err = store.AddDesign(t.Context(), record.Design{Name: "Long Meadow", TargetOhms: 6690, LowerOhms: 6355.5, UpperOhms: 7024.5,
		AlphaPerKelvin: 0.00393}, "")
	if err == nil {
		_, err = store.OpenBatch(t.Context(), record.BatchStart{Name: "LM-12", Bench: "north", Design: "Long Meadow"})
	}
	if err != nil {
		t.Fatal(err)
	}
	sources := Sources{Recorder: NewRecorder(), Benches: []Bench{still(snapshot)}, History: store, Drift: watch.New(store, time.UTC)}
	empty := scrape(t, sources)
	if !strings.Contains(empty, HistoryUp+" 1") {
		t.Errorf("the history could not be read:\n%s", empty)
	}
	for _, unwanted := range []string{HistoryLastBackup, BatchR20, CalibrationDue, CheckStandardDeviation} {
		if strings.Contains(empty, unwanted) {
			t.Errorf("%s comes from an empty history", unwanted)
		}
	}
	for i, measured := range []float64{8196, 8194} {
		at := noon.Add(time.Duration(i-2) * time.Hour)
		_, err := store.AddCheckMeasurement(t.Context(), record.CheckMeasurement{Time: at, Bench: "north",
			Standard: "eight kilohm", NominalOhms: 8192, MeasuredOhms: measured, Meter: "Elder Vale EV-40"})
		if err != nil {
			t.Fatal(err)
		}
		_, err = store.AddCalibration(t.Context(), record.Calibration{Time: at, Bench: "north", Role: record.Meter,
			Instrument: "Elder Vale EV-40", DueAt: noon.AddDate(i, 0, 0)})
		if err != nil {
			t.Fatal(err)
		}
	}
	_, err = store.AddCalibration(t.Context(), record.Calibration{Time: noon.Add(-time.Minute), Bench: "north", Role: record.Meter,
		Instrument: "spare meter 2", DueAt: noon.AddDate(9, 0, 0)})
	if err != nil {
		t.Fatal(err)
	}
	if err := store.Backup(t.Context(), filepath.Join(t.TempDir(), "copy.db"), false); err != nil {
		t.Fatal(err)
	}
	text := scrape(t, sources)
	for _, want := range []string{
		CheckStandardDeviation + `{bench="north"} 0.000244140625`,
		CalibrationDue + `{bench="north",role="meter"} ` + prometheusNumber(noon.AddDate(1, 0, 0)),
		HistoryLastBackup + " " + prometheusNumber(noon),
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the scrape lacks %s", want)
		}
	}
}

// prometheusNumber is how the text format writes a time.
func prometheusNumber(t time.Time) string {
	return strconv.FormatFloat(float64(t.Unix()), 'g', -1, 64)
}
