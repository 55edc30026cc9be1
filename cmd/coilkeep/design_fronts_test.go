package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"html"
	"io"
	"maps"
	"net/http"
	"net/url"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/record"
)

// asked is one design as somebody would ask for it, by the names of JSON.
// Resistances are texts such as people write; the API has them as numbers.
type asked map[string]string

// fronts are the three ways to ask for a design, on one daemon.
type fronts struct {
	daemon *testDaemon
	path   string // of the history
}

// outcome is the design that was stored, or the complaint: which field, and what
// is wrong with it.
type outcome struct {
	design         record.Design
	field, problem string
}

// TestFrontsAgreeOnDesigns asks for the same designs by the form, the API and the
// flags: each time all three keep the same design or have the same complaint.
func TestFrontsAgreeOnDesigns(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	f := fronts{startDaemon(t, folder, manualBench), filepath.Join(folder, "history.db")}
	for _, c := range []struct {
		name  string
		asked asked
		// wrong is the field at fault, "" when the design is to be kept with these
		// limits.
		wrong        string
		lower, upper float64
	}{
		{"as usual", asked{"target_ohms": "6690", "tolerance_percent": "5"}, "", 6355.5, 7024.5},
		{"in kilohms", asked{"target_ohms": "6.69k", "tolerance_percent": "5"}, "", 6355.5, 7024.5},
		{"as on a drawing", asked{"target_ohms": "6k69", "tolerance_percent": "5"}, "", 6355.5, 7024.5},
		{"with a unit", asked{"target_ohms": "6.69 kΩ", "tolerance_percent": "5"}, "", 6355.5, 7024.5},
		{"a third of a percent", asked{"target_ohms": "8200", "tolerance_percent": "0.3"}, "", 8175.4, 8224.6},
		{"seven percent", asked{"target_ohms": "7100", "tolerance_percent": "7"}, "", 6603, 7597},
		{"in ohms", asked{"target_ohms": "6690", "tolerance_ohms": "200.1"}, "", 6489.9, 6890.1},
		{"both limits", asked{"target_ohms": "6690", "lower_ohms": "6.5k", "upper_ohms": "7000"}, "", 6500, 7000},
		{"the least usual target", asked{"target_ohms": "100", "tolerance_percent": "10"}, "", 90, 110},
		{"the greatest usual target", asked{"target_ohms": "200k", "tolerance_percent": "10"}, "", 180e3, 220e3},
		{"small and meant so", asked{"target_ohms": "6.69", "tolerance_percent": "5", "confirm": "true"}, "", 6.3555, 7.0245},
		{"all that can be told", asked{"target_ohms": "6690", "tolerance_percent": "5", "guard_factor": "0.5", "gauge_awg": "42", "turns": "7000",
			"bobbin.straight_mm": "60", "bobbin.core_radius_mm": "3", "bobbin.build_mm": "4.5", "alpha_per_kelvin": "0.00385",
			"wanted_uncertainty_percent": "0.4", "note": "bright", "time_constant_seconds": "600"}, "", 6355.5, 7024.5},

		{"a k left out", asked{"target_ohms": "6.69", "tolerance_percent": "5"}, "target_ohms", 0, 0},
		{"just below the usual", asked{"target_ohms": "99.9", "tolerance_percent": "5"}, "target_ohms", 0, 0},
		{"just above the usual", asked{"target_ohms": "200.1k", "tolerance_percent": "5"}, "target_ohms", 0, 0},
		{"megohms", asked{"target_ohms": "6.69M", "tolerance_percent": "5"}, "target_ohms", 0, 0},
		{"beyond all", asked{"target_ohms": "9900M", "tolerance_percent": "5", "confirm": "true"}, "target_ohms", 0, 0},
		{"outside of its limits", asked{"target_ohms": "6690", "lower_ohms": "6700", "upper_ohms": "7000"}, "target_ohms", 0, 0},
		{"no tolerance", asked{"target_ohms": "6690"}, "tolerance_percent", 0, 0},
		{"a tolerance and limits", asked{"target_ohms": "6690", "tolerance_percent": "5", "lower_ohms": "6500", "upper_ohms": "7000"},
			"tolerance_percent", 0, 0},
		{"one limit", asked{"target_ohms": "6690", "upper_ohms": "7000"}, "tolerance_percent", 0, 0},
		{"no wide tolerance", asked{"target_ohms": "6690", "tolerance_percent": "0"}, "tolerance_percent", 0, 0},
		{"a negative tolerance", asked{"target_ohms": "6690", "tolerance_percent": "-5"}, "tolerance_percent", 0, 0},
		{"too wide a tolerance", asked{"target_ohms": "6690", "tolerance_percent": "100"}, "tolerance_percent", 0, 0},
		{"a tolerance as wide as the target", asked{"target_ohms": "6690", "tolerance_ohms": "6690"}, "tolerance_ohms", 0, 0},
		{"limits the wrong way round", asked{"target_ohms": "6690", "lower_ohms": "7000", "upper_ohms": "6500"}, "lower_ohms", 0, 0},
		{"too much of a guard", asked{"target_ohms": "6690", "tolerance_percent": "5", "guard_factor": "1.5"}, "guard_factor", 0, 0},
		{"no gauge", asked{"target_ohms": "6690", "tolerance_percent": "5", "gauge_awg": "61"}, "gauge_awg", 0, 0},
		{"turns below nothing", asked{"target_ohms": "6690", "tolerance_percent": "5", "turns": "-1"}, "turns", 0, 0},
		{"no bobbin", asked{"target_ohms": "6690", "tolerance_percent": "5", "bobbin.build_mm": "1001"}, "bobbin.build_mm", 0, 0},
		{"no copper", asked{"target_ohms": "6690", "tolerance_percent": "5", "alpha_per_kelvin": "0.0393"}, "alpha_per_kelvin", 0, 0},
		{"wants too little", asked{"target_ohms": "6690", "tolerance_percent": "5", "wanted_uncertainty_percent": "51"},
			"wanted_uncertainty_percent", 0, 0},
		{"cools too slowly", asked{"target_ohms": "6690", "tolerance_percent": "5", "time_constant_seconds": "90000"},
			"time_constant_seconds", 0, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			form, api, flags := f.form(t, c.asked), f.api(t, c.asked), f.flags(t, c.asked)
			if form.field == "tolerance" && strings.HasPrefix(api.field, "tolerance_") {
				form.field = api.field // the form has one field for either
			}
			if c.wrong == "tolerance_percent" && c.name == "no tolerance" {
				form.problem = api.problem // the form asks for it in its own words
			}
			for front, got := range map[string]outcome{"form": form, "API": api, "flags": flags} {
				if got != api {
					t.Errorf("by %s: %+v\nby API: %+v", front, got, api)
				}
			}
			if api.field != c.wrong || c.wrong == "" && (api.design.LowerOhms != c.lower || api.design.UpperOhms != c.upper) {
				t.Errorf("field at fault %q: %s; limits %v to %v; want field %q or %v to %v",
					api.field, api.problem, api.design.LowerOhms, api.design.UpperOhms, c.wrong, c.lower, c.upper)
			}
		})
	}
}

