package web

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/words"
)

const oldMeter = "Elder Vale,EV-40,1207,1.2"

func TestInstrumentsPage(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	m := w.capture(t, "HN-0001", 6690, noon.Add(-time.Hour))
	for _, c := range []record.Calibration{
		{Time: noon.AddDate(-1, 0, 0), DueAt: noon.AddDate(0, 0, -1), Role: record.Meter, Instrument: oldMeter, Certificate: "EV-7",
			CorrectionRatio: 0.0002},
		{Time: noon.AddDate(-1, 0, 0), DueAt: noon.AddDate(0, 0, 20), Role: record.Probe, Instrument: "line at /dev/ttyUSB1", Certificate: "T-3"},
		{Time: noon, Role: record.Meter, Instrument: "a meter on the shelf", Certificate: "EV-8"},
	} {
		c.Bench = "north"
		if _, err := w.store.AddCalibration(t.Context(), c); err != nil {
			t.Fatal(err)
		}
	}
	w.north.set(func(s *bench.Snapshot) {
		s.Last = &m
		s.Meter.Reconnects, s.Meter.LastRaw = 3, "+9.90000000E+37"
		s.Probe.Up, s.Probe.Fault = false, "unplugged: is the cable in?"
	})
	w.start(t)
	for _, path := range []string{"/instruments", "/instruments/north"} {
		wantText(t, w.page(t, path),
			"Meter answers", "Identity "+oldMeter, "scpi on /dev/ttyUSB0", "3 since coilkeep was started", "+9.90000000E+37",
			"±(0.05 % + 0.3 Ω), as of the last coil", "EV-7, "+words.Day(noon.AddDate(-1, 0,
				0), time.Local)+", corrected by +0.020 %; due "+words.Day(noon.AddDate(0, 0, -1), time.Local)+" overdue",
			"Probe does not answer", "unplugged: is the cable in?", "T-3, "+words.Day(noon.AddDate(-1, 0, 0),
				time.Local)+"; due "+words.Day(noon.AddDate(0, 0,
				20), time.Local)+" due soon")
	}
	wantNoText(t, w.page(t, "/instruments"), "EV-8")
	wantText(t, w.page(t, "/instruments/north"), "EV-8")
}

// TestMeasuringByForm has leads and standards be measured from the page, which
// says what was kept, or what is wrong.
func TestMeasuringByForm(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	page := w.page(t, "/instruments/north")
	wantText(t, page, "Clip the two clips firmly onto each other")
	wantNoText(t, page, "Kept:")

	page = string(w.fill(t, "/instruments/north/leads", url.Values{"by": {"Ada"}}).body)
	wantText(t, page, "Kept: the leads measure 0.26 ± 0.02 Ω", "0.26 Ω ± 0.02 Ω "+oldMeter+" Ada")
	page = string(w.fill(t, "/instruments/north/standard", url.Values{"standard": {"R6k8"}, "nominal_ohms": {"6.8k"}, "by": {"Ada"}}).body)
	wantText(t, page, "Kept: R6k8 measures 6.8007 kΩ, +0.010 % from its reference value", "R6k8 6800 Ω 6800.68 Ω +0.010 % 22.35 °C")
	wantNoText(t, page, "Kept: the leads")
	// The next time the same standard is offered.
	if !strings.Contains(page, `name="standard" required autocomplete="off" value="R6k8"`) {
		t.Error("the standard of the last time is not filled in")
	}
	wantText(t, w.page(t, "/instruments"), "Leads of 0.26 ± 0.02 Ω")

	for _, c := range []struct {
		name, path string
		values     url.Values
		status     int
		text       string
	}{
		{"no standard", "standard", url.Values{"nominal_ohms": {"6.8k"}}, 422, "is missing: write what stands on the resistor"},
		{"no value", "standard", url.Values{"standard": {"R6k8"}}, 422, "is missing: write a resistance"},
		{"no number", "standard", url.Values{"standard": {"R6k8"}, "nominal_ohms": {"6k8k"}}, 422, "6k8k"},
	} {
		answer := w.fill(t, "/instruments/north/"+c.path, c.values)
		if answer.status != c.status {
			t.Errorf("%s: got status %d, want %d", c.name, answer.status, c.status)
		}
		wantText(t, string(answer.body), c.text)
	}
	w.north.fail(fmt.Errorf("%w: the meter shows 7161 Ω; clip them firmly onto each other", bench.ErrState))
	for _, path := range []string{"leads", "standard"} {
		answer := w.fill(t, "/instruments/north/"+path, url.Values{"standard": {"R6k8"}, "nominal_ohms": {"6.8k"}})
		if answer.status != http.StatusConflict {
			t.Errorf("%s: got status %d, want %d", path, answer.status, http.StatusConflict)
		}
		wantText(t, string(answer.body), "the meter shows 7161 Ω")
	}
}

