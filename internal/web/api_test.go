package web

import (
	"bytes"
	"errors"
	"fmt"
	"html"
	"log/slog"
	"net/http"
	"net/url"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/history"
	"coilkeep/internal/record"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
)

func TestHealth(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	for _, path := range []string{"/healthz", "/readyz"} {
		answer := w.ask(t, "GET", path, nil)
		if answer.status != http.StatusOK || !strings.HasPrefix(answer.header.Get("Content-Type"), "text/plain") {
			t.Errorf("%s: got status %d, content type %q", path, answer.status, answer.header.Get("Content-Type"))
		}
	}
}

// TestNotReady has the daemon say why a coil clipped on now would not be kept.
func TestNotReady(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, want string
		spoil      func(t *testing.T, w *testShop)
	}{
		{"bench stands still", "bench north does not run", func(t *testing.T, w *testShop) {
			w.north.set(func(s *bench.Snapshot) { s.Time = noon.Add(-time.Minute) })
		}},
		{"measurement not saved", "bench north holds a measurement that is not saved", func(t *testing.T, w *testShop) {
			w.north.set(func(s *bench.Snapshot) { s.Unsaved = "the disk is full" })
		}},
		{"history closed to writing", "the history takes no writes", func(t *testing.T, w *testShop) {
			store, err := history.Open(t.Context(), w.store.Path(), history.Options{ReadOnly: true})
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { store.Close() })
			w.Server.History = store
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			w := newWorkshop(t)
			c.spoil(t, w)
			w.start(t)
			got := want[problem.Details](t, w.ask(t, "GET", "/readyz", nil), http.StatusServiceUnavailable)
			if !strings.Contains(got.Detail, c.want) {
				t.Errorf("got %q, want it to say %q", got.Detail, c.want)
			}
			if alive := w.ask(t, "GET", "/healthz", nil); alive.status != http.StatusOK {
				t.Errorf("got status %d from /healthz, want 200", alive.status)
			}
		})
	}
}

func TestBenches(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.measure(t, "HN-0001", 6721.4, noon)
	w.start(t)
	list := want[struct{ Benches []bench.Snapshot }](t, w.ask(t, "GET", "/api/v1/benches", nil), http.StatusOK)
	if len(list.Benches) != 1 || list.Benches[0].Bench != "north" {
		t.Fatalf("got %+v, want bench north", list.Benches)
	}
	one := want[bench.Snapshot](t, w.ask(t, "GET", "/api/v1/benches/north", nil), http.StatusOK)
	if one.ResistanceOhms != nil || one.TemperatureCelsius == nil || *one.TemperatureCelsius != 22.35 {
		t.Errorf("got resistance %v and temperature %v, want none and 22.35", one.ResistanceOhms, one.TemperatureCelsius)
	}
	if one.Batch == nil || one.Batch.Name != "LM-1" || one.Last == nil || one.Last.Serial != "HN-0001" {
		t.Errorf("got batch %+v, last %+v", one.Batch, one.Last)
	}
	missing := want[problem.Details](t, w.ask(t, "GET", "/api/v1/benches/west", nil), http.StatusNotFound)
	if missing.Field != "bench" || !strings.Contains(missing.Detail, "north") {
		t.Errorf("got %+v, want the field and the benches there are", missing)
	}
}

func TestBatch(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	if _, err := w.store.AddDesign(t.Context(), longMeadow(), ""); err != nil {
		t.Fatal(err)
	}
	w.start(t)
	const path = "/api/v1/benches/north/batch"
	order := map[string]string{"batch": "LM-1", "design": "Long Meadow", "spool": "S-7", "winder": "W1", "operator": "Ada"}
	batch := want[record.Batch](t, w.ask(t, "POST", path, order), http.StatusCreated)
	if batch.Name != "LM-1" || batch.Bench != "north" || batch.Spool() != "S-7" || batch.Winder != "W1" || batch.Operator != "Ada" {
		t.Errorf("got %+v, want what was ordered", batch)
	}
	second := map[string]string{"batch": "LM-2", "design": "Long Meadow"}
	want[problem.Details](t, w.ask(t, "POST", path, second), http.StatusConflict)
	batch = want[record.Batch](t, w.ask(t, "POST", "/api/v1/benches/north/spool", `{"spool":"S-8"}`), http.StatusOK)
	if batch.Spool() != "S-8" {
		t.Errorf("got spool %q, want S-8", batch.Spool())
	}
	batch = want[record.Batch](t, w.ask(t, "DELETE", path, nil), http.StatusOK)
	if batch.ClosedAt == nil {
		t.Error("the batch is still open")
	}
	want[problem.Details](t, w.ask(t, "DELETE", path, nil), http.StatusConflict)
	unknown := map[string]string{"design": "Short Meadow"}
	want[problem.Details](t, w.ask(t, "POST", path, unknown), http.StatusNotFound)
}