var names int // of designs; the fronts take turns

// stored is a design as it is kept, without what differs from front to front.
func (f fronts) stored(t *testing.T, name string) record.Design {
	t.Helper()
	var answer struct{ record.Design }
	f.daemon.call("GET", "/api/v1/designs/"+name, "", http.StatusOK, &answer)
	d := answer.Design
	d.Name, d.CreatedAt = "", time.Time{}
	if d.Bobbin != nil { // compared by value
		d.Note += fmt.Sprintf(" on a bobbin %+v", *d.Bobbin)
		d.Bobbin = nil
	}
	return d
}

func newName() string {
	names++
	return fmt.Sprintf("design-%d", names)
}

func (f fronts) api(t *testing.T, a asked) outcome {
	t.Helper()
	body := map[string]any{"name": newName()}
	for field, text := range a {
		var value any = text
		switch {
		case strings.HasSuffix(field, "_ohms"):
			ohms, err := parseOhms(text)
			if err != nil {
				t.Fatal(err)
			}
			value = ohms
		case field == "confirm":
			value = true
		case field != "note":
			value = json.Number(text)
		}
		if part, of, found := strings.Cut(field, "."); found {
			if body[part] == nil {
				body[part] = map[string]any{}
			}
			body[part].(map[string]any)[of] = value
			continue
		}
		body[field] = value
	}
	text, err := json.Marshal(body)
	if err != nil {
		t.Fatal(err)
	}
	response, err := http.Post(f.daemon.url+"/api/v1/designs", "application/json", bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	if response.StatusCode == http.StatusCreated {
		return outcome{design: f.stored(t, body["name"].(string))}
	}
	var problem struct{ Field, Detail string }
	if err := json.NewDecoder(response.Body).Decode(&problem); err != nil {
		t.Fatal(err)
	}
	return outcome{field: problem.Field, problem: strings.TrimPrefix(problem.Detail, problem.Field+": ")}
}

func (f fronts) flags(t *testing.T, a asked) outcome {
	t.Helper()
	name := newName()
	args := []string{"design", "add", name, "--history", f.path}
	for _, field := range slices.Sorted(maps.Keys(a)) {
		value := a[field]
		switch field {
		case "confirm":
			args = append(args, "--confirm")
			continue
		case "time_constant_seconds":
			value += "s"
		}
		args = append(args, "--"+designFlagNames[field]+"="+value)
	}
	var out, problems bytes.Buffer
	if run(t.Context(), args, strings.NewReader(""), &out, &problems) == exitOK {
		return outcome{design: f.stored(t, name)}
	}
	complaint, _, _ := strings.Cut(strings.TrimPrefix(problems.String(), "coilkeep: "), "\n")
	flag, problem, found := strings.Cut(strings.TrimPrefix(complaint, "--"), ": ")
	for field, known := range designFlagNames {
		if found && known == flag {
			return outcome{field: field, problem: problem}
		}
	}
	t.Fatalf("coilkeep %q complains without naming a flag: %s", args, problems.String())
	return outcome{}
}

var (
	wrongField = regexp.MustCompile(`<input id="([^"]*)"[^>]*aria-invalid="true"`)
	wrongWords = regexp.MustCompile(`<span class="wrong" id="[^"]*">([^<]*)</span>`)
)

func (f fronts) form(t *testing.T, a asked) outcome {
	t.Helper()
	name := newName()
	values := url.Values{"name": {name}, "tolerance_unit": {"percent"}, "guard_factor": {"1"}, "alpha_per_kelvin": {"0.00393"}}
	for field, text := range a {
		switch field {
		case "tolerance_percent":
			values.Set("tolerance", text)
		case "tolerance_ohms":
			values.Set("tolerance", text)
			values.Set("tolerance_unit", "ohms")
		case "time_constant_seconds":
			ohms, err := parseOhms(text)
			if err != nil {
				t.Fatal(err)
			}
			values.Set("time_constant_minutes", fmt.Sprint(ohms/60))
		default:
			values.Set(field, text)
		}
	}
	client := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	response, err := client.PostForm(f.daemon.url+"/designs", values)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	page, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	if response.StatusCode == http.StatusSeeOther {
		return outcome{design: f.stored(t, name)}
	}
	field, words := wrongField.FindSubmatch(page), wrongWords.FindSubmatch(page)
	if field == nil || words == nil {
		t.Fatalf("status %d without a field at fault: %.3000s", response.StatusCode, page)
	}
	id := string(field[1])
	if rest, isBobbin := strings.CutPrefix(id, "bobbin-"); isBobbin {
		id = "bobbin." + rest
	}
	if id == "time_constant_minutes" {
		id = "time_constant_seconds"
	}
	return outcome{field: id, problem: html.UnescapeString(string(words[1]))}
}
