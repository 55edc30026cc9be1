package web

import (
	"html"
	"math"
	"net/http"
	"net/url"
	"regexp"
	"testing"

	"coilkeep/internal/copper"
	"coilkeep/internal/record"
)

// filledDesign is a whole form.
func filledDesign(change ...string) url.Values {
	values := url.Values{
		"name": {"Millrace"}, "target_ohms": {"6.69k"}, "tolerance": {"5"}, "tolerance_unit": {"percent"}, "guard_factor": {"0,5"},
		"gauge_awg": {"42"}, "turns": {"8800"}, "bobbin.straight_mm": {"52"}, "bobbin.core_radius_mm": {"2.4"}, "bobbin.build_mm": {"4.2"},
		"alpha_per_kelvin": {"0.00393"}, "time_constant_minutes": {"8"}, "note": {"bright\r\nand warm"},
	}
	for i := 0; i < len(change); i += 2 {
		values.Set(change[i], change[i+1])
	}
	return values
}

func TestAddDesignByForm(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name         string
		change       []string
		lower, upper float64
	}{
		{"percent", nil, 6355.5, 7024.5},
		{"ohms", []string{"tolerance", "200", "tolerance_unit", "ohms"}, 6490, 6890},
		{"limits", []string{"tolerance", "", "lower_ohms", "6k5", "upper_ohms", "7000"}, 6500, 7000},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			w := newWorkshop(t)
			w.start(t)
			answer := w.fill(t, "/designs", filledDesign(c.change...))
			if answer.status != http.StatusOK {
				t.Fatalf("got status %d: %s", answer.status, textOf(string(answer.body)))
			}
			wantText(t, string(answer.body), "Millrace revision 1", "What this means in wire")
			got, err := w.store.Design(t.Context(), "Millrace")
			if err != nil {
				t.Fatal(err)
			}
			want := record.Design{Name: "Millrace", Revision: 1, CreatedAt: got.CreatedAt, TargetOhms: 6690, LowerOhms: got.LowerOhms,
				UpperOhms:   got.UpperOhms,
				GuardFactor: 0.5, GaugeAWG: 42, Turns: 8800, Bobbin: got.Bobbin, AlphaPerKelvin: 0.00393,
				AlphaStandardUncertaintyPerKelvin: copper.StandardUncertaintyPerKelvin, TimeConstantSeconds: 480, Note: "bright\nand warm"}
			if got != want || *got.Bobbin != (record.Bobbin{StraightMM: 52, CoreRadiusMM: 2.4, BuildMM: 4.2}) {
				t.Errorf("got %+v, want %+v", got, want)
			}
			if math.Abs(got.LowerOhms-c.lower) > 1e-9 || math.Abs(got.UpperOhms-c.upper) > 1e-9 {
				t.Errorf("got limits %g to %g, want %g to %g", got.LowerOhms, got.UpperOhms, c.lower, c.upper)
			}
			// What the page fills into its form is the design itself: keeping it
			// unchanged is refused as no change.
			page := w.page(t, "/designs/Millrace")
			answer = w.fill(t, "/designs/Millrace", shownValues(page))
			if answer.status != http.StatusConflict {
				t.Errorf("kept unchanged: got status %d: %s", answer.status, textOf(string(answer.body)))
			}
			wantText(t, string(answer.body), "is the same as revision 1")
		})
	}
}

// shownValues is what a browser would send of the form of a page.
func shownValues(page string) url.Values {
	values := url.Values{"tolerance_unit": {"percent"}}
	for _, m := range regexp.MustCompile(`<input id="[^"]*" name="([^"]*)" value="([^"]*)"`).FindAllStringSubmatch(page, -1) {
		values.Set(m[1], html.UnescapeString(m[2]))
	}
	note := regexp.MustCompile(`(?s)<textarea id="note" name="note"[^>]*>(.*?)</textarea>`).FindStringSubmatch(page)
	values.Set("note", html.UnescapeString(note[1]))
	return values
}