// TestOrders has what a client sends arrive at the bench as it was sent.
func TestOrders(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	named := func(r *http.Request) { r.SetBasicAuth("Ada", "") }
	want[bench.Snapshot](t, w.ask(t, "POST", "/api/v1/benches/north/next", `{"serial":"HN-9","stage":"potted","again":true}`, named),
		http.StatusOK)
	if next, _, _ := w.north.told(); next != (bench.Next{Serial: "HN-9", Stage: "potted", Again: true, Who: "Ada"}) {
		t.Errorf("got next %+v", next)
	}
	want[bench.Snapshot](t, w.ask(t, "POST", "/api/v1/benches/north/record", `{"force":true,"reason":"known warm"}`, named), http.StatusOK)
	if _, request, _ := w.north.told(); request != (bench.RecordRequest{Force: true, Reason: "known warm", Who: "Ada"}) {
		t.Errorf("got request %+v", request)
	}
	want[bench.Snapshot](t, w.ask(t, "POST", "/api/v1/benches/north/readings", `{"role":"meter","value":"6.69k"}`), http.StatusOK)
	if _, _, typed := w.north.told(); typed != "meter 6.69k" {
		t.Errorf("got typed %q", typed)
	}
	for _, c := range []struct{ path, body, field string }{
		{"record", `{"force":true}`, "reason"},
		{"record", `{"force":true,"reason":"  "}`, "reason"},
		{"readings", `{"role":"thermometer","value":"21"}`, "role"},
	} {
		got := want[problem.Details](t, w.ask(t, "POST", "/api/v1/benches/north/"+c.path, c.body), http.StatusUnprocessableEntity)
		if got.Field != c.field {
			t.Errorf("%s %s: got field %q, want %q", c.path, c.body, got.Field, c.field)
		}
	}
}

// TestErrorKinds has each kind of error become its status, and nothing from
// inside reach a client.
func TestErrorKinds(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	for _, c := range []struct {
		name   string
		err    error
		status int
		kind   string
		detail string
	}{
		{"not now", fmt.Errorf("%w: clips are open", bench.ErrState), 409, "conflict", "clips are open"},
		{"duplicate", fmt.Errorf("coil %w", record.ErrDuplicate), 409, "duplicate", "exists already"},
		{"conflict", fmt.Errorf("%w: the same", record.ErrConflict), 409, "conflict", "the same"},
		{"invalid", fmt.Errorf("%w: %q", record.ErrInvalid, "6..9"), 422, "invalid", "6..9"},
		{"field", fmt.Errorf("next: %w", &record.FieldError{Field: "serial", Problem: "must not be empty"}), 422, "invalid", "must not be empty"},
		{"not found", fmt.Errorf("design %w", record.ErrNotFound), 404, "not-found", "not found"},
		{"full", fmt.Errorf("record in /home/someone/x.db: %w", record.ErrFull), 503, "unavailable", "free some space"},
		{"busy", record.ErrBusy, 503, "unavailable", "try again"},
		{"unknown", errors.New("secret path /home/someone"), 500, "internal", "log"},
	} {
		w.north.fail(c.err)
		got := want[problem.Details](t, w.ask(t, "POST", "/api/v1/benches/north/next", `{}`), c.status)
		if got.Status != c.status || !strings.HasSuffix(got.Type, "/"+c.kind) || got.Title == "" || !strings.Contains(got.Detail, c.detail) {
			t.Errorf("%s: got %+v, want %d %s saying %q", c.name, got, c.status, c.kind, c.detail)
		}
		if strings.Contains(got.Detail, "/home") {
			t.Errorf("%s: the answer tells a path: %s", c.name, got.Detail)
		}
	}
}

