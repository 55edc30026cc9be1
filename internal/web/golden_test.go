package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/drift/watch"
	"coilkeep/internal/pdftest"
	"coilkeep/internal/record"
)

// inZone in the environment makes TestGoldens do its work: pages show local times,
// so it runs itself once more in a zone of its own.
const inZone = "COILKEEP_GOLDENS_IN_ZONE"

// TestGoldens compares every page and every answer of the API, whole, with what
// they were on one fixed history. Rewrite them with
//
//	go test ./internal/web -run TestGoldens -update
//
// and look at the difference.
func TestGoldens(t *testing.T) {
	if os.Getenv(inZone) == "" {
		t.Parallel()
		again := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestGoldens$", fmt.Sprintf("-update=%t", *update))
		again.Env = append(os.Environ(), inZone+"=yes")
		if said, err := again.CombinedOutput(); err != nil {
			t.Errorf("%v\n%s", err, said)
		}
		return
	}
	// Not UTC, so that a time shown in the wrong zone shows itself; and so near to it
	// that the coils still are of a morning and an afternoon.
	time.Local = time.FixedZone("workshop", -30*60)
	w := newWorkshop(t)
	w.Drift = watch.New(w.store, time.Local)
	history, err := os.Open(filepath.Join("testdata", "golden", "history.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	defer history.Close()
	if _, err := w.store.Import(t.Context(), history); err != nil {
		t.Fatal(err)
	}
	w.situate(t)
	w.start(t)
	asked := map[string]bool{}
	for _, r := range w.site(&net.TCPAddr{IP: net.IPv4(127, 0, 0, 1)}).routes() {
		if r.Method != http.MethodGet {
			continue
		}
		examples, known := goldenExamples[r.Path]
		if !known {
			t.Errorf("no example of GET %s: add one to goldenExamples", r.Path)
		}
		for _, path := range examples {
			asked[r.Path] = true
			w.golden(t, w.withIDs(t, path))
		}
	}
	for path, examples := range goldenExamples {
		if !asked[path] && len(examples) > 0 {
			t.Errorf("examples of %s, which is no route", path)
		}
	}
}

// situate shows the bench with the batch that the history has open.
func (w *testShop) situate(t *testing.T) {
	t.Helper()
	batch, err := w.store.OpenBatchOf(t.Context(), "north")
	if err != nil || batch == nil {
		t.Fatalf("batch %v, %v", batch, err)
	}
	design, err := w.store.DesignRevision(t.Context(), batch.Design, batch.DesignRevision)
	if err != nil {
		t.Fatal(err)
	}
	last, _, err := w.store.Measurements(t.Context(), record.Filter{Newest: true, Limit: 1})
	if err != nil || len(last) != 1 {
		t.Fatal(err)
	}
	w.north.set(func(s *bench.Snapshot) {
		s.Batch, s.Design, s.NextSerial, s.Last = batch, &design, "HN-0033", &last[0]
	})
}

// goldenExamples are what is asked of each route. A name in braces stands for an
// id of the history: {measurement} that of a coil, {comparison} of an answer.
var goldenExamples = map[string][]string{
	"/{$}":                   {"/"},
	"/benches/{bench}":       {"/benches/north"},
	"/benches/{bench}/panel": {"/benches/north/panel"},
	"/benches/{bench}/run":   {"/benches/north/run"},
	"/benches/{bench}/rack":  {"/benches/north/rack"},
	"/answer": {"/answer", "/answer?serial=HN-0003", "/answer?serial=HN-0003&theirs=6.28k&temperature=8",
		"/answer?serial=HN-0004&theirs=OL"},
	"/answers":                            {"/answers"},
	"/answers/{id}":                       {"/answers/{comparison}"},
	"/answers/{id}/answer.pdf":            {"/answers/{comparison}/answer.pdf"},
	"/batches":                            {"/batches", "/batches?q=sedge"},
	"/batches/{batch}":                    {"/batches/LM-1", "/batches/SE-1"},
	"/batches/{batch}/drift.pdf":          {"/batches/LM-1/drift.pdf"},
	"/batches/{batch}/measurements.csv":   {"/batches/LM-1/measurements.csv"},
	"/batches/{batch}/measurements.jsonl": {"/batches/LM-1/measurements.jsonl"},
	"/batches/{batch}/labels.pdf":         {"/batches/LM-1/labels.pdf"},
	"/winders":                            {"/winders"},
	"/winders/{winder}":                   {"/winders/W1"},
	"/winders/{winder}/drift.pdf":         {"/winders/W1/drift.pdf"},
	"/spools":                             {"/spools"},
	"/pairs":                              {"/pairs", "/pairs?first=LM-1"},
	"/studies":                            {"/studies"},
	"/studies/{study}":                    {"/studies/March"},
	"/designs":                            {"/designs"},
	"/designs/{design}":                   {"/designs/Sedge", "/designs/Long%20Meadow"},
	"/instruments":                        {"/instruments"},
	"/instruments/{bench}":                {"/instruments/north"},
	"/instruments/{bench}/recheck": {"/instruments/north/recheck",
		"/instruments/north/recheck?instrument=meter:Elder+Vale,EV-40,1207,1.2&correction=0.1"},
	"/coils": {"/coils", "/coils?q=hn-000", "/coils?q=2026-03-12", "/coils?q=nothing"},
	"/coils/{serial}": {"/coils/HN-0001", "/coils/HN-0003", "/coils/HN-0007", "/coils/HN-0027", "/coils/HN-0029",
		"/coils/HN-0030", "/coils/HN-0031", "/coils/PB-1"},
	"/coils/{serial}/certificate":          {"/coils/HN-0002/certificate", "/coils/HN-0007/certificate"},
	"/coils/{serial}/certificate.pdf":      {"/coils/HN-0002/certificate.pdf"},
	"/coils/{serial}/label.pdf":            {"/coils/HN-0002/label.pdf"},
	"/reevaluate":                          {"/reevaluate"},
	"/healthz":                             {"/healthz"},
	"/readyz":                              {"/readyz"},
	"/api/v1/openapi.json":                 {"/api/v1/openapi.json"},
	"/api/v1/comparisons":                  {"/api/v1/comparisons", "/api/v1/comparisons?serial=HN-0003"},
	"/api/v1/comparisons/{id}":             {"/api/v1/comparisons/{comparison}"},
	"/api/v1/batches":                      {"/api/v1/batches"},
	"/api/v1/batches/{batch}":              {"/api/v1/batches/LM-1"},
	"/api/v1/batches/{batch}/drift":        {"/api/v1/batches/LM-1/drift", "/api/v1/batches/SE-1/drift"},
	"/api/v1/winders/{winder}/drift":       {"/api/v1/winders/W1/drift"},
	"/api/v1/spools":                       {"/api/v1/spools"},
	"/api/v1/pairs":                        {"/api/v1/pairs?first=LM-1"},
	"/api/v1/studies":                      {"/api/v1/studies"},
	"/api/v1/studies/{study}":              {"/api/v1/studies/March"},
	"/api/v1/benches":                      {"/api/v1/benches"},
	"/api/v1/benches/{bench}":              {"/api/v1/benches/north", "/api/v1/benches/west"},
	"/api/v1/benches/{bench}/calibrations": {"/api/v1/benches/north/calibrations"},
	"/api/v1/designs":                      {"/api/v1/designs"},
	"/api/v1/designs/{design}":             {"/api/v1/designs/Sedge"},
	"/api/v1/designs/{design}/cooling":     {"/api/v1/designs/Long%20Meadow/cooling"},
	"/api/v1/measurements": {"/api/v1/measurements?limit=3", "/api/v1/measurements?serial=HN-0030",
		"/api/v1/measurements?limit=none"},
	"/api/v1/measurements/{id}":   {"/api/v1/measurements/{measurement}"},
	"/api/v1/coils":               {"/api/v1/coils?limit=2"},
	"/api/v1/coils/{serial}":      {"/api/v1/coils/hn-0030", "/api/v1/coils/nobody"},
	"/api/v1/assemblies/{serial}": {"/api/v1/assemblies/PB-1"},

	// Files of the program, a stream without an end, and what another package
	// compares with its own golden.
	"/assets/chart.css": {}, "/assets/{file}": {}, "/api/v1/events": {}, "/metrics": {},
}

// withIDs puts ids of the history in their places.
func (w *testShop) withIDs(t *testing.T, path string) string {
	t.Helper()
	if strings.Contains(path, "{measurement}") {
		coil, err := w.store.Coil(t.Context(), "HN-0002")
		if err != nil {
			t.Fatal(err)
		}
		path = strings.ReplaceAll(path, "{measurement}", coil.Measurements[0].ID)
	}
	if strings.Contains(path, "{comparison}") {
		list, err := w.store.ComparisonsOf(t.Context(), "HN-0003")
		if err != nil || len(list) == 0 {
			t.Fatalf("comparisons %v, %v", list, err)
		}
		path = strings.ReplaceAll(path, "{comparison}", list[0].ID)
	}
	return path
}

var (
	notInNames = regexp.MustCompile(`[^a-zA-Z0-9.-]+`)
	// importID is the one id that this run makes: the journal's entry about the
	// import. A build says its own version.
	importID = regexp.MustCompile(`"id":"[0-9a-f-]{36}","time":"[^"]*","action":"import"`)
)

// golden compares one answer with its file: the status, the type and the body, JSON
// indented and of a PDF the text.
func (w *testShop) golden(t *testing.T, path string) {
	t.Helper()
	client := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	request, err := http.NewRequestWithContext(t.Context(), http.MethodGet, w.url+path, nil)
	if err != nil {
		t.Fatal(err)
	}
	request.Header.Set("Accept", "text/html")
	response, err := client.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	var body bytes.Buffer
	if _, err := body.ReadFrom(response.Body); err != nil {
		t.Fatal(err)
	}
	kind := response.Header.Get("Content-Type")
	text := body.Bytes()
	checkDescribed(t, request, reply{status: response.StatusCode, header: response.Header, body: text})
	switch {
	case strings.Contains(kind, "json") && !strings.Contains(kind, "jsonl"):
		var indented bytes.Buffer
		if err := json.Indent(&indented, text, "", " "); err != nil {
			t.Fatal(err)
		}
		text = indented.Bytes()
	case strings.Contains(kind, "pdf"):
		var pages []string
		for _, page := range pdftest.Pages(t, text) {
			pages = append(pages, strings.Join(page, "\n"))
		}
		text = []byte(strings.Join(pages, "\n\n"))
	}
	got := fmt.Sprintf("GET %s\n%d %s %s\n\n%s\n", path, response.StatusCode, kind, response.Header.Get("Location"), text)
	got = strings.ReplaceAll(got, strings.TrimPrefix(w.url, "http://"), "HOST")
	got = importID.ReplaceAllString(got, `"id":"…","time":"…","action":"import"`)
	name := strings.Trim(notInNames.ReplaceAllString(strings.NewReplacer("/api/v1/", "api-", "?", "_").Replace(path), "-"), "-")
	if name == "" {
		name = "home"
	}
	file := filepath.Join("testdata", "golden", name+".txt")
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Errorf("%v: write it with -update", err)
		return
	}
	if got != string(want) {
		t.Errorf("%s differs from %s:\n%s", path, file, firstDifference(got, string(want)))
	}
}

// firstDifference shows the first lines that differ, cut where they are long.
func firstDifference(got, want string) string {
	g, w := strings.Split(got, "\n"), strings.Split(want, "\n")
	for i := range max(len(g), len(w)) {
		one, other := lineAt(g, i), lineAt(w, i)
		if one != other {
			from := 0
			for from < min(len(one), len(other)) && one[from] == other[from] {
				from++
			}
			from = max(0, from-60)
			return fmt.Sprintf("line %d: got …%.300s\nwant …%.300s", i+1, one[min(from, len(one)):], other[min(from, len(other)):])
		}
	}
	return "no difference"
}

func lineAt(lines []string, i int) string {
	if i < len(lines) {
		return lines[i]
	}
	return "(no more)"
}
