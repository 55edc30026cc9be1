package main

import (
	"bytes"
	"encoding/json"
	"html"
	"io"
	"maps"
	"net/http"
	"net/url"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"coilkeep/internal/bench"
)

// compared is what comes of a complaint: the comparison, without what is of its
// keeping, or what is wrong and in which field.
type compared struct {
	answer         map[string]any
	field, problem string
}

var liveComplaint = regexp.MustCompile(`data-field="([^"]*)">([^<]*)<`)

// TestFrontsAgreeOnComplaints tells the same of the same coils by the form, the API
// and the flags: each time all three give the same comparison or have the same
// complaint about the same field.
func TestFrontsAgreeOnComplaints(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	f := fronts{startDaemon(t, folder, strings.NewReplacer(`"north"`, `"south"`, "HN-", "HS-").Replace(manualBench)),
		filepath.Join(folder, "history.db")}
	f.daemon.call("POST", "/api/v1/designs", `{"name":"Fen","target_ohms":6690,"tolerance_percent":6,"turns":7000}`, http.StatusCreated, nil)
	f.daemon.call("POST", "/api/v1/benches/south/batch", `{"batch":"first","design":"Fen"}`, http.StatusCreated, nil)
	f.daemon.until("the batch", func(s bench.Snapshot) bool { return s.Batch != nil })
	p := typist{*f.daemon}
	p.typeIn("probe", "20")
	p.coil("6690")
	p.coil("6720")
	f.daemon.until("the last coil", func(s bench.Snapshot) bool { return s.Last != nil && s.Last.Serial == "HS-0002" })

	for _, c := range []struct {
		name  string
		told  map[string]string
		also  map[string]string // a further reading; nil for none
		wrong string            // the field at fault, "" when they are compared
	}{
		{"nothing but a number", map[string]string{"theirs": "6.28k"}, nil, ""},
		{"in other capitals, with a comma", map[string]string{"serial": "hs-0001", "theirs": "6,28 kΩ"}, nil, ""},
		{"in Fahrenheit", map[string]string{"theirs": "6280", "temperature": "55 °F", "temperature_uncertainty": "2"}, nil, ""},
		{"at the jack", map[string]string{"theirs": "6.5k", "clips": "jack", "control": "250k", "control_tolerance": "10",
			"control_full": "true", "cable": "2", "hands": "off"}, nil, ""},
		{"with a good meter", map[string]string{"theirs": "6702.4", "temperature": "20.5", "meter_percent": "0.05", "meter_digits": "1",
			"clips": "leads", "hands": "off", "date": "on Tuesday"}, nil, ""},
		{"with a calibrated one", map[string]string{"theirs": "6702.4", "meter_uncertainty": "1.5"}, nil, ""},
		{"with its mate", map[string]string{"mate": "HS-0002", "theirs": "13.4k", "wiring": "series"}, nil, ""},
		{"twice", map[string]string{"theirs": "6.28k"}, map[string]string{"theirs": "6.7k", "temperature": "21", "clips": "leads"}, ""},

		{"no number", map[string]string{"theirs": "low"}, nil, "theirs"},
		{"another unit", map[string]string{"theirs": "6 kg"}, nil, "theirs"},
		{"below zero", map[string]string{"theirs": "-6280"}, nil, "theirs"},
		{"no temperature", map[string]string{"theirs": "6.28k", "temperature": "warm"}, nil, "temperature"},
		{"too cold for copper", map[string]string{"theirs": "6.28k", "temperature": "-90"}, nil, "temperature"},
		{"an uncertainty of nothing", map[string]string{"theirs": "6.28k", "temperature_uncertainty": "2"}, nil, "temperature_uncertainty"},
		{"half a percent in words", map[string]string{"theirs": "6.28k", "meter_percent": "half"}, nil, "meter_percent"},
		{"a control of a few ohms", map[string]string{"theirs": "6.28k", "control": "5"}, nil, "control"},
		{"series without a mate", map[string]string{"theirs": "6.28k", "wiring": "series"}, nil, "wiring"},
		{"the coil as its own mate", map[string]string{"theirs": "6.28k", "mate": "hs-0001"}, nil, "mate"},
		{"a record and a number", map[string]string{"theirs": "6.28k", "r20": "6690"}, nil, "r20"},
		{"a further reading of words", map[string]string{"theirs": "6.28k"}, map[string]string{"theirs": "much"}, "also[0].theirs"},
		{"a further reading beyond copper", map[string]string{"theirs": "6.28k"}, map[string]string{"theirs": "6.3k", "temperature": "-90"},
			"also[0].temperature"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.told["serial"] == "" {
				c.told["serial"] = "HS-0001"
			}
			want := f.compareByAPI(t, c.told, c.also)
			if want.field != c.wrong || (c.wrong == "") != (want.answer != nil) {
				t.Errorf("the API: field %q, %s; want %q", want.field, want.problem, c.wrong)
			}
			for front, got := range map[string]compared{"form": f.compareByForm(t, c.told, c.also), "flags": f.compareByFlags(t, c.told, c.also)} {
				if got.field != want.field || !strings.EqualFold(got.problem, want.problem) {
					t.Errorf("%s: field %q, %q; the API has %q, %q", front, got.field, got.problem, want.field, want.problem)
				}
				if !reflect.DeepEqual(got.answer, want.answer) {
					t.Errorf("%s answers\n%s\nthe API\n%s", front, indented(t, got.answer), indented(t, want.answer))
				}
			}
		})
	}
}