func TestDesigns(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	body := `{"name":"Long Meadow","target_ohms":6690,"tolerance_percent":5,"gauge_awg":42,"turns":5600,
		"bobbin":{"straight_mm":60,"core_radius_mm":3,"build_mm":4},"note":"bridge side"}`
	added := want[record.Design](t, w.ask(t, "POST", "/api/v1/designs", body), http.StatusCreated)
	if added.Revision != 1 || added.LowerOhms != 6355.5 || added.UpperOhms != 7024.5 || added.GuardFactor != 1 ||
		added.AlphaPerKelvin != 0.00393 || added.Bobbin == nil || added.Bobbin.BuildMM != 4 {
		t.Errorf("got %+v", added)
	}
	want[problem.Details](t, w.ask(t, "POST", "/api/v1/designs", body), http.StatusConflict)

	revised := want[record.Design](t, w.ask(t, "POST", "/api/v1/designs/Long%20Meadow/revisions", `{"lower_ohms":6500,"guard_factor":0}`),
		http.StatusCreated)
	if revised.Revision != 2 || revised.LowerOhms != 6500 || revised.UpperOhms != 7024.5 || revised.GuardFactor != 0 || revised.Turns != 5600 {
		t.Errorf("got %+v, want only what was said to change", revised)
	}
	// A change of the first revision would undo that.
	late := want[problem.Details](t, w.ask(t, "POST", "/api/v1/designs/Long%20Meadow/revisions", `{"revision":1,"turns":5700}`),
		http.StatusConflict)
	if !strings.Contains(late.Detail, "has revision 2 by now, and this is a change of revision 1") {
		t.Errorf("a change of revision 1: %s", late.Detail)
	}
	shown := want[struct {
		record.Design
		Revisions []record.Design `json:"revisions"`
	}](t, w.ask(t, "GET", "/api/v1/designs/Long%20Meadow", nil), http.StatusOK)
	if shown.Revision != 2 || len(shown.Revisions) != 2 || shown.Revisions[0].Revision != 1 {
		t.Errorf("got revision %d of %d", shown.Revision, len(shown.Revisions))
	}
	list := want[struct{ Designs []record.Design }](t, w.ask(t, "GET", "/api/v1/designs", nil), http.StatusOK)
	if len(list.Designs) != 1 || list.Designs[0].Revision != 2 {
		t.Errorf("got %+v, want the latest revision", list.Designs)
	}
	want[problem.Details](t, w.ask(t, "GET", "/api/v1/designs/Nobody", nil), http.StatusNotFound)
	want[problem.Details](t, w.ask(t, "POST", "/api/v1/designs/Nobody/revisions", `{}`), http.StatusNotFound)
}

func TestDesignRefused(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	want[record.Design](t, w.ask(t, "POST", "/api/v1/designs", `{"name":"Base","target_ohms":6690,"lower_ohms":6600,"upper_ohms":6800}`),
		http.StatusCreated)
	for _, c := range []struct{ name, path, body, field string }{
		{"no target", "", `{"name":"A","tolerance_percent":5}`, "target_ohms"},
		{"no tolerance", "", `{"name":"A","target_ohms":6690}`, "tolerance_percent"},
		{"both tolerances", "", `{"name":"A","target_ohms":6690,"tolerance_percent":5,"lower_ohms":6600}`, "tolerance_percent"},
		{"one limit", "", `{"name":"A","target_ohms":6690,"lower_ohms":6600}`, "tolerance_percent"},
		{"negative tolerance", "", `{"name":"A","target_ohms":6690,"tolerance_percent":-5}`, "tolerance_percent"},
		{"no name", "", `{"target_ohms":6690,"tolerance_percent":5}`, "name"},
		{"limits crossed", "", `{"name":"A","target_ohms":6690,"lower_ohms":6900,"upper_ohms":6700}`, "lower_ohms"},
		{"guard", "", `{"name":"A","target_ohms":6690,"tolerance_percent":5,"guard_factor":2}`, "guard_factor"},
		{"new target, old limits", "/Base/revisions", `{"target_ohms":6700}`, "tolerance_percent"},
		{"revision of a new one", "", `{"name":"A","target_ohms":6690,"tolerance_percent":5,"revision":1}`, "revision"},
		{"no such revision", "/Base/revisions", `{"revision":0,"note":"x"}`, "revision"},
		{"other name", "/Base/revisions", `{"name":"Other","note":"x"}`, "name"},
	} {
		got := want[problem.Details](t, w.ask(t, "POST", "/api/v1/designs"+c.path, c.body), http.StatusUnprocessableEntity)
		if got.Field != c.field {
			t.Errorf("%s: got field %q (%s), want %q", c.name, got.Field, got.Detail, c.field)
		}
	}
	want[problem.Details](t, w.ask(t, "POST", "/api/v1/designs/Base/revisions", `{}`), http.StatusConflict)
}

