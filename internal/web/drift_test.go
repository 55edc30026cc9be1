package web

import (
	"context"
	"fmt"
	"maps"
	"math/rand/v2"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/pdftest"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// windCoils measures coils of batch LM-1, a minute apart, by a seeded hand that
// scatters by 20 Ω about a level.
func (w *testShop) windCoils(t *testing.T, first, last int, ohms float64) {
	t.Helper()
	random := rand.New(rand.NewPCG(7, uint64(first)))
	for i := first; i <= last; i++ {
		w.measure(t, fmt.Sprintf("HN-%04d", i), ohms+20*random.NormFloat64(), noon.Add(time.Duration(i-100)*time.Minute))
	}
}

func TestBatchDriftAPI(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	const path = "/api/v1/batches/LM-1/drift"
	if r := w.ask(t, "GET", path, nil); r.status != http.StatusConflict || !strings.Contains(string(r.body), "no measured coils") {
		t.Errorf("without a coil: %d %s", r.status, r.body)
	}
	if r := w.ask(t, "GET", "/api/v1/batches/LM-2/drift", nil); r.status != http.StatusNotFound {
		t.Errorf("an unknown batch: %d", r.status)
	}
	w.windCoils(t, 1, 30, 6750)
	if r := w.ask(t, "POST", path+"/acknowledge", `{"note": "seen"}`); r.status != http.StatusConflict {
		t.Errorf("nothing to take note of: %d %s", r.status, r.body)
	}
	w.windCoils(t, 31, 45, 6850)
	got := want[workshop.Drift](t, w.ask(t, "GET", path, nil), http.StatusOK)
	if !got.News || !slices.Contains(got.Standing, workshop.SignalStep) || len(got.Points) != 45 || len(got.ChangePoints) != 1 ||
		got.ChangePoints[0].LastBefore != 30 || got.Note != nil {
		t.Errorf("news %v, standing %v, changes %+v", got.News, got.Standing, got.ChangePoints)
	}
	if r := w.ask(t, "GET", path, nil); !strings.Contains(string(r.body), `"earlier_trends":[`) {
		t.Error("the answer lacks the trends that have ended")
	}
	if r := w.ask(t, "POST", path+"/acknowledge", `{"note": " "}`); r.status != http.StatusUnprocessableEntity ||
		!strings.Contains(string(r.body), `"field":"note"`) {
		t.Errorf("an empty note: %d %s", r.status, r.body)
	}
	entry := want[record.JournalEntry](t, w.ask(t, "POST", path+"/acknowledge", `{"note": "new felt"}`), http.StatusCreated)
	if got = want[workshop.Drift](t, w.ask(t, "GET", path, nil), http.StatusOK); got.News || got.Note == nil || got.Note.ID != entry.ID {
		t.Errorf("taken note of: news %v, note %+v", got.News, got.Note)
	}
	for body, want := range map[string]int{
		`{"from_sequence": 31, "count": 12, "reason": "new felt"}`: http.StatusCreated,
		`{"from_sequence": 31, "count": 12, "reason": ""}`:         http.StatusUnprocessableEntity,
		`{"from_sequence": 31, "count": 3, "reason": "x"}`:         http.StatusUnprocessableEntity,
		`{"from_sequence": 40, "count": 12, "reason": "x"}`:        http.StatusUnprocessableEntity,
	} {
		if r := w.ask(t, "POST", "/api/v1/batches/LM-1/baseline", body); r.status != want {
			t.Errorf("%s: %d %s, want %d", body, r.status, r.body, want)
		}
	}
	if got = want[workshop.Drift](t, w.ask(t, "GET", path, nil), http.StatusOK); !got.Baseline.Frozen || got.Baseline.Count != 12 {
		t.Errorf("baseline %+v, want the revised one", got.Baseline)
	}
	winder := want[workshop.Drift](t, w.ask(t, "GET", "/api/v1/winders/W1/drift", nil), http.StatusOK)
	if len(winder.Points) != 45 || winder.Summary == "" {
		t.Errorf("winder: %d points", len(winder.Points))
	}
	if r := w.ask(t, "GET", "/api/v1/winders/W9/drift", nil); r.status != http.StatusNotFound {
		t.Errorf("an unknown winder: %d %s", r.status, r.body)
	}
}

func (w *testShop) shows(t *testing.T, path string, wanted ...string) string {
	t.Helper()
	r := w.ask(t, "GET", path, nil)
	text := string(r.body)
	if r.status != http.StatusOK {
		t.Fatalf("%s: status %d: %s", path, r.status, text)
	}
	for _, want := range wanted {
		if !strings.Contains(text, want) {
			t.Errorf("%s lacks %q", path, want)
		}
	}
	return text
}

func TestDriftPages(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	w.shows(t, "/winders", "W1", "Long Meadow")
	w.shows(t, "/spools", "tells its spool yet")
	w.shows(t, "/batches/LM-1", "No coil of this batch is measured yet")
	w.windCoils(t, 1, 30, 6750)
	w.windCoils(t, 31, 45, 6850)
	w.shows(t, "/batches/LM-1", "From coil 31", `role="status"`, "a step", "Take note", "control limits", "level", "What this rests on",
		"EWMA, a running mean", "Let other coils set the limits")
	w.shows(t, "/benches/north/run", "From coil 31", `data-do="acknowledge" data-batch="LM-1"`, `href="#finding"`)
	w.shows(t, "/winders/W1?design=Long+Meadow", "From coil 31", "Drift report (PDF)")
	w.shows(t, "/winders/W1", "From coil 31")
	w.shows(t, "/spools", "S-7", "Ohms a turn")
	if r := w.ask(t, "GET", "/spools?design=Fen", nil); r.status != http.StatusUnprocessableEntity ||
		!strings.Contains(string(r.body), "there is no design") {
		t.Errorf("the spool book of an unknown design: status %d", r.status)
	}
	for _, path := range []string{"/winders/W9", "/winders/W1?design=Fen"} {
		if r := w.ask(t, "GET", path, nil); r.status != http.StatusNotFound {
			t.Errorf("%s: status %d", path, r.status)
		}
	}
	for path, heading := range map[string]string{"/batches/LM-1/drift.pdf": "Batch LM-1",
		"/winders/W1/drift.pdf?design=Long+Meadow": "Winder W1 of design Long Meadow"} {
		r := w.ask(t, "GET", path, nil)
		if r.status != http.StatusOK || r.header.Get("Content-Type") != "application/pdf" {
			t.Fatalf("%s: status %d: %s", path, r.status, r.body)
		}
		if words := strings.Join(pdftest.Pages(t, r.body)[0], " "); !strings.Contains(words, heading) ||
			!strings.Contains(words, "From coil 31") || !strings.Contains(words, "Heron Lane Coils") {
			t.Errorf("%s says %q", path, words)
		}
	}
	if r := w.fill(t, "/batches/LM-1/drift/acknowledge", url.Values{"note": {""}}); r.status != http.StatusUnprocessableEntity ||
		!strings.Contains(string(r.body), "must say what was found") {
		t.Errorf("an empty note: status %d", r.status)
	}
	if r := w.fill(t, "/batches/LM-1/drift/acknowledge", url.Values{"note": {"new felt"}, "by": {"Ada"}}); r.status != http.StatusOK {
		t.Errorf("a note: status %d %s", r.status, r.body)
	}
	if text := w.shows(t, "/benches/north/run", "From coil 31", "by Ada: new felt"); strings.Contains(text, `data-do="acknowledge"`) ||
		strings.Contains(text, `href="#finding"`) {
		t.Error("the bench page still shows a signal that was taken note of")
	}
	if text := w.shows(t, "/batches/LM-1", "by Ada: new felt", "From coil 31"); strings.Contains(text, "Take note of it") {
		t.Error("the page still asks to take note")
	}
	for name, tt := range map[string]struct {
		form   url.Values
		status int
		says   string
	}{
		"no number": {url.Values{"from": {"x"}, "count": {"12"}, "reason": {"y"}}, http.StatusUnprocessableEntity, "is not a whole number"},
		"too few": {url.Values{"from": {"31"}, "count": {"40"}, "reason": {"y"}}, http.StatusUnprocessableEntity,
			"has 15 coils from number 31 on, not 40"},
		"good": {url.Values{"from": {"31"}, "count": {"12"}, "reason": {"new felt"}}, http.StatusOK, ""},
	} {
		if r := w.fill(t, "/batches/LM-1/baseline", tt.form); r.status != tt.status || !strings.Contains(string(r.body), tt.says) {
			t.Errorf("%s: status %d, want %d and %q", name, r.status, tt.status, tt.says)
		}
	}
	w.shows(t, "/batches/LM-1", "12 coils, kept from before")
}

// TestDriftFormsNameWhoIsLoggedIn has the journal name the person behind a form
// whose name was left empty.
func TestDriftFormsNameWhoIsLoggedIn(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	w.windCoils(t, 1, 30, 6750)
	w.windCoils(t, 31, 45, 6850)
	for path, values := range map[string]url.Values{
		"/batches/LM-1/drift/acknowledge": {"note": {"new felt"}, "by": {""}},
		"/batches/LM-1/baseline":          {"from": {"31"}, "count": {"12"}, "reason": {"new felt"}, "by": {" "}},
	} {
		r := w.ask(t, "POST", path, values.Encode(), func(r *http.Request) {
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			r.Header.Set("Sec-Fetch-Site", "same-origin")
			r.SetBasicAuth("Ada", "copper and felt")
		})
		if r.status != http.StatusOK {
			t.Fatalf("%s: status %d %s", path, r.status, r.body)
		}
	}
	journal, err := w.History.Journal(t.Context(), record.JournalFilter{})
	if err != nil {
		t.Fatal(err)
	}
	named := 0
	for _, entry := range journal {
		if strings.Contains(entry.Detail, "new felt") {
			named++
			if entry.Who != "Ada" {
				t.Errorf("%s is laid to %q, want Ada: %s", entry.Action, entry.Who, entry.Detail)
			}
		}
	}
	if named != 2 {
		t.Errorf("%d entries tell of new felt, want the note and the baseline", named)
	}
}

func TestPairs(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	for i, ohms := range []float64{6740, 6900, 6745, 6905, 6300, 6820} {
		w.measure(t, fmt.Sprintf("HN-%04d", i+1), ohms, noon.Add(time.Duration(i-100)*time.Minute))
	}
	w.shows(t, "/pairs", "Make the pick list")
	text := w.shows(t, "/pairs?first=LM-1&within=0.5", "2 pairs", "Left over", "HN-0006", "1 more coil is not in tolerance",
		"known to about ±0.3 %", `<option value="LM-1">`)
	// Divided by 1 + 0.00393 · 2.35 K (IEC 60028): 6678.3 and 6683.3 Ω.
	if !strings.Contains(textOf(text), "HN-0001 6.6783 kΩ HN-0003 6.6833 kΩ 0.07 %") {
		t.Errorf("the pick list: %s", textOf(text))
	}
	for path, says := range map[string]string{"/pairs?first=LM-9": "there is no batch",
		"/pairs?first=LM-1&within=x": "not a number of percent", "/pairs?first=LM-1&second=LM-9": "there is no batch"} {
		if r := w.ask(t, "GET", path, nil); r.status != http.StatusUnprocessableEntity || !strings.Contains(string(r.body), says) {
			t.Errorf("%s: status %d", path, r.status)
		}
	}
	w.shows(t, "/pairs?first=LM-1&second=LM-1&within=0.5", "2 pairs")
}

// MeasureStudy gives part n a resistance of 6700 + 20·n ohms at 20 °C, and each
// reading a little more than the one before.
func (b *settableBench) MeasureStudy(ctx context.Context, c bench.StudyCoil) (record.StudyReading, error) {
	if err := b.fault(); err != nil {
		return record.StudyReading{}, err
	}
	before, err := b.store.StudyReadings(ctx, c.Study)
	if err != nil {
		return record.StudyReading{}, err
	}
	n, err := strconv.Atoi(c.Part)
	if err != nil {
		return record.StudyReading{}, err
	}
	return b.store.AddStudyReading(ctx, record.StudyReading{Bench: "north", Study: c.Study, Design: c.Design.Name,
		DesignRevision: c.Design.Revision,
		Part:           c.Part, Operator: c.Operator, ResistanceOhms: 6700 + 20*float64(n) + 0.1*float64(len(before)%5), TemperatureCelsius: 20,
		AlphaPerKelvin: c.Design.AlphaPerKelvin})
}

func (b *settableBench) fault() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.err
}

