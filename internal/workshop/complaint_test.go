package workshop

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/compare"
	"coilkeep/internal/record"
)

// shelf is a history of a few coils, none in a file. As in one, the capitals of a
// serial number do not matter.
type shelf []record.Measurement

func (s shelf) Coil(_ context.Context, serial string) (record.Coil, error) {
	coil := record.Coil{Serial: serial}
	for _, m := range s {
		if strings.EqualFold(m.Serial, serial) {
			coil.Serial = m.Serial
			coil.Measurements = append(coil.Measurements, m)
		}
	}
	if len(coil.Measurements) == 0 {
		return coil, fmt.Errorf("coil %q %w", serial, record.ErrNotFound)
	}
	return coil, nil
}

func (s shelf) Measurement(_ context.Context, id string) (record.Measurement, []record.Reading, error) {
	for _, m := range s {
		if m.ID == id {
			return m, nil, nil
		}
	}
	return record.Measurement{}, nil, record.ErrNotFound
}

func (s shelf) Measurements(_ context.Context, f record.Filter) (page []record.Measurement, next string, err error) {
	for _, m := range s {
		if m.Batch == f.Batch {
			page = append(page, m)
		}
	}
	return page, "", nil
}

func (s shelf) DesignRevision(_ context.Context, name string, revision int) (record.Design, error) {
	return record.Design{Name: name, Revision: revision, Turns: 7200}, nil
}

// coil is a measurement of 20 °C, so that the reading is R20.
func coil(serial, batch string, ohms float64) record.Measurement {
	m := record.Measurement{ID: "id of " + serial, Time: time.Unix(0, 0), Batch: batch, Design: "Harbour", DesignRevision: 1, Serial: serial,
		R20Ohms: ohms, ExpandedUncertaintyOhms: 0.002 * ohms, AlphaPerKelvin: 0.00393, Status: record.Recorded}
	m.Inputs.AlphaPerKelvin, m.Inputs.AlphaStandardUncertaintyPerKelvin = 0.00393, 0.00002
	return m
}

// ask asks what a program would, with all the fields that are texts.
func ask(t *testing.T, store ComplaintStore, fields map[string]string, also ...map[string]string) (Question, error) {
	t.Helper()
	body := map[string]any{}
	for name, text := range fields {
		body[name] = text
	}
	if also != nil {
		body["also"] = also
	}
	encoded, err := json.Marshal(body)
	if err != nil {
		t.Fatal(err)
	}
	var r ComparisonRequest
	if err := json.Unmarshal(encoded, &r); err != nil {
		return Question{}, err
	}
	return r.Ask(t.Context(), store)
}

// What a meter shows without a number makes a question of its own, with all else
// that was told; beside other readings it is refused.
func TestAskOfAnOverload(t *testing.T) {
	t.Parallel()
	store := shelf{coil("HN-0001", "", 6612)}
	for _, shown := range []string{"OL", "o.l", " O.L ", "1", "1.", "OVER", "-OL-"} {
		q, err := ask(t, store, map[string]string{"serial": "HN-0001", "theirs": shown, "clips": "jack"})
		if err != nil || q.Overload == "" || len(q.Theirs) != 1 || q.Theirs[0].Clips != compare.Jack || q.Ours.R20Ohms != 6612 {
			t.Errorf("%q asks %+v, %v", shown, q, err)
		}
	}
	_, err := ask(t, store, map[string]string{"serial": "HN-0001", "theirs": "OL"}, map[string]string{"theirs": "6.6k"})
	if err == nil || !strings.Contains(err.Error(), "is answered by itself") {
		t.Errorf("beside another reading: %v", err)
	}
}