func TestMeasurements(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	var ids []string
	for i := range 5 {
		ids = append(ids, w.measure(t, fmt.Sprintf("HN-%04d", i+1), 6700+float64(i), noon.Add(time.Duration(i)*time.Minute)).ID)
	}
	w.start(t)
	type page struct {
		Measurements []record.Measurement `json:"measurements"`
		Next         string               `json:"next"`
	}
	var got []string
	for cursor := ""; ; {
		p := want[page](t, w.ask(t, "GET", "/api/v1/measurements?batch=LM-1&limit=2&after="+cursor, nil), http.StatusOK)
		for _, m := range p.Measurements {
			got = append(got, m.ID)
		}
		if cursor = p.Next; cursor == "" {
			break
		}
	}
	if strings.Join(got, " ") != strings.Join(ids, " ") {
		t.Errorf("got %v in pages, want %v", got, ids)
	}
	for query, count := range map[string]int{
		"": 5, "serial=HN-0003": 1, "design=Long+Meadow": 5, "bench=north": 5, "bench=south": 0, "batch=LM-2": 0,
		"from=2026-03-14T12:01:00Z&to=2026-03-14T12:03:00Z": 2, "from=2026-03-14T13:01:00%2B01:00": 4,
	} {
		p := want[page](t, w.ask(t, "GET", "/api/v1/measurements?"+query, nil), http.StatusOK)
		if p.Measurements == nil || len(p.Measurements) != count {
			t.Errorf("%q: got %d measurements, want %d", query, len(p.Measurements), count)
		}
	}
	for query, field := range map[string]string{
		"limit=0": "limit", "limit=ten": "limit", "limit=1001": "limit", "from=yesterday": "from", "to=2026-03-14": "to",
		"after=nobody": "after", "desing=x": "desing",
	} {
		p := want[problem.Details](t, w.ask(t, "GET", "/api/v1/measurements?"+query, nil), http.StatusUnprocessableEntity)
		if p.Field != field {
			t.Errorf("%q: got field %q (%s), want %q", query, p.Field, p.Detail, field)
		}
	}
}

func TestMeasurementDetailAndVoid(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	m := w.measure(t, "HN-0001", 6721.4, noon)
	w.start(t)
	detail := want[api.MeasurementDetail](t, w.ask(t, "GET", "/api/v1/measurements/"+m.ID, nil), http.StatusOK)
	if len(detail.Budget) != len(m.Budget) || len(detail.Readings) != 2 || detail.R20Ohms != m.R20Ohms {
		t.Errorf("got %d budget lines, %d readings, R20 %g; want %d, 2, %g", len(detail.Budget), len(detail.Readings), detail.R20Ohms,
			len(m.Budget), m.R20Ohms)
	}
	want[problem.Details](t, w.ask(t, "GET", "/api/v1/measurements/nobody", nil), http.StatusNotFound)

	path := "/api/v1/measurements/" + m.ID + "/void"
	got := want[problem.Details](t, w.ask(t, "POST", path, `{"reason":""}`), http.StatusUnprocessableEntity)
	if got.Field != "reason" {
		t.Errorf("got field %q, want reason", got.Field)
	}
	void := want[record.Measurement](t, w.ask(t, "POST", path, `{"reason":"wrong coil"}`), http.StatusOK)
	if void.Status != record.Void || void.Reason != "wrong coil" {
		t.Errorf("got status %q because of %q", void.Status, void.Reason)
	}
	want[problem.Details](t, w.ask(t, "POST", path, `{"reason":"again"}`), http.StatusConflict)

	coil := want[record.Coil](t, w.ask(t, "GET", "/api/v1/coils/HN-0001", nil), http.StatusOK)
	if coil.Serial != "HN-0001" || len(coil.Measurements) != 1 || coil.Measurements[0].Status != record.Void {
		t.Errorf("got %+v", coil)
	}
	want[problem.Details](t, w.ask(t, "GET", "/api/v1/coils/HN-9999", nil), http.StatusNotFound)
}