func TestStudy(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	w.shows(t, "/studies", "Begin a study", "Long Meadow", "north")
	plan := url.Values{"study": {"spring check"}, "design": {"Long Meadow"}, "bench": {"north"}, "parts": {"3"}, "operators": {"Ada, Ben"},
		"repeats": {"2"}}
	for field, value := range map[string]string{"parts": "1", "operators": "Ada", "repeats": "many", "study": ""} {
		bad := maps.Clone(plan)
		bad[field] = []string{value}
		if r := w.fill(t, "/studies", bad); r.status != http.StatusUnprocessableEntity {
			t.Errorf("%s %q: status %d", field, value, r.status)
		}
	}
	if r := w.ask(t, "GET", "/studies/autumn", nil); r.status != http.StatusNotFound {
		t.Errorf("an unknown study: status %d", r.status)
	}
	r := w.fill(t, "/studies", plan)
	wantText(t, string(r.body), "Study spring check", "0 of 12 readings taken", "Next, round 1 of 2", "Ada clips on coil 1")
	w.north.fail(fmt.Errorf("%w: close the batch first", bench.ErrState))
	step := maps.Clone(plan)
	step["part"], step["operator"] = []string{"1"}, []string{"Ada"}
	if r = w.fill(t, "/studies/spring%20check/measure", step); r.status != http.StatusConflict ||
		!strings.Contains(string(r.body), "close the batch first") {
		t.Errorf("with a batch open: status %d", r.status)
	}
	w.north.fail(nil)
	order := ""
	for range 12 {
		text := textOf(string(r.body))
		i := strings.Index(text, " clips on coil ")
		if i < 0 {
			t.Fatalf("nothing comes next: %s", text)
		}
		operator, part := text[i-3:i], text[i+len(" clips on coil "):][:1]
		order += operator[:1] + part
		step["operator"], step["part"] = []string{operator}, []string{part}
		r = w.fill(t, "/studies/spring%20check/measure", step)
		if r.status != http.StatusOK {
			t.Fatalf("status %d: %s", r.status, r.body)
		}
	}
	if want := "A1A2A3B1B2B3A1A2A3B1B2B3"; order != want {
		t.Errorf("measured in the order %s, want %s", order, want)
	}
	wantText(t, string(r.body), "12 of 12 readings taken", "the measuring takes up 0 % of the tolerance: good", "From coil to coil",
		"Every reading")
	wantNoText(t, string(r.body), "clips on coil")
	w.shows(t, "/studies/spring%20check", "2 people", "coils were measured; 10 are usual")
	w.shows(t, "/studies", "spring check")
	coils, _, err := w.store.Measurements(t.Context(), record.Filter{})
	if err != nil || len(coils) != 0 {
		t.Errorf("the study left %d measurements of coils, %v", len(coils), err)
	}
}

// The chart of the check standard has limits from its first readings, and says
// when the meter leaves them.
func TestCheckChart(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	check := func(standard string, ohms float64) {
		t.Helper()
		if _, err := w.store.AddCheckMeasurement(t.Context(), record.CheckMeasurement{Bench: "north", Standard: standard, NominalOhms: 6800,
			MeasuredOhms: ohms}); err != nil {
			t.Fatal(err)
		}
	}
	check("old R6k8", 6700)
	check("R6k8", 6800.1)
	w.shows(t, "/instruments/north", "No limits for R6k8 yet", "they need 5 measurements")
	for i := range 19 {
		check("R6k8", 6800+0.1*float64(i%3))
	}
	w.shows(t, "/instruments/north", "R6k8 is within its limits; its limits come from its first 10 measurements")
	check("R6k8", 6802)
	w.shows(t, "/instruments/north", "The latest measurement of R6k8 is beyond its limits", "signal at measurement 21")
}