func TestAsk(t *testing.T) {
	t.Parallel()
	withdrawn := coil("HN-0001", "B-1", 6500)
	withdrawn.ID, withdrawn.Status = "withdrawn", record.Void
	store := shelf{withdrawn, coil("HN-0001", "B-1", 6612), coil("HN-0002", "B-1", 6700), coil("HN-0003", "B-2", 6800)}
	q, err := ask(t, store,
		map[string]string{"serial": " HN-0001 ", "mate": "HN-0003", "theirs": "6,28k", "temperature": "70 °F",
			"temperature_uncertainty": "2",
			"meter_percent":           "0,5", "meter_digits": "3", "clips": "jack", "control": "500k", "control_tolerance": "10",
			"control_full": "true",
			"cable":        "2", "wiring": "single", "hands": "off", "date": "on Tuesday", "seed": "7", "r20": "", "their_meter": "a yellow one",
			"letter": "Dear Ida", "note": "order 7"},
		map[string]string{"theirs": "6630", "temperature": "21", "clips": "leads"})
	if err != nil {
		t.Fatal(err)
	}
	ours, err := store.Coil(t.Context(), "HN-0001")
	if err != nil {
		t.Fatal(err)
	}
	inputs := ours.Measurements[1].Inputs
	meter := compare.Reading{MeterPercent: new(0.5), MeterDigits: new(3.0), ControlOhms: new(500e3), ControlTolerancePercent: new(10.0),
		CableOhms: new(2.0)}
	first, second := meter, meter
	fahrenheit := *q.Theirs[0].TemperatureCelsius
	if fahrenheit < 21.11 || fahrenheit > 21.12 { // (70 − 32)/1.8
		t.Errorf("70 °F is %g °C", fahrenheit)
	}
	first.Ohms, first.ResolutionOhms, first.TemperatureCelsius, first.TemperatureUncertaintyKelvin = 6280, 10, &fahrenheit, new(2.0)
	first.Clips, first.Wiring, first.Hands, first.ControlFull, first.Date = compare.Jack, compare.Single, compare.HandsOff, true, "on Tuesday"
	second.Ohms, second.ResolutionOhms, second.TemperatureCelsius, second.Clips = 6630, 1, new(21.0), compare.Leads
	coilOf := func(serial string, ohms float64) compare.Record {
		return compare.Record{Serial: serial, R20Ohms: ohms, ExpandedUncertaintyOhms: 0.002 * ohms, AlphaPerKelvin: 0.00393,
			AlphaStandardUncertaintyPerKelvin: 0.00002, Turns: 7200, Measured: &inputs}
	}
	mate := coilOf("HN-0003", 6800)
	want := Question{Serial: "HN-0001", MateSerial: "HN-0003", Measurement: "id of HN-0001",
		Origin:     record.Origin{Design: "Harbour", Batch: "B-1", Stands: true},
		TheirMeter: "a yellow one", Letter: "Dear Ida", Note: "order 7",
		Input: compare.Input{Ours: coilOf("HN-0001", 6612), Mate: &mate,
			Others: []compare.Record{{Serial: "HN-0002", R20Ohms: 6700, ExpandedUncertaintyOhms: 13.4}}, Theirs: []compare.Reading{first, second},
			Seed: 7}}
	if !reflect.DeepEqual(q, want) {
		t.Errorf("asked\n%+v\nwant\n%+v", q, want)
	}
	request, err := RequestOf(record.Comparison{TheirMeter: q.TheirMeter, Note: q.Note, Input: q.Input})
	if err != nil {
		t.Fatal(err)
	}
	again, err := request.Ask(t.Context(), store)
	if err != nil {
		t.Fatal(err)
	}
	// A temperature in °F has more digits in °C than can be typed.
	if math.Abs(*again.Theirs[0].TemperatureCelsius-fahrenheit) > 1e-12 {
		t.Errorf("asked again at %v °C, want %v", *again.Theirs[0].TemperatureCelsius, fahrenheit)
	}
	again.Theirs[0].TemperatureCelsius, again.Letter = &fahrenheit, want.Letter // which is written anew
	if !reflect.DeepEqual(again, want) {
		t.Errorf("asked again by %+v\n%+v\nwant\n%+v", request, again, want)
	}
}

// However a serial number is typed, the coil is not among those it may have been
// swapped with, and is not its own mate.
func TestAskInOtherCapitals(t *testing.T) {
	t.Parallel()
	store := shelf{coil("HN-0001", "B-1", 6612), coil("HN-0002", "B-1", 6700), coil("HN-0003", "B-1", 6800)}
	ask := func(serial, mate string) (Question, error) {
		return ask(t, store, map[string]string{"serial": serial, "mate": mate, "theirs": "6.28k"})
	}
	want, err := ask("HN-0001", "HN-0003")
	if err != nil {
		t.Fatal(err)
	}
	if got, err := ask("hn-0001", "Hn-0003"); err != nil || !reflect.DeepEqual(got, want) || len(got.Others) != 1 {
		t.Errorf("asked\n%+v, %v\nwant\n%+v", got, err, want)
	}
	for _, serial := range []string{"HN-0001", "hn-0001"} {
		var fault *record.FieldError
		if _, err := ask(serial, "HN-0001"); !errors.As(err, &fault) || fault.Field != "mate" {
			t.Errorf("%s and itself: %v, want a fault of mate", serial, err)
		}
	}
}