// TestLists pages through coils and batches: what a list has of one is what it is
// when asked for by name.
func TestLists(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	w.wind(t)
	serials := []string{"HN-0001", "Hn-0002", "HN-0003", "KB-7"}
	for i, serial := range serials {
		w.measure(t, serial, 6690, noon.Add(time.Duration(i)*time.Minute))
	}
	type coilPage struct {
		Coils []record.Coil
		Next  string
	}
	var seen []string
	for next := ""; ; {
		page := want[coilPage](t, w.ask(t, "GET", "/api/v1/coils?limit=2&after="+url.QueryEscape(next), nil), http.StatusOK)
		for _, c := range page.Coils {
			seen = append(seen, c.Serial)
			if alone := want[record.Coil](t, w.ask(t, "GET", "/api/v1/coils/"+c.Serial, nil), http.StatusOK); !reflect.DeepEqual(alone, c) {
				t.Errorf("coil %s alone is %+v, in the list %+v", c.Serial, alone, c)
			}
		}
		if next = page.Next; next == "" {
			break
		}
	}
	if !slices.Equal(seen, serials) {
		t.Errorf("pages hold %q, want %q", seen, serials)
	}
	for path, length := range map[string]int{"?serial=hN-00": 3, "?serial=kb": 1, "?serial=%25": 0, "?serial=HN-0003": 1} {
		if page := want[coilPage](t, w.ask(t, "GET", "/api/v1/coils"+path, nil), http.StatusOK); len(page.Coils) != length {
			t.Errorf("%s finds %d coils, want %d", path, len(page.Coils), length)
		}
	}
	type batchPage struct {
		Batches []record.Batch
		Next    string
	}
	page := want[batchPage](t, w.ask(t, "GET", "/api/v1/batches?text=lm&design=Long+Meadow", nil), http.StatusOK)
	if len(page.Batches) != 1 || page.Next != "" {
		t.Fatalf("batches: %+v", page)
	}
	alone := want[record.Batch](t, w.ask(t, "GET", "/api/v1/batches/"+page.Batches[0].Name, nil), http.StatusOK)
	if !reflect.DeepEqual(alone, page.Batches[0]) {
		t.Errorf("alone it is %+v, in the list %+v", alone, page.Batches[0])
	}
	if page := want[batchPage](t, w.ask(t, "GET", "/api/v1/batches?to=2001-01-01T00:00:00Z", nil), http.StatusOK); len(page.Batches) != 0 {
		t.Errorf("opened before there was any: %+v", page)
	}
	want[problem.Details](t, w.ask(t, "GET", "/api/v1/batches/nothing", nil), http.StatusNotFound)
	for path, field := range map[string]string{"coils?limit=0": "limit", "coils?q=x": "q", "batches?after=nothing": "after",
		"batches?from=noon": "from"} {
		if p := want[problem.Details](t, w.ask(t, "GET", "/api/v1/"+path, nil), http.StatusUnprocessableEntity); p.Field != field {
			t.Errorf("%s: field %q, want %q", path, p.Field, field)
		}
	}
}

