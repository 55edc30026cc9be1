package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"
)

func TestRack(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	const path = "/benches/north/rack"
	wantText(t, w.page(t, path), "Nothing, as far as anybody said", "If every coil of LM-1")

	// One scan after the other, with the same time.
	morning := noon.Add(-90 * time.Minute).Local().Format(sinceLayout)
	answer := w.fill(t, path, url.Values{"serial": {" HN-0001 "}, "since": {morning}})
	if answer.status != http.StatusOK {
		t.Fatalf("got status %d: %s", answer.status, textOf(string(answer.body)))
	}
	wantText(t, string(answer.body), "HN-0001 lies beside the probe since", "HN-0001 90 min")
	if !strings.Contains(string(answer.body), `type="datetime-local" value="`+morning+`"`) {
		t.Error("the time is gone for the next scan")
	}
	answer = w.fill(t, path, url.Values{"serial": {"HN-0002"}, "since": {""}})
	wantText(t, string(answer.body), "HN-0002 just now", "HN-0001 90 min")
	answer = w.fill(t, path, url.Values{"batch": {"LM-1"}, "since": {morning}})
	wantText(t, string(answer.body), "Batch LM-1 lies beside the probe since", "batch LM-1 90 min")

	soaks, err := w.store.Soaks(t.Context(), "north", 10)
	if err != nil || len(soaks) != 3 || soaks[0].Batch != "LM-1" || soaks[1].Serial != "HN-0002" || !soaks[1].Since.Equal(noon) ||
		!soaks[2].Since.Equal(noon.Add(-90*time.Minute)) {
		t.Fatalf("stored %+v, %v", soaks, err)
	}

	// What was on the clips since lies there no more, and what is put back does.
	w.measure(t, "HN-0001", 6690, noon.Add(-time.Minute))
	page := w.page(t, path)
	wantNoText(t, page, "HN-0001")
	wantText(t, page, "HN-0002", "batch LM-1")
	answer = w.fill(t, path, url.Values{"serial": {"HN-0001"}})
	wantText(t, string(answer.body), "HN-0001 just now")

	for _, c := range []struct {
		values url.Values
		text   string
	}{
		{url.Values{"serial": {""}}, "scan or type which coil"},
		{url.Values{"serial": {"HN-0003"}, "since": {"9 o'clock"}}, "is not a day and a time like"},
		{url.Values{"serial": {"HN-0003"}, "since": {noon.Add(time.Hour).Local().Format(sinceLayout)}}, "must not be in the future"},
		{url.Values{"serial": {"HN-0001"}, "since": {morning}}, "must not be before the coil was on the clips last"},
		{url.Values{"batch": {"LM-1"}, "since": {noon.Add(time.Hour).Local().Format(sinceLayout)}}, "must not be in the future"},
	} {
		answer := w.fill(t, path, c.values)
		if answer.status != http.StatusUnprocessableEntity {
			t.Errorf("%v: got status %d", c.values, answer.status)
		}
		wantText(t, string(answer.body), c.text)
	}
	if answer := w.ask(t, "GET", "/benches/south/rack", nil); answer.status != http.StatusNotFound {
		t.Errorf("the rack of no bench: got status %d", answer.status)
	}
}