func TestCalibrationByForm(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	page := string(w.fill(t, "/instruments/north/calibrations", url.Values{"role": {"meter"}, "certificate": {"EV-9"}, "date": {"2026-03-02"},
		"due_at": {"2027-03-02"}, "correction_percent": {"-0,02"}, "by": {"Ada"}, "note": {"at 10 kΩ"}}).body)
	wantText(t, page, "Kept: certificate EV-9 of the meter; from now on readings are corrected by −0.020 %",
		"2026-03-02 meter "+oldMeter+" EV-9 −0.020 % 2027-03-02 Ada at 10 kΩ")
	list, err := w.store.Calibrations(t.Context(), "north")
	if err != nil || len(list) != 1 {
		t.Fatalf("got %d calibrations, %v", len(list), err)
	}
	if c := list[0]; c.Instrument != oldMeter || c.CorrectionRatio != -0.0002 || c.By != "Ada" ||
		!c.DueAt.Equal(time.Date(2027, 3, 2, 0, 0, 0, 0, time.Local)) {
		t.Errorf("got %+v", c)
	}
	for _, c := range []struct {
		name   string
		values url.Values
		text   string
	}{
		{"no such role", url.Values{"role": {"winder"}}, `must be "meter" or "probe"`},
		{"no date", url.Values{"role": {"meter"}, "date": {"March"}}, `"March" is not a date`},
		{"tomorrow", url.Values{"role": {"meter"}, "date": {"2026-03-20"}}, "must not be in the future"},
		{"due before", url.Values{"role": {"meter"}, "date": {"2026-03-02"}, "due_at": {"2026-03-01"}}, "must not be before"},
		{"a ratio of one", url.Values{"role": {"meter"}, "correction_percent": {"100"}}, "must be from -10 to 10, not 100"},
		{"a correction of the probe", url.Values{"role": {"probe"}, "correction_percent": {"1"}}, "is of the meter only"},
	} {
		answer := w.fill(t, "/instruments/north/calibrations", c.values)
		if answer.status != http.StatusUnprocessableEntity {
			t.Errorf("%s: got status %d, want %d", c.name, answer.status, http.StatusUnprocessableEntity)
		}
		wantText(t, string(answer.body), c.text)
	}
}

// TestInstrumentsByProgram asks the same by the API.
func TestInstrumentsByProgram(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	zero := want[record.LeadZero](t, w.ask(t, "POST", "/api/v1/benches/north/leads", "{}"), http.StatusCreated)
	if zero.Ohms != 0.26 || zero.Meter != oldMeter {
		t.Errorf("got %+v", zero)
	}
	check := want[record.CheckMeasurement](t, w.ask(t, "POST", "/api/v1/benches/north/standard",
		`{"standard":"R6k8","nominal_ohms":6800}`), http.StatusCreated)
	if check.Standard != "R6k8" || check.NominalOhms != 6800 || check.TemperatureCelsius == nil {
		t.Errorf("got %+v", check)
	}
	added := want[record.Calibration](t, w.ask(t, "POST", "/api/v1/benches/north/calibrations",
		`{"role":"probe","certificate":"T-3","due_at":"2027-01-01T00:00:00Z","by":"Ada"}`), http.StatusCreated)
	if added.Instrument != "line at /dev/ttyUSB1" || added.DueAt.Year() != 2027 || !added.Time.Equal(noon) {
		t.Errorf("got %+v", added)
	}
	want[record.Calibration](t, w.ask(t, "POST", "/api/v1/benches/north/calibrations",
		`{"role":"meter","instrument":"on the shelf","time":"2026-03-01T00:00:00Z","correction_ratio":0.001}`), http.StatusCreated)
	list := want[struct{ Calibrations []record.Calibration }](t, w.ask(t, "GET", "/api/v1/benches/north/calibrations", nil), http.StatusOK)
	if len(list.Calibrations) != 2 || list.Calibrations[0].ID != added.ID || !list.Calibrations[1].DueAt.IsZero() ||
		list.Calibrations[1].Instrument != "on the shelf" {
		t.Errorf("got %+v", list)
	}

	w.north.fail(fmt.Errorf("%w: the clips are open", bench.ErrState))
	for _, c := range []struct {
		path, body, field string
		status            int
	}{
		{"leads", "{}", "", http.StatusConflict},
		{"leads", `{"force":true}`, "force", http.StatusUnprocessableEntity},
		{"standard", `{"standard":"R6k8","nominal_ohms":6800}`, "", http.StatusConflict},
		{"standard", `{"nominal_ohms":6800}`, "standard", http.StatusUnprocessableEntity},
		{"calibrations", `{"certificate":"T-3"}`, "role", http.StatusUnprocessableEntity},
		{"calibrations", `{"role":"meter","time":"March"}`, "time", http.StatusUnprocessableEntity},
		{"calibrations", `{"role":"meter","time":"2030-01-01T00:00:00Z"}`, "time", http.StatusUnprocessableEntity},
		{"calibrations", `{"role":"meter","correction_ratio":0.5}`, "correction_ratio", http.StatusUnprocessableEntity},
	} {
		got := want[problem.Details](t, w.ask(t, "POST", "/api/v1/benches/north/"+c.path, c.body), c.status)
		if got.Field != c.field {
			t.Errorf("%s %s: got field %q, want %q", c.path, c.body, got.Field, c.field)
		}
	}
	want[problem.Details](t, w.ask(t, "GET", "/api/v1/benches/south/calibrations", nil), http.StatusNotFound)
	want[problem.Details](t, w.ask(t, "POST", "/api/v1/benches/south/leads", `{}`), http.StatusNotFound)
}

// TestInstrumentsThatPeopleRead has nothing be measured by itself where a
// person reads the meter.
func TestInstrumentsThatPeopleRead(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.north.set(func(s *bench.Snapshot) {
		s.Meter = bench.Instrument{Role: record.Meter, Driver: "manual", Up: true}
		s.Probe = bench.Instrument{}
	})
	w.start(t)
	page := w.page(t, "/instruments/north")
	wantText(t, page, "read by a person; write the lead resistance into the configuration (lead_ohms)", "Identity it does not say",
		"Read by manual")
	wantNoText(t, page, "Probe", "Measure the leads", "Measure the standard")
}
