package web

import (
	"net/http"
	"net/url"
	"regexp"
	"testing"

	"coilkeep/internal/record"
)

// left stores how coils HN-0001, HN-0002… that were left on the clips cooled: the
// time constant of each, in minutes.
func (w *testShop) left(t *testing.T, minutes ...float64) {
	t.Helper()
	for i, m := range minutes {
		_, err := w.store.AddCoolingCurve(t.Context(), record.CoolingCurve{Bench: "north", Design: "Long Meadow",
			Serial:              "HN-000" + string(rune('1'+i)),
			TimeConstantSeconds: 60 * m, TimeConstantErrorSeconds: 20, StartKelvin: 5})
		if err != nil {
			t.Fatal(err)
		}
	}
}

// learnedForm is what the button of the page sends.
func learnedForm(t *testing.T, page string) url.Values {
	t.Helper()
	values := url.Values{}
	for _, m := range regexp.MustCompile(`<input type="hidden" name="(revision|proposal)" value="([^"]*)"`).FindAllStringSubmatch(page, -1) {
		values.Set(m[1], m[2])
	}
	if len(values) != 2 {
		t.Fatalf("the page has no form to use what was learned: %v", values)
	}
	return values
}

func TestLearnedByOneClick(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.left(t, 7.2, 7.6)
	w.start(t)
	const path = "/designs/Long%20Meadow"
	wantText(t, w.page(t, path), "2 of at least 3 coils have shown how they cool", "that of the bench")
	w.left(t, 7.2, 7.6, 7.4)
	page := w.page(t, path)
	// The mean of the logarithms of 7.2, 7.6 and 7.4 is that of 7.398.
	wantText(t, page, "learned: 7.4 ±", "from 3 coils Use it", "that of the bench → 7.4 ±", "That makes revision 2",
		"HN-0003 7.4 ± 0.3 min 5 K away north")
	seen := learnedForm(t, page)

	// What was seen is what is used: another curve makes another proposal.
	w.left(t, 9)
	answer := w.fill(t, path+"/learned", seen)
	if answer.status != http.StatusConflict {
		t.Fatalf("an old proposal: got status %d", answer.status)
	}
	wantText(t, string(answer.body), "propose something else by now")

	answer = w.fill(t, path+"/learned", learnedForm(t, w.page(t, path)))
	if answer.status != http.StatusOK {
		t.Fatalf("got status %d: %s", answer.status, textOf(string(answer.body)))
	}
	wantText(t, string(answer.body), "revision 2", "In use:", "min, learned")
	used, err := w.store.Design(t.Context(), "Long Meadow")
	if err != nil {
		t.Fatal(err)
	}
	if used.TimeConstantSeconds < 440 || used.TimeConstantSeconds > 500 || used.TimeConstantRatio <= 0 ||
		used.TargetOhms != longMeadow().TargetOhms {
		t.Errorf("the design is %+v", used)
	}
	if answer = w.fill(t, path+"/learned", url.Values{"revision": {"2"}, "proposal": {"1 2 3"}}); answer.status != http.StatusConflict {
		t.Errorf("a proposal nobody made: got status %d", answer.status)
	}

	// Another edit keeps what was learned, and a time constant that is typed is
	// learned from nothing.
	values := shownValues(w.page(t, path))
	values.Set("turns", "5700")
	values.Set("wanted_uncertainty_percent", "0,4")
	if answer = w.fill(t, path, values); answer.status != http.StatusOK {
		t.Fatalf("got status %d: %s", answer.status, textOf(string(answer.body)))
	}
	wantText(t, string(answer.body), "and U is 0.4 % or less", "Learned:")
	kept, err := w.store.Design(t.Context(), "Long Meadow")
	if err != nil {
		t.Fatal(err)
	}
	if kept.TimeConstantSeconds != used.TimeConstantSeconds || kept.TimeConstantRatio != used.TimeConstantRatio ||
		kept.WantedUncertaintyPercent != 0.4 || kept.Turns != 5700 {
		t.Errorf("an edit of the turns left %+v of %+v", kept, used)
	}
	values = shownValues(w.page(t, path))
	values.Set("time_constant_minutes", "9.5")
	if answer = w.fill(t, path, values); answer.status != http.StatusOK {
		t.Fatalf("got status %d: %s", answer.status, textOf(string(answer.body)))
	}
	if kept, err = w.store.Design(t.Context(), "Long Meadow"); err != nil || kept.TimeConstantSeconds != 570 || kept.TimeConstantRatio != 0 {
		t.Errorf("typed by hand: %+v, %v", kept, err)
	}
	wantText(t, string(answer.body), "9.5 min, a factor of two either way: not learned", "Use it")
	values = shownValues(w.page(t, path))
	values.Set("wanted_uncertainty_percent", "60")
	answer = w.fill(t, path, values)
	wantText(t, string(answer.body), "must be 0 to 50 %")
}
