package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
)

// TestAssembly sells two coils as one and reads what every page says of it.
func TestAssembly(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	for i, serial := range []string{"HN-0001", "HN-0002", "HN-0003"} {
		w.capture(t, serial, 6690+float64(20*i), noon.Add(time.Duration(i-60)*time.Minute))
	}
	w.start(t)
	wantText(t, w.page(t, "/coils/HN-0001"), "Sell it with another coil")
	wantNoText(t, w.page(t, "/coils/HN-0001/certificate"), "both in series")
	want[problem.Details](t, w.ask(t, "GET", "/api/v1/assemblies/HN-0001", nil), http.StatusNotFound)

	// What cannot be is said at its field.
	for says, values := range map[string]url.Values{
		"coil HN-0009 was never measured":  {"second": {"HN-0009"}, "serial": {"A-1"}},
		"must not be the first coil again": {"second": {"HN-0001"}, "serial": {"A-1"}},
		"must not be the number":           {"second": {"HN-0002"}, "serial": {"HN-0002"}},
	} {
		answer := w.fill(t, "/coils/HN-0001/assembly", values)
		if answer.status != http.StatusUnprocessableEntity {
			t.Errorf("%s: got status %d, want %d", says, answer.status, http.StatusUnprocessableEntity)
		}
		wantText(t, string(answer.body), says)
	}

	page := string(w.fill(t, "/coils/HN-0001/assembly", url.Values{"second": {"HN-0002"}, "serial": {"A-1"}}).body)
	wantText(t, page, "Assembly A-1 of coils HN-0001 and HN-0002", "Sell it with another coil instead")
	kept := want[record.Assembly](t, w.ask(t, "GET", "/api/v1/assemblies/HN-0002", nil), http.StatusOK)
	if kept.Serial != "A-1" || kept.First != "HN-0001" || kept.Second != "HN-0002" {
		t.Errorf("got %+v", kept)
	}
	wantText(t, w.page(t, "/coils/HN-0001/certificate"),
		"A-1, with coil HN-0002", "both in series", "both in parallel", "coil HN-0001 alone", "coil HN-0002 alone")
	wantText(t, w.page(t, "/coils/HN-0002/certificate"), "A-1, with coil HN-0001")
	wantNoText(t, w.page(t, "/coils/HN-0002/certificate"), "as measured together")
	// Its number leads to its first coil, typed or followed.
	wantText(t, w.page(t, "/coils/A-1"), "Coil HN-0001")
	wantText(t, w.page(t, "/coils?q=A-1"), "Coil HN-0001")

	// Measured together, the document says so, also under the number of the whole.
	w.capture(t, "A-1", 6690+6710, noon.Add(-10*time.Minute))
	for _, path := range []string{"/coils/A-1/certificate", "/coils/HN-0001/certificate", "/coils/HN-0002/certificate"} {
		wantText(t, w.page(t, path), "both in series, as measured together")
	}
	wantText(t, w.page(t, "/coils/A-1"), "Coil A-1", "Assembly A-1 of coils HN-0001 and HN-0002")

	// A coil is not sold twice unasked.
	const breaks = "A-1 is coils HN-0001 and HN-0002"
	refused := want[problem.Details](t, w.ask(t, "POST", "/api/v1/assemblies",
		`{"serial":"A-2","first":"HN-0001","second":"HN-0003","by":"Ada"}`),
		http.StatusConflict)
	if !strings.Contains(refused.Detail, breaks) {
		t.Errorf("got %q, want the pair that it breaks", refused.Detail)
	}
	wantText(t, string(w.fill(t, "/coils/HN-0003/assembly", url.Values{"second": {"HN-0001"}, "serial": {"A-2"}}).body), breaks)

	// Parts that do not add up are no assembly to vouch for.
	want[record.Assembly](t, w.ask(t, "POST", "/api/v1/assemblies",
		`{"serial":"A-2","first":"HN-0001","second":"HN-0003","by":"Ada","take_apart":true}`), http.StatusCreated)
	w.capture(t, "A-2", 6690, noon.Add(-5*time.Minute))
	answer := w.ask(t, "GET", "/coils/HN-0001/certificate", nil)
	if answer.status != http.StatusConflict {
		t.Errorf("got status %d, want %d", answer.status, http.StatusConflict)
	}
	wantText(t, string(answer.body), "its parts add up to")

	// HN-0002 is sold alone now. Without a standing record there is no document.
	wantNoText(t, w.page(t, "/coils/HN-0002/certificate"), "A-1")
	third, err := w.store.Coil(t.Context(), "HN-0003")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.store.Void(t.Context(), third.Measurements[0].ID, "wrong coil", ""); err != nil {
		t.Fatal(err)
	}
	wantText(t, string(w.ask(t, "GET", "/coils/HN-0001/certificate", nil).body), "no measurement of HN-0003 stands")
	wantText(t, w.page(t, "/coils/HN-0001"), "Before it is sold: No measurement of coil HN-0003 stands")

	// One that is too low can be sold, but not without a word.
	w.capture(t, "HN-0004", 6000, noon.Add(-time.Minute))
	wantText(t, string(w.fill(t, "/coils/HN-0002/assembly", url.Values{"second": {"HN-0004"}, "serial": {"A-3"}}).body),
		"Before it is sold: Coil HN-0004 is not within its tolerance: too low")
}
