package web

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/pdftest"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// TestCoilPage compares the page of a coil with its record.
func TestCoilPage(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	at := noon.Add(-time.Hour)
	calibrated := func(c record.Calibration) {
		t.Helper()
		c.Bench, c.Role = "north", record.Meter
		if _, err := w.store.AddCalibration(t.Context(), c); err != nil {
			t.Fatal(err)
		}
	}
	calibrated(record.Calibration{Time: at.AddDate(-2, 0, 0), DueAt: at.AddDate(-1, 0, 0), Instrument: shopMeter, Certificate: "EV-7"})
	calibrated(record.Calibration{Time: at.AddDate(0, -1, 0), Instrument: "another meter", Certificate: "EV-8"})
	m := w.capture(t, "HN-0001", 6690, at)
	calibrated(record.Calibration{Time: m.Time.Add(time.Minute), Instrument: shopMeter, Certificate: "EV-9"})
	// One entered afterwards was not applied, whatever its date.
	calibrated(record.Calibration{Time: at.AddDate(0, 0, -1), Instrument: shopMeter, Certificate: "EV-10"})
	w.start(t)
	wantText(t, w.page(t, "/coils/hn-0001?measurement="+m.ID), "Coil HN-0001")
	page := w.page(t, "/coils/HN-0001")
	wantText(t, page,
		"Coil HN-0001", "Long Meadow , revision 1; batch LM-1 , number 1; wound",
		"in tolerance R20 "+words.OhmsWithin(m.R20Ohms, m.ExpandedUncertaintyOhms), "95 %", "from the target of 6.69 kΩ",
		"The largest share, ", " comes from "+m.Budget[0].Source,
		"Leads subtracted 0.25 ± 0.05 Ω", "Copper α = 0.00393 per K at 20 °C", "guard band 1 × U",
		// The calibration of that time, of that meter, and that it was overdue.
		"good to ±(0.05 % + 0.3 Ω), not corrected; certificate EV-7, calibrated "+words.Day(at.AddDate(-2, 0, 0),
			time.Local)+", due "+words.Day(at.AddDate(-1, 0, 0), time.Local)+" overdue then",
		"no calibration was recorded by then", m.ID)
	wantNoText(t, page, "EV-8", "EV-9", "EV-10", "All 1 measurements")
	for _, component := range m.Budget {
		wantText(t, page, component.Source)
	}
	// A temperature is in degrees, what it may be off by in kelvin.
	if _, after, _ := strings.Cut(textOf(page), r20.ProbeSource); !regexp.MustCompile(`^ \d+ % \S+ Ω 21(\.\d+)? °C 0\.1\d+ K ` +
		`rectangular −\d+(\.\d+)? Ω/K`).MatchString(after) {
		t.Errorf("the budget says of the probe %.60q", after)
	}
	// The picture of the capture is drawn for both widths, with the approach
	// and the window.
	pictures := regexp.MustCompile(`(?s)<svg[^>]*class="chart".*?</svg>`).FindAllString(page, -1)
	if len(pictures) != 4 {
		t.Fatalf("got %d pictures, want the scale and the capture, each for two widths", len(pictures))
	}
	for _, text := range []string{"seconds since the coil was clipped on", "approach", "steady window", "temperature (°C)"} {
		for _, picture := range pictures[2:] {
			if !strings.Contains(picture, text) {
				t.Errorf("a picture of the capture lacks %q", text)
			}
		}
	}
}

// TestCoilPageShowsWhatBecameOfIt has a coil be shown by what stands, and what
// does not stand be shown as such, in words.
func TestCoilPageShowsWhatBecameOfIt(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	first := w.capture(t, "HN-0001", 6690, noon.Add(-time.Hour))
	w.start(t)

	// A form without a reason changes nothing and says what is missing.
	answer := w.fill(t, "/coils/HN-0001/void", url.Values{"measurement": {first.ID}, "reason": {"  "}})
	if answer.status != http.StatusUnprocessableEntity {
		t.Errorf("without a reason: got status %d, want %d", answer.status, http.StatusUnprocessableEntity)
	}
	wantText(t, string(answer.body), "must not be empty: say why it is withdrawn")
	if coil, err := w.store.Coil(t.Context(), "HN-0001"); err != nil || !coil.Measurements[0].Stands() {
		t.Fatalf("it was withdrawn without a reason: %v", err)
	}

	answer = w.fill(t, "/coils/HN-0001/void", url.Values{"measurement": {first.ID}, "reason": {"the clip slipped"}})
	page := string(answer.body)
	if answer.status != http.StatusOK || !strings.Contains(page, `class="coil withdrawn"`) {
		t.Errorf("got status %d, or a page that shows it as standing", answer.status)
	}
	wantText(t, page, "This measurement is void: the clip slipped. It must not be used.", "void : measurement")
	wantNoText(t, page, "Certificate", "Withdraw this measurement")

	answer = w.fill(t, "/coils/HN-0001/void", url.Values{"measurement": {first.ID}, "reason": {"again"}})
	if answer.status != http.StatusConflict {
		t.Errorf("the second time: got status %d, want %d", answer.status, http.StatusConflict)
	}

	second := w.capture(t, "HN-0001", 6600, noon.Add(-30*time.Minute))
	page = w.page(t, "/coils/HN-0001")
	wantText(t, page, "All 2 measurements of this coil", "void : the clip slipped", second.ID, "Certificate")
	wantNoText(t, page, "must not be used")
	page = w.page(t, "/coils/HN-0001?measurement="+first.ID)
	wantText(t, page, "must not be used")
	for _, path := range []string{"/coils/HN-0001/certificate?measurement=", "/coils/HN-0001/certificate.pdf?measurement="} {
		answer := w.ask(t, "GET", path+first.ID, nil)
		if answer.status != http.StatusConflict {
			t.Errorf("%s of a void measurement: got status %d, want %d", path, answer.status, http.StatusConflict)
		}
		wantText(t, string(answer.body), "the clip slipped")
	}
}