func TestDesignFormSaysWhatIsWrong(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	for _, c := range []struct {
		name   string
		change []string
		text   string
	}{
		{"no name", []string{"name", ""}, "must not be empty"},
		{"no target", []string{"target_ohms", ""}, "is missing: write a resistance"},
		{"no number", []string{"target_ohms", "six"}, "six"},
		{"a k left out", []string{"target_ohms", "6.69"}, "6.69 Ω is no usual target, which is 100 Ω to 200 kΩ; did you mean 6.69 kΩ? If it " +
			"is meant so, confirm it"},
		{"no tolerance", []string{"tolerance", ""}, "say how far a coil may be off"},
		{"two tolerances", []string{"lower_ohms", "6000"}, "give either a tolerance, in percent or in ohms, or both limits"},
		{"one limit", []string{"tolerance", "", "lower_ohms", "6000"}, "one limit does not say how far"},
		{"a wide tolerance", []string{"tolerance", "100"}, "less than 100 %"},
		{"no unit", []string{"tolerance_unit", "turns"}, "in percent or in ohms"},
		{"a gauge with a fraction", []string{"gauge_awg", "42.5"}, "42.5 is not a whole number"},
		{"words for turns", []string{"turns", "many"}, `"many" is not a number`},
		{"infinite", []string{"turns", "Inf"}, `"Inf" is not a number`},
		{"too careful", []string{"guard_factor", "2"}, "must be 0 to 1, not 2"},
		{"aluminium", []string{"alpha_per_kelvin", "0.0045"}, "must be the coefficient of a copper wire"},
		{"a slow coil", []string{"time_constant_minutes", "2000"}, "must be 0 to 86400 s"},
		{"a bobbin inside out", []string{"bobbin.straight_mm", "-1"}, "must be 0 to 1000 mm"},
	} {
		t.Run(c.name, func(t *testing.T) {
			answer := w.fill(t, "/designs", filledDesign(c.change...))
			if answer.status != http.StatusUnprocessableEntity {
				t.Errorf("got status %d, want %d", answer.status, http.StatusUnprocessableEntity)
			}
			wantText(t, string(answer.body), c.text)
			// What was filled in is still there.
			if got := shownValues(string(answer.body)); got.Get("bobbin.build_mm") != "4.2" {
				t.Errorf("the form forgot what was filled in: %v", got)
			}
		})
	}
	if designs, err := w.store.Designs(t.Context()); err != nil || len(designs) != 0 {
		t.Errorf("got %d designs, %v, want none", len(designs), err)
	}
}

func TestReviseDesignByForm(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	values := shownValues(w.page(t, "/designs/Long%20Meadow"))
	values.Set("target_ohms", "6.8k")
	answer := w.fill(t, "/designs/Long%20Meadow", values)
	wantText(t, string(answer.body), "Long Meadow revision 2", "Target at 20 °C 6.8 kΩ", "6.46 kΩ to 7.14 kΩ −5.00 %, +5.00 %",
		"Earlier revisions", "6.69 kΩ 6.3555 kΩ 7.0245 kΩ")
	// Somebody else had the page open too: theirs is not the last word unseen.
	late := shownValues(w.page(t, "/designs/Long%20Meadow"))
	late.Set("revision", "1")
	late.Set("turns", "5700")
	answer = w.fill(t, "/designs/Long%20Meadow", late)
	wantText(t, string(answer.body), "revision 2", "has revision 2 by now, and this is a change of revision 1")
	if again := shownValues(string(answer.body)); answer.status != http.StatusConflict || again.Get("turns") != "5700" ||
		again.Get("revision") != "2" {
		t.Errorf("a change of revision 1: status %d, then %v; want 409, and what was typed to send again", answer.status, again)
	}
	late.Set("turns", "many")
	if again := shownValues(string(w.fill(t, "/designs/Long%20Meadow", late).body)); again.Get("revision") != "1" {
		t.Errorf("a mistake elsewhere in the form made it a change of revision %s", again.Get("revision"))
	}
	late.Del("revision")
	if answer := w.fill(t, "/designs/Long%20Meadow", late); answer.status != http.StatusUnprocessableEntity {
		t.Errorf("a form without the revision: status %d", answer.status)
	}
	// The open batch stays with what it began with.
	wantText(t, w.page(t, "/batches/LM-1"), "revision 1: 6.69 kΩ")
	if answer := w.fill(t, "/designs/Short", values); answer.status != http.StatusNotFound {
		t.Errorf("a design that is not there: got status %d, want %d", answer.status, http.StatusNotFound)
	}
	if answer := w.fill(t, "/designs", filledDesign("name", "Long Meadow")); answer.status != http.StatusConflict {
		t.Errorf("a name that is taken: got status %d, want %d", answer.status, http.StatusConflict)
	}
}