// A resistance in the place of a record can be asked about again, too.
func TestAgainWithoutRecord(t *testing.T) {
	t.Parallel()
	q, err := ask(t, shelf{}, map[string]string{"r20": "6.612k", "uncertainty": "13.5", "conductivity": "98", "turns": "7200",
		"theirs": "6.28k", "meter_uncertainty": "12"})
	if err != nil {
		t.Fatal(err)
	}
	request, err := RequestOf(record.Comparison{Input: q.Input})
	if err != nil {
		t.Fatal(err)
	}
	if again, err := request.Ask(t.Context(), shelf{}); err != nil || !reflect.DeepEqual(again, q) {
		t.Errorf("asked again by %+v\n%+v, %v\nwant\n%+v", request, again, err, q)
	}
}

func TestAskRefuses(t *testing.T) {
	t.Parallel()
	withdrawn := coil("HN-0009", "", 6500)
	withdrawn.Status = record.Superseded
	store := shelf{coil("HN-0001", "", 6612), withdrawn}
	for name, test := range map[string]struct {
		change map[string]string
		field  string
		says   string
	}{
		"no coil":        {map[string]string{"serial": ""}, "serial", "which coil"},
		"no reading":     {map[string]string{"theirs": " "}, "theirs", "6.28k"},
		"text":           {map[string]string{"theirs": "low"}, "theirs", "not a number"},
		"temperature":    {map[string]string{"temperature": "warm"}, "temperature", "21.4 °C"},
		"number":         {map[string]string{"meter_percent": "half"}, "meter_percent", "not a number"},
		"truth":          {map[string]string{"control_full": "perhaps"}, "control_full", "neither true nor false"},
		"seed":           {map[string]string{"seed": "-1"}, "seed", "whole number"},
		"two records":    {map[string]string{"r20": "6612"}, "r20", "leave one of the two out"},
		"no uncertainty": {map[string]string{"serial": "", "r20": "6612"}, "uncertainty", "how well"},
		"bad record":     {map[string]string{"serial": "", "r20": "6612 kg", "uncertainty": "13"}, "r20", "kg"},
		"turns":          {map[string]string{"serial": "", "r20": "6612", "uncertainty": "13", "turns": "many"}, "turns", "whole number"},
		"two coefficients": {map[string]string{"serial": "", "r20": "6612", "uncertainty": "13", "alpha": "0.00393", "conductivity": "98"},
			"conductivity", "one of them"},
		"odd copper": {map[string]string{"serial": "", "r20": "6612", "uncertainty": "13", "conductivity": "0.98"}, "conductivity",
			"0.98 % is not that of copper wire; write 98"},
		"unknown name":        {map[string]string{"temprature": "21"}, "temprature", "temperature"},
		"out of range":        {map[string]string{"temperature": "-90"}, "temperature", "it is -90; it must be from -50 to 150"},
		"unknown clips":       {map[string]string{"clips": "bridge"}, "clips", `it is "bridge"`},
		"record out of range": {map[string]string{"serial": "", "r20": "66M", "uncertainty": "13"}, "r20", "it is 6.6e+07"},
	} {
		t.Run(name, func(t *testing.T) {
			fields := map[string]string{"serial": "HN-0001", "theirs": "6.28k"}
			maps.Copy(fields, test.change)
			q, err := ask(t, store, fields)
			if err == nil {
				// The measurement of this shelf was never computed.
				q.Ours.Measured = nil
				_, err = Compare(q)
			}
			var fault *record.FieldError
			if !errors.As(err, &fault) || fault.Field != test.field || !strings.Contains(fault.Problem, test.says) {
				t.Errorf("error %v, want one about %s that says %q", err, test.field, test.says)
			}
		})
	}
	for name, test := range map[string]struct {
		also  map[string]string
		field string
	}{
		"no reading":    {map[string]string{"temperature": "21"}, "also[0].theirs"},
		"bad setting":   {map[string]string{"theirs": "6.3k", "temperature": "warm"}, "also[0].temperature"},
		"another meter": {map[string]string{"theirs": "6.3k", "meter_percent": "1"}, "also[0].meter_percent"},
		"out of range":  {map[string]string{"theirs": "6.3k", "temperature": "-90"}, "also[0].temperature"},
	} {
		t.Run("also "+name, func(t *testing.T) {
			q, err := ask(t, store, map[string]string{"serial": "HN-0001", "theirs": "6.28k"}, test.also)
			if err == nil {
				q.Ours.Measured = nil
				_, err = Compare(q)
			}
			var fault *record.FieldError
			if !errors.As(err, &fault) || fault.Field != test.field {
				t.Errorf("error %v, want one about %s", err, test.field)
			}
		})
	}
	// Which of the two coils is not known is told by the error, not by its text.
	for field, fields := range map[string]map[string]string{
		"serial": {"serial": "HN-0404", "mate": "HN-0001", "theirs": "6.28k"},
		"mate":   {"serial": "HN-0001", "mate": "HN-0404", "theirs": "6.28k"},
	} {
		_, err := ask(t, store, fields)
		var coil *CoilError
		if !errors.As(err, &coil) || coil.Field != field || coil.Serial != "HN-0404" || !errors.Is(err, record.ErrNotFound) {
			t.Errorf("an unknown %s: %v, want one about it", field, err)
		}
	}
	for serial, want := range map[string]error{"HN-0404": record.ErrNotFound, "HN-0009": ErrWithdrawn} {
		if _, err := ask(t, store, map[string]string{"serial": serial, "theirs": "6.28k"}); !errors.Is(err, want) {
			t.Errorf("%s: %v, want %v", serial, err, want)
		}
	}
}