// bare is a comparison without what is of its keeping.
func bare(answer map[string]any) map[string]any {
	for _, name := range []string{"id", "time", "letter", "by"} {
		delete(answer, name)
	}
	return answer
}

func (f fronts) compareByAPI(t *testing.T, told, also map[string]string) compared {
	t.Helper()
	body := map[string]any{}
	for name, text := range told {
		body[name] = text
	}
	if also != nil {
		body["also"] = []any{also}
	}
	encoded, err := json.Marshal(body)
	if err != nil {
		t.Fatal(err)
	}
	response, err := http.Post(f.daemon.url+"/api/v1/comparisons?keep=false", "application/json", bytes.NewReader(encoded))
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	var answer map[string]any
	if err := json.NewDecoder(response.Body).Decode(&answer); err != nil {
		t.Fatal(err)
	}
	if response.StatusCode == http.StatusOK {
		return compared{answer: bare(answer)}
	}
	return compared{field: answer["field"].(string), problem: answer["detail"].(string)}
}

// compareByForm sends the form as a browser would, and looks the answer up that it
// is led to.
func (f fronts) compareByForm(t *testing.T, told, also map[string]string) compared {
	t.Helper()
	values := url.Values{"do": {"keep"}}
	for name, text := range told {
		values.Set(name, text)
	}
	for name, text := range also {
		values.Set("also.0."+name, text)
	}
	client := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	response, err := client.PostForm(f.daemon.url+"/answer", values)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	if response.StatusCode == http.StatusSeeOther {
		var answer map[string]any
		f.daemon.call("GET", "/api/v1/comparisons/"+strings.TrimPrefix(response.Header.Get("Location"), "/answers/"), "", http.StatusOK, &answer)
		return compared{answer: bare(answer)}
	}
	page, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	wrong := liveComplaint.FindSubmatch(page)
	if response.StatusCode != http.StatusUnprocessableEntity || wrong == nil {
		t.Fatalf("status %d without a complaint: %.3000s", response.StatusCode, page)
	}
	return compared{field: html.UnescapeString(string(wrong[1])), problem: html.UnescapeString(string(wrong[2]))}
}

func (f fronts) compareByFlags(t *testing.T, told, also map[string]string) compared {
	t.Helper()
	args := []string{"compare", "--json", "--history", f.path}
	for _, name := range slices.Sorted(maps.Keys(told)) {
		args = append(args, "--"+flagName(name)+"="+told[name])
	}
	if also != nil {
		text := also["theirs"]
		for _, name := range slices.Sorted(maps.Keys(also)) {
			if name != "theirs" {
				text += " " + flagName(name) + "=" + also[name]
			}
		}
		args = append(args, "--also", text)
	}
	var out, problems bytes.Buffer
	if run(t.Context(), args, strings.NewReader(""), &out, &problems) == exitOK {
		var answer map[string]any
		if err := json.Unmarshal(out.Bytes(), &answer); err != nil {
			t.Fatal(err)
		}
		return compared{answer: bare(answer)}
	}
	complaint, _, _ := strings.Cut(strings.TrimPrefix(problems.String(), "coilkeep: "), "\n")
	flag, problem, _ := strings.Cut(strings.TrimPrefix(complaint, "--"), ": ")
	field := strings.ReplaceAll(flag, "-", "_")
	if strings.HasPrefix(flag, "also ") { // what is wrong with it goes on behind its text
		field = "also[0].theirs"
		if setting, rest, found := strings.Cut(problem, ": "); found && also[setting] != "" {
			field, problem = "also[0]."+setting, rest
		}
	}
	return compared{field: field, problem: problem}
}