// TestBodies has bodies that are not what they should be refused, with the
// field at fault.
func TestBodies(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	const path = "/api/v1/designs"
	for _, c := range []struct {
		name, body  string
		status      int
		field, says string
	}{
		{"empty", "", 400, "", "JSON object"},
		{"no object", `["name"]`, 400, "", "JSON object"},
		{"cut", `{"name":"A"`, 400, "", "byte"},
		{"trailing", `{"name":"A"} {"name":"B"}`, 400, "", "byte"},
		{"unknown field", `{"name":"A","tolerance":5}`, 422, "tolerance", "tolerance_percent"},
		{"unknown inner field", `{"name":"A","bobbin":{"length":5}}`, 422, "bobbin.length", "straight_mm"},
		{"other spelling", `{"Name":"A"}`, 422, "Name", "name"},
		{"wrong kind", `{"name":"A","target_ohms":"6.69k"}`, 422, "target_ohms", "a number"},
		{"fraction of a turn", `{"name":"A","turns":12.5}`, 422, "turns", "a whole number"},
		{"not a number", `{"name":"A","target_ohms":NaN}`, 400, "", "byte"},
		{"too large", `{"note":"` + strings.Repeat("x", api.MaxBodyBytes) + `"}`, 413, "", "larger"},
	} {
		got := want[problem.Details](t, w.ask(t, "POST", path, c.body), c.status)
		if got.Field != c.field || !strings.Contains(got.Detail, c.says) {
			t.Errorf("%s: got field %q, %q; want field %q saying %q", c.name, got.Field, got.Detail, c.field, c.says)
		}
	}
	plain := func(r *http.Request) { r.Header.Set("Content-Type", "text/plain") }
	want[problem.Details](t, w.ask(t, "POST", path, `{"name":"A"}`, plain), http.StatusUnsupportedMediaType)
}

func TestNothingThere(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	for _, path := range []string{"/nothing", "/api/v1/contraptions", "/api/v1/batches/LM-1/drift", "/assets/", "/assets/../server.go"} {
		got := want[problem.Details](t, w.ask(t, "GET", path, nil), http.StatusNotFound)
		if got.Title == "" || got.Detail == "" {
			t.Errorf("%s: got %+v", path, got)
		}
	}
	// A person who mistyped an address is answered with a page.
	browser := func(r *http.Request) { r.Header.Set("Accept", "text/html,application/xhtml+xml,*/*;q=0.8") }
	for path, says := range map[string]string{"/nothing": "there is no page at /nothing", "/benches/west": `there is no bench "west"`} {
		answer := w.ask(t, "GET", path, nil, browser)
		if answer.status != http.StatusNotFound || answer.header.Get("Content-Type") != "text/html; charset=utf-8" {
			t.Errorf("%s: got status %d, %s", path, answer.status, answer.header.Get("Content-Type"))
		}
		wantText(t, html.UnescapeString(string(answer.body)), says, "look for a coil")
		wantNoText(t, string(answer.body), "openapi")
	}

	answer := w.ask(t, "PUT", "/api/v1/benches/north/batch", `{}`)
	want[problem.Details](t, answer, http.StatusMethodNotAllowed)
	if got := answer.header.Get("Allow"); got != "POST, DELETE" {
		t.Errorf("got Allow %q, want POST, DELETE", got)
	}
}

func TestMetricsAreServed(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	answer := w.ask(t, "GET", "/metrics", nil)
	if answer.status != http.StatusOK || !strings.Contains(string(answer.body), "coilkeep_build_info") {
		t.Errorf("got status %d: %s", answer.status, answer.body)
	}
}

// TestBugIsAnswered has a handler that panics become a problem, with nothing
// from inside for the client, and the stack in the log.
func TestBugIsAnswered(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.Metrics = http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic("secret") })
	var log bytes.Buffer
	w.Logger = slog.New(slog.NewTextHandler(&log, nil))
	stop := w.start(t)
	answer := w.ask(t, "GET", "/metrics", nil)
	want[problem.Details](t, answer, http.StatusInternalServerError)
	if strings.Contains(string(answer.body), "secret") {
		t.Errorf("the answer tells too much: %s", answer.body)
	}
	if answer := w.ask(t, "GET", "/healthz", nil); answer.status != http.StatusOK {
		t.Errorf("got status %d afterwards, want 200", answer.status)
	}
	stop()
	if !strings.Contains(log.String(), "secret") || !strings.Contains(log.String(), "routes.go") {
		t.Errorf("the log does not tell where: %s", log.String())
	}
}
