package web

import (
	"encoding/json"
	"fmt"
	"html"
	"math"
	"net/http"
	"net/url"
	"reflect"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/compare"
	"coilkeep/internal/pdftest"
	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

// answering is a workshop with two coils on record, serving.
func answering(t *testing.T) *testShop {
	t.Helper()
	w := newWorkshop(t)
	w.wind(t)
	w.capture(t, "HN-0001", 6690, noon.Add(-2*time.Hour))
	w.capture(t, "HN-0002", 6810, noon.Add(-time.Hour))
	w.start(t)
	return w
}

const comparisonsPath = "/api/v1/comparisons"

// cold is what a buyer tells who measured in the cold.
func cold(more ...any) map[string]any {
	told := map[string]any{"serial": "HN-0001", "theirs": "6.28k"}
	for i := 0; i+1 < len(more); i += 2 {
		told[more[i].(string)] = more[i+1]
	}
	return told
}

// The fields that are contract, and the answer kept as it was given.
func TestComparisonsByProgram(t *testing.T) {
	t.Parallel()
	w := answering(t)
	dry := want[record.ComparisonAnswer](t, w.ask(t, "POST", comparisonsPath+"?keep=false", cold("letter", "Dear Ida")), http.StatusOK)
	if dry.ID != nil || dry.Time != nil {
		t.Errorf("kept as %v though it should not be", *dry.ID)
	}
	kept := want[record.ComparisonAnswer](t, w.ask(t, "POST", comparisonsPath,
		cold("letter", "Dear Ida", "their_meter", "a yellow one", "note", "order 7")), http.StatusCreated)
	if kept.ID == nil || kept.Time == nil || kept.Letter != "Dear Ida" || kept.TheirMeter != "a yellow one" || kept.Note != "order 7" {
		t.Errorf("kept %+v", kept)
	}
	if kept.Serial != "HN-0001" || kept.Design != "Long Meadow" || kept.Batch != "LM-1" || kept.Measurement == "" {
		t.Errorf("of %q, design %q, batch %q, measurement %q", kept.Serial, kept.Design, kept.Batch, kept.Measurement)
	}
	if !reflect.DeepEqual(dry.Result, kept.Result) {
		t.Error("keeping it gives another result than not keeping it")
	}
	if first := kept.Explanations[0]; first.Cause != compare.Temperature || kept.Agrees {
		t.Errorf("%s first, agrees %t", first.Cause, kept.Agrees)
	}
	again := want[record.ComparisonAnswer](t, w.ask(t, "GET", comparisonsPath+"/"+*kept.ID, nil), http.StatusOK)
	if !reflect.DeepEqual(again, kept) {
		t.Errorf("read again\n%+v\nwant\n%+v", again, kept)
	}
	second := want[record.ComparisonAnswer](t, w.ask(t, "POST", comparisonsPath, cold("serial", "hn-0002", "temperature", 12)),
		http.StatusCreated)
	if second.Serial != "HN-0002" {
		t.Errorf("a serial number in small letters is of coil %q", second.Serial)
	}
	type page struct {
		Comparisons []record.ComparisonAnswer `json:"comparisons"`
		Next        string                    `json:"next"`
	}
	one := want[page](t, w.ask(t, "GET", comparisonsPath+"?limit=1", nil), http.StatusOK)
	if len(one.Comparisons) != 1 || *one.Comparisons[0].ID != *second.ID || one.Next == "" {
		t.Fatalf("first page %+v", one)
	}
	for _, query := range []string{"?serial=HN-0001", "?after=" + one.Next, "?design=Long+Meadow&after=" + one.Next} {
		if got := want[page](t, w.ask(t, "GET", comparisonsPath+query, nil), http.StatusOK); len(got.Comparisons) != 1 ||
			*got.Comparisons[0].ID != *kept.ID || got.Next != "" {
			t.Errorf("%s: %+v", query, got)
		}
	}
	want[problem.Details](t, w.ask(t, "GET", comparisonsPath+"/none", nil), http.StatusNotFound)
	want[problem.Details](t, w.ask(t, "GET", comparisonsPath+"?serail=HN-0001", nil), http.StatusUnprocessableEntity)
}

// Several readings, numbers in the place of texts, and a resistance in the place
// of a serial number.
func TestComparisonFields(t *testing.T) {
	t.Parallel()
	w := answering(t)
	got := want[record.ComparisonAnswer](t, w.ask(t, "POST", comparisonsPath+"?keep=false",
		`{"r20": 6612, "uncertainty": 13, "turns": 7200, "theirs": 6280, "meter_percent": 0.5, "clips": "jack", "control": "500k",
		  "control_full": true, "date": null, "also": [{"theirs": "6.63k", "temperature": "70 °F", "clips": "leads"}]}`), http.StatusOK)
	theirs := got.Input.Theirs
	if len(theirs) != 2 || theirs[0].ResolutionOhms != 1 || *theirs[0].ControlOhms != 500e3 || !theirs[0].ControlFull ||
		theirs[1].ResolutionOhms != 10 || *theirs[1].MeterPercent != 0.5 || math.Abs(*theirs[1].TemperatureCelsius-21.11) > 0.01 {
		encoded, _ := json.Marshal(theirs)
		t.Errorf("understood %s", encoded)
	}
	if got.Serial != "" || got.Input.Ours.Turns != 7200 || len(got.Settings) != 2 {
		t.Errorf("got %+v", got)
	}
}

func TestComparisonRefuses(t *testing.T) {
	t.Parallel()
	w := answering(t)
	for name, test := range map[string]struct {
		body  any
		field string
		says  string
	}{
		"unknown coil":        {cold("serial", "HN-0404"), "serial", "no coil HN-0404"},
		"unknown mate":        {cold("mate", "HN-0404"), "mate", "no coil HN-0404"},
		"no coil":             {cold("serial", ""), "serial", "which coil"},
		"negative":            {cold("theirs", -6280), "theirs", "not above zero"},
		"zero":                {cold("theirs", "0"), "theirs", "not above zero"},
		"text":                {cold("theirs", "low"), "theirs", "not a number"},
		"absurd unit":         {cold("theirs", "6 kg"), "theirs", "no resistance"},
		"a million megohms":   {cold("theirs", "1e12"), "theirs", "must be from"},
		"below absolute zero": {cold("temperature", "-300"), "temperature", "absolute zero"},
		"series without mate": {cold("wiring", "series"), "wiring", "mate"},
		"unknown field":       {cold("temprature", 21), "temprature", "temperature"},
		"object":              {cold("theirs", map[string]int{"k": 6}), "theirs", "text or a number"},
		"also is no list":     {cold("also", "6.3k"), "also", "list"},
		"also is bad":         {cold("also", []any{map[string]any{"theirs": "6.3k", "temperature": "warm"}}), "also[0].temperature", "21.4"},
		"also is out of range": {cold("also", []any{map[string]any{"theirs": "6.3k", "temperature": -90}}), "also[0].temperature",
			"must be from"},
	} {
		t.Run(name, func(t *testing.T) {
			got := want[problem.Details](t, w.ask(t, "POST", comparisonsPath, test.body), http.StatusUnprocessableEntity)
			if got.Field != test.field || !strings.Contains(got.Detail, test.says) {
				t.Errorf("field %q: %s; want field %q and %q", got.Field, got.Detail, test.field, test.says)
			}
		})
	}
	want[problem.Details](t, w.ask(t, "POST", comparisonsPath, `[1]`), http.StatusBadRequest)
	want[problem.Details](t, w.ask(t, "POST", comparisonsPath+"?keep=maybe", cold()), http.StatusUnprocessableEntity)
	want[problem.Details](t, w.ask(t, "POST", comparisonsPath+"?keeep=false", cold()), http.StatusUnprocessableEntity)
}

// A form without scripts: shown, then kept with the letter as it was changed,
// and found again from the coil and from the list.
func TestAnswerByForm(t *testing.T) {
	t.Parallel()
	w := answering(t)
	empty := w.ask(t, "GET", "/answer", nil)
	if empty.status != http.StatusOK {
		t.Fatalf("got status %d", empty.status)
	}
	wantText(t, string(empty.body), "Type the serial number of the coil and what they read.")
	wantText(t, string(w.ask(t, "GET", "/answer?serial=HN-0001", nil).body), "What did they read?")
	values := url.Values{"serial": {"hn-0001"}, "theirs": {"6.28k"}, "do": {"show"}}
	shown := w.fill(t, "/answer", values)
	if shown.status != http.StatusOK {
		t.Fatalf("got status %d", shown.status)
	}
	wantText(t, string(shown.body), "They do not agree", "Temperature", "To tell it from", "Thank you for measuring and for telling us.",
		"The coil's temperature was not told: an ordinary room, 15 to 30 °C", "Valve amplifiers hold dangerous voltage")
	if list, _, err := w.store.Comparisons(t.Context(), record.ComparisonFilter{}); err != nil || len(list) != 0 {
		t.Fatalf("showing kept %d comparisons, %v", len(list), err)
	}
	values.Set("do", "keep")
	values.Set("letter", "Dear Ida,\r\n\r\nit was cold.")
	values.Set("their_meter", "a yellow one")
	kept := w.fill(t, "/answer", values)
	if kept.status != http.StatusOK {
		t.Fatalf("got status %d: %s", kept.status, kept.body)
	}
	wantText(t, string(kept.body), "Answer about HN-0001", "it was cold.", "a yellow one")
	_, link, _ := strings.Cut(string(kept.body), `<p><a href="`)
	link, _, _ = strings.Cut(link, `"`)
	again := w.ask(t, "GET", html.UnescapeString(link), nil)
	wantText(t, string(again.body), "They do not agree")
	if !strings.Contains(string(again.body), `value="a yellow one"`) || !strings.Contains(string(again.body), `value="6.28 kΩ"`) {
		t.Errorf("%s is not filled in", link)
	}
	list, _, err := w.store.Comparisons(t.Context(), record.ComparisonFilter{})
	if err != nil || len(list) != 1 || list[0].Letter != "Dear Ida,\n\nit was cold." || list[0].Serial != "HN-0001" {
		t.Fatalf("kept %+v, %v", list, err)
	}
	wantText(t, string(w.ask(t, "GET", "/answers", nil).body), "0 of 1 agree", "HN-0001", "temperature 1")
	wantText(t, string(w.ask(t, "GET", "/coils/HN-0001", nil).body), "What buyers measured", "6.28 kΩ", "do not agree")
	pdf := w.ask(t, "GET", "/answers/"+list[0].ID+"/answer.pdf", nil)
	if text := strings.Join(pdftest.Pages(t, pdf.body)[0], "\n"); !strings.Contains(text, "it was cold.") ||
		pdf.header.Get("Content-Type") != pdfType {
		t.Errorf("the document says\n%s", text)
	}
	if gone := w.ask(t, "GET", "/answers/none", nil); gone.status != http.StatusNotFound {
		t.Errorf("an unknown answer: status %d", gone.status)
	}
}

func TestAnswerFormShowsWhatIsWrong(t *testing.T) {
	t.Parallel()
	w := answering(t)
	for name, test := range map[string]struct {
		values url.Values
		says   string
	}{
		"unknown coil": {url.Values{"serial": {"HN-0404"}, "theirs": {"6.3k"}}, "No coil HN-0404 was ever measured here"},
		"temperature":  {url.Values{"serial": {"HN-0001"}, "theirs": {"6.3k"}, "temperature": {"-90"}}, "It is -90; it must be from -50 to 150"},
		"also":         {url.Values{"serial": {"HN-0001"}, "theirs": {"6.3k"}, "also.1.theirs": {"much"}}, "not a number"},
	} {
		t.Run(name, func(t *testing.T) {
			shown := w.fill(t, "/answer", test.values)
			wantText(t, string(shown.body), test.says)
			live := w.fill(t, "/answer/live", test.values)
			if live.status != http.StatusOK || !strings.Contains(string(live.body), "data-field=") {
				t.Errorf("live: status %d: %s", live.status, live.body)
			}
			test.values.Set("do", "keep")
			if got := w.fill(t, "/answer", test.values); got.status != http.StatusUnprocessableEntity {
				t.Errorf("kept with status %d", got.status)
			}
			if got := w.fill(t, "/answer/answer.pdf", test.values); got.status != http.StatusUnprocessableEntity {
				t.Errorf("printed with status %d", got.status)
			}
		})
	}
}

// A meter without a number is answered as well, with what to try and a letter;
// the answer is not kept.
func TestAnswerToAnOverload(t *testing.T) {
	t.Parallel()
	w := answering(t)
	told := url.Values{"serial": {"HN-0001"}, "theirs": {"O.L"}, "clips": {"leads"}}
	shown := w.fill(t, "/answer", told)
	wantText(t, string(shown.body), "An overload, no number", "20 kΩ", "Winding or joint open", "Thank you for measuring")
	live := w.fill(t, "/answer/live", told)
	if live.status != http.StatusOK || !strings.Contains(string(live.body), "An overload, no number") {
		t.Errorf("live: status %d: %s", live.status, live.body)
	}
	told.Set("do", "keep")
	if got := w.fill(t, "/answer", told); got.status != http.StatusUnprocessableEntity {
		t.Errorf("kept with status %d", got.status)
	}
	reply := want[workshop.OverloadAnswer](t, w.ask(t, "POST", comparisonsPath+"?keep=false", cold("theirs", "OL")), http.StatusOK)
	if reply.Serial != "HN-0001" || reply.Overload.RangeOhms != 20000 || len(reply.Overload.Causes) != 4 {
		t.Errorf("a program is told %+v", reply)
	}
	if got := w.ask(t, "POST", comparisonsPath, cold("theirs", "OL")); got.status != http.StatusUnprocessableEntity ||
		!strings.Contains(string(got.body), "keep=false") {
		t.Errorf("a program that would keep it: status %d: %s", got.status, got.body)
	}
}

// A letter that cannot be printed is shown again, with what is wrong.
func TestAnswerThatCannotBePrinted(t *testing.T) {
	t.Parallel()
	w := answering(t)
	got := w.fill(t, "/answer/answer.pdf", url.Values{"serial": {"HN-0001"}, "theirs": {"6.3k"}, "letter": {"Dear Ida 😀"}})
	if got.status != http.StatusConflict || !strings.Contains(string(got.body), "Dear Ida 😀") {
		t.Errorf("status %d: %s", got.status, got.body)
	}
	wantText(t, string(got.body), "😀")
}

// A page of another site may keep nothing, and a program that sends no form gets
// told so.
func TestAnswerFormIsGuarded(t *testing.T) {
	t.Parallel()
	w := answering(t)
	for _, path := range []string{"/answer", "/answer/live", "/answer/answer.pdf"} {
		answer := w.ask(t, "POST", path, "serial=HN-0001&theirs=6.3k&do=keep", func(r *http.Request) {
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			r.Header.Set("Sec-Fetch-Site", "cross-site")
		})
		want[problem.Details](t, answer, http.StatusForbidden)
		if answer := w.ask(t, "POST", path, `{"serial":"HN-0001"}`); answer.status != http.StatusUnsupportedMediaType {
			t.Errorf("%s: status %d for JSON", path, answer.status)
		}
	}
}

// A comparison kept under another formula is shown as it was given, with what
// the present one gives beside it.
func TestAnswerOfAnotherFormula(t *testing.T) {
	t.Parallel()
	w := answering(t)
	in := compare.Input{Ours: compare.Record{R20Ohms: 6612, ExpandedUncertaintyOhms: 13},
		Theirs: []compare.Reading{{Ohms: 6280, ResolutionOhms: 10}}, Seed: 1}
	result, err := compare.Compare(in)
	if err != nil {
		t.Fatal(err)
	}
	now := result.ExpectedOhms
	result.Formula, result.ExpectedOhms, result.EN = compare.Formula+1, 6543, -9.99
	c, err := w.store.AddComparison(t.Context(), record.Comparison{Input: in, Result: result})
	if err != nil {
		t.Fatal(err)
	}
	got := want[record.ComparisonAnswer](t, w.ask(t, "GET", comparisonsPath+"/"+c.ID, nil), http.StatusOK)
	if got.ExpectedOhms != 6543 || got.Today == nil || got.Today.ExpectedOhms != now {
		t.Errorf("expected %g then and %+v today, want 6543 and %g", got.ExpectedOhms, got.Today, now)
	}
	wantText(t, string(w.ask(t, "GET", "/answers/"+c.ID, nil).body),
		fmt.Sprintf("Kept under formula %d; shown as it was answered then.", compare.Formula+1), "instead of −9.99")
}

func TestAnswerOfWithdrawnMeasurement(t *testing.T) {
	t.Parallel()
	w := answering(t)
	kept := want[record.ComparisonAnswer](t, w.ask(t, "POST", comparisonsPath, cold()), http.StatusCreated)
	if _, err := w.store.Void(t.Context(), kept.Measurement, "wrong coil", "Ada"); err != nil {
		t.Fatal(err)
	}
	wantText(t, string(w.ask(t, "GET", "/answers/"+*kept.ID, nil).body), "was withdrawn or replaced since")
	got := want[problem.Details](t, w.ask(t, "POST", comparisonsPath, cold()), http.StatusConflict)
	if !strings.Contains(got.Detail, "no measurement that still counts") {
		t.Errorf("says %q", got.Detail)
	}
}