func TestCertificate(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.Contact = "Heron Lane 7, coils@example.org"
	w.wind(t)
	m := w.capture(t, "HN-0001", 6690, noon.Add(-time.Hour))
	w.start(t)
	r20Text := words.OhmsWithin(m.R20Ohms, m.ExpandedUncertaintyOhms)
	wantText(t, w.page(t, "/coils/HN-0001/certificate"), "Heron Lane Coils", "Heron Lane 7, coils@example.org", "HN-0001", r20Text, "35 °C",
		"Before anybody measures")

	answer := w.ask(t, "GET", "/coils/HN-0001/certificate.pdf", nil)
	if answer.status != http.StatusOK || answer.header.Get("Content-Type") != pdfType ||
		answer.header.Get("Content-Disposition") != `attachment; filename="certificate HN-0001.pdf"` {
		t.Fatalf("got status %d, header %v", answer.status, answer.header)
	}
	var said []string
	for _, page := range pdftest.Pages(t, answer.body) {
		said = append(said, page...)
	}
	for _, text := range []string{"HN-0001", r20Text} {
		if !strings.Contains(strings.Join(said, " "), text) {
			t.Errorf("the PDF lacks %q: %q", text, said)
		}
	}
}

func TestFind(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	yesterday := noon.Add(-24 * time.Hour)
	w.measure(t, "HN-0001", 6690, yesterday)
	w.measure(t, "HN-0002", 6700, noon.Add(-30*time.Minute))
	w.measure(t, "HN-00021", 6700, noon.Add(-time.Minute))
	w.start(t)
	for _, c := range []struct {
		name, text string
		want       []string
		not        []string
	}{
		{"nothing typed", "", []string{"Latest coils HN-00021", "HN-0001"}, nil},
		{"a whole serial", "HN-0002", []string{"Coil HN-0002", "Where the uncertainty comes from"}, nil},
		{"as a scanner sends it", " HN-0001 ", []string{"Coil HN-0001", "Where the uncertainty comes from"}, nil},
		{"as its label says it", "HN-0001 R20 6.690 +- 0.018 KOHM 2026-03-14", []string{"Coil HN-0001", "Where the uncertainty comes from"}, nil},
		{"in small letters", "hn-0001", []string{"Coil HN-0001", "Where the uncertainty comes from"}, nil},
		{"the beginning", "hn-0002", []string{"Coils HN-00021", "HN-0002 in tolerance"}, []string{"HN-0001"}},
		{"a batch", "lm-1", []string{"Batches LM-1"}, []string{"HN-0001"}},
		{"a design", "meadow", []string{"Batches LM-1", "Designs Long Meadow , 6.69 kΩ"}, []string{"HN-0001"}},
		{"today", "Today", []string{"Coils of " + dayInWords(noon) + " HN-0002", "HN-00021", "Batches opened that day LM-1"},
			[]string{"HN-0001"}},
		{"a date", words.Day(yesterday, time.Local), []string{"Coils of " + dayInWords(yesterday) + " HN-0001"}, []string{"HN-0002", "Batches"}},
		{"a date in words", yesterday.Local().Format("2 January 2006"), []string{"Coils of " + dayInWords(yesterday) + " HN-0001"},
			[]string{"HN-0002"}},
		{"a day without coils", "2026-03-01", []string{"Nothing was measured on Sunday, 1 March 2026"}, nil},
		{"nothing found", "Short", []string{"No serial number begins with “Short”"}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			page := w.page(t, "/coils?q="+url.QueryEscape(c.text))
			wantText(t, page, c.want...)
			wantNoText(t, page, c.not...)
		})
	}
}

// TestFindPagesADay has a day with many coils be listed to its end.
func TestFindPagesADay(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	for i := range foundCoils + 2 {
		w.measure(t, "HN-1"+string(rune('A'+i/26))+string(rune('A'+i%26)), 6690, noon.Add(time.Duration(i-100)*time.Second))
	}
	w.start(t)
	page := w.page(t, "/coils?q=today")
	next := regexp.MustCompile(`/coils\?q=today&amp;after=[0-9a-f-]+`).FindString(page)
	if next == "" {
		t.Fatal("the page does not lead on")
	}
	page = w.page(t, strings.ReplaceAll(next, "&amp;", "&"))
	wantText(t, page, "HN-1BY", "HN-1BZ")
	wantNoText(t, page, "HN-1AA", "later that day")
}