// What is wrong with a record nobody typed is no mistake of a field.
func TestExplainRecord(t *testing.T) {
	t.Parallel()
	q := Question{Serial: "HN-0001"}
	err := q.explain(&compare.InputError{Field: "ours.r20_ohms", Problem: "is 0"})
	var fault *record.FieldError
	if err == nil || errors.As(err, &fault) {
		t.Errorf("error %v, want one about the record", err)
	}
}

// A number or a boolean is taken as it is written, and null is not told.
func TestRequestOfProgram(t *testing.T) {
	t.Parallel()
	var r ComparisonRequest
	body := ` {"theirs": 6.280e3 , "r20":6612, "control_full": true, "date": null, "letter":"Dear \u00cfda",
		"also": [{"theirs": 6.63E+3, "clips":"jack"}, {"theirs": "6,7k"}]}`
	if err := json.Unmarshal([]byte(body), &r); err != nil {
		t.Fatal(err)
	}
	want := ComparisonRequest{OutsideCoil: OutsideCoil{R20: "6612"}, OutsideReading: OutsideReading{Theirs: "6.280e3", ControlFull: "true"},
		Also: []OutsideReading{{Theirs: "6.63E+3", Clips: "jack"}, {Theirs: "6,7k"}}, Letter: "Dear Ïda"}
	if !reflect.DeepEqual(r, want) {
		t.Errorf("read %+v, want %+v", r, want)
	}
	for body, field := range map[string]string{
		`{"temprature": 21}`: "temprature", `{"theirs": {"k": 6}}`: "theirs", `{"serial": ["HN-0001"]}`: "serial", `{"also": "6.3k"}`: "also",
		`{"also": [6300]}`: "also", `{"also": [{"theirs": 6300}, {"theirs": 6300, "cable": 2}]}`: "also[1].cable",
		`{"also": [{"theirs": []}]}`: "also[0].theirs", `{"also": [{"serial": "HN-0001"}]}`: "also[0].serial",
	} {
		var fault *record.FieldError
		if err := json.Unmarshal([]byte(body), new(ComparisonRequest)); !errors.As(err, &fault) || fault.Field != field {
			t.Errorf("%s: %v, want a fault of %s", body, err, field)
		}
	}
}

// What a setting reads has its place in the request, and every place but the value
// itself has a setting.
func TestSettingsHaveTheirPlaces(t *testing.T) {
	t.Parallel()
	var r ComparisonRequest
	var names []string
	for _, s := range Settings() {
		names = append(names, s.Name)
	}
	want := slices.Concat(namesOf(r.OutsideReading), namesOf(r.OutsideMeter))
	want = slices.DeleteFunc(want, func(name string) bool { return name == Theirs })
	slices.Sort(names)
	slices.Sort(want)
	if !slices.Equal(names, want) {
		t.Errorf("settings are %q, places %q", names, want)
	}
}

// FuzzComparisonRequest has no body make the API stumble, or tell what was not told.
func FuzzComparisonRequest(f *testing.F) {
	for _, seed := range []string{`{"serial":"HN-0001","theirs":"6.28k","also":[{"theirs":6630,"temperature":"70 °F"}]}`, `{"also":{}}`,
		`{"theirs":null,"control_full":true}`, `{"a": [ ]}`, `{"also":[null]}`, `null`} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		var r ComparisonRequest
		if json.Unmarshal(body, &r) != nil {
			return
		}
		var given map[string]json.RawMessage
		if err := json.Unmarshal(body, &given); err != nil {
			t.Fatalf("read %q, which is no object: %v", body, err)
		}
		for name, text := range r.Told() {
			if given[name] == nil && *text != "" {
				t.Errorf("nobody told %s %q", name, *text)
			}
		}
		if len(r.Also) > 0 && given["also"] == nil || r.Letter != "" && given["letter"] == nil {
			t.Errorf("nobody told %+v, %+v", r.Letter, r.Also)
		}
		if q, err := r.Question(); err == nil { // whatever can be read can be answered, or is refused
			_, _ = Compare(q)
		}
	})
}
