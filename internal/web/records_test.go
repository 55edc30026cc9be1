package web

import (
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/web/problem"
)

var (
	tags   = regexp.MustCompile(`(?s)<(script|style|thead)\b.*?</(script|style|thead)>|<[^>]*>`)
	spaces = regexp.MustCompile(`\s+`)
)

// textOf is what the main part of a page says, without its tags and the heads of
// tables.
func textOf(page string) string {
	_, page, found := strings.Cut(page, "<main")
	if found {
		page = "<main" + page
	}
	return spaces.ReplaceAllString(html.UnescapeString(tags.ReplaceAllString(page, " ")), " ")
}

// recordPages lists a path of every record page, for a workshop with coil
// HN-0001 of batch LM-1.
func recordPages() []string {
	return []string{"/batches", "/batches/LM-1", "/coils", "/coils?q=HN", "/coils?q=2026-03-14", "/coils/HN-0001",
		"/coils/HN-0001/certificate",
		"/designs", "/designs/Long%20Meadow", "/instruments", "/instruments/north", "/instruments/north/recheck", "/benches/north/rack",
		"/reevaluate", "/reevaluate?show=1",
		"/instruments/north/recheck?instrument=meter%3AElder+Vale%2CEV-40%2C1207%2C1.2&correction=0.1"}
}

// TestRecordPagesHaveTheirFrame has every page be whole: one main element, one
// heading, a current place in the navigation, each id once, and nothing that
// the strict policy would refuse.
func TestRecordPagesHaveTheirFrame(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.capture(t, "HN-0001", 6690, noon.Add(-time.Hour))
	w.start(t)
	ids := regexp.MustCompile(` id="([^"]*)"`)
	inline := regexp.MustCompile(`(?i) (style|on[a-z]+)="`)
	for _, path := range recordPages() {
		t.Run(path, func(t *testing.T) {
			page := w.page(t, path)
			for _, once := range []string{"<main", "<h1", `aria-current="true">`} {
				if got := strings.Count(page, once); got < 1 || once != `aria-current="true">` && got > 1 {
					t.Errorf("got %d of %s", got, once)
				}
			}
			seen := map[string]bool{}
			for _, m := range ids.FindAllStringSubmatch(page, -1) {
				if seen[m[1]] {
					t.Errorf("id %q is there twice", m[1])
				}
				seen[m[1]] = true
			}
			for _, m := range regexp.MustCompile(` for="([^"]*)"`).FindAllStringSubmatch(page, -1) {
				if !seen[m[1]] {
					t.Errorf("a label is for %q, which is not there", m[1])
				}
			}
			if found := inline.FindString(page); found != "" {
				t.Errorf("the page has an inline%s", found)
			}
			for _, bad := range []string{"%!", "&lt;nil&gt;", "NaN", "ZgotmplZ"} {
				if strings.Contains(page, bad) {
					t.Errorf("the page has %q", bad)
				}
			}
		})
	}
}

// TestRecordPagesOfANewcomer has an empty history give pages that say how to
// go on.
func TestRecordPagesOfANewcomer(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	for path, text := range map[string]string{
		"/batches":                   "No batch was wound yet",
		"/coils":                     "No coil is measured yet",
		"/coils?q=HN-1":              "No serial number begins with “HN-1”",
		"/coils?q=yesterday":         "Nothing was measured on " + dayInWords(noon.AddDate(0, 0, -1)),
		"/designs":                   "Add the first one here",
		"/instruments":               "none recorded",
		"/instruments/north":         "None is recorded",
		"/instruments/north/recheck": "has not measured a coil yet",
	} {
		wantText(t, w.page(t, path), text)
	}
}

// TestRecordPagesEscape has what people type be shown, not run.
func TestRecordPagesEscape(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	const serial = `<b>"&'/..%2F é</b>`
	m := w.capture(t, serial, 6690, noon.Add(-time.Hour))
	if _, err := w.store.Void(t.Context(), m.ID, `<script>alert("1")</script>`, "<i>"); err != nil {
		t.Fatal(err)
	}
	w.start(t)
	own := "/coils/" + url.PathEscape(serial)
	for _, path := range []string{"/batches/LM-1", "/coils", "/coils?q=" + url.QueryEscape("<b>"), own} {
		page := w.page(t, path)
		if strings.Contains(page, "<b>\"") || strings.Contains(page, "<script>alert") {
			t.Errorf("%s: what was typed is in the page as it is", path)
		}
		wantText(t, page, serial)
		if path != own && !strings.Contains(html.UnescapeString(page), own) {
			t.Errorf("%s does not link to %s", path, own)
		}
	}
}

// TestRecordPagesSayWhatIsWrong has errors be pages for people.
func TestRecordPagesSayWhatIsWrong(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.capture(t, "HN-0001", 6690, noon.Add(-time.Hour))
	w.start(t)
	for path, want := range map[string]struct {
		status int
		text   string
	}{
		"/batches/LM-9":                            {404, `batch "LM-9" not found`},
		"/batches?after=LM-9":                      {404, `batch "LM-9" not found`},
		"/batches/LM-9/measurements.csv":           {404, `batch "LM-9" not found`},
		"/batches/LM-9/labels.pdf":                 {404, "no coil to print a label for"},
		"/batches/LM-1/labels.pdf?width_mm=2":      {422, "width of the label must be"},
		"/batches/LM-1/labels.pdf?width_mm=wide":   {422, `"wide" is not a length`},
		"/batches/LM-1/labels.pdf?paper=silk":      {422, `there is no paper "silk"`},
		"/batches/LM-1/labels.pdf?skip=-1":         {422, "can be used up"},
		"/batches/LM-1/labels.pdf?which=some":      {422, `there is no choice "some"`},
		"/coils/HN-0009":                           {404, `coil "HN-0009" not found`},
		"/coils/HN-0001?measurement=x":             {404, `has no measurement "x"`},
		"/coils/HN-0009/certificate":               {404, `coil "HN-0009" not found`},
		"/coils/HN-0009/certificate.pdf":           {404, `coil "HN-0009" not found`},
		"/designs/Short":                           {404, `design "Short" not found`},
		"/instruments/south":                       {404, `there is no bench "south"`},
		"/instruments/north/recheck?correction=1":  {422, "choose an instrument"},
		"/instruments/south/recheck?correction=99": {404, `there is no bench "south"`},
	} {
		answer := w.ask(t, "GET", path, nil)
		if answer.status != want.status || answer.header.Get("Content-Type") != "text/html; charset=utf-8" {
			t.Errorf("%s: got status %d, %s, want %d as a page", path, answer.status, answer.header.Get("Content-Type"), want.status)
		}
		wantText(t, string(answer.body), want.text)
	}
}

// TestFormsOfOtherSitesAreRefused has no page of another site change anything.
func TestFormsOfOtherSitesAreRefused(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	m := w.capture(t, "HN-0001", 6690, noon.Add(-time.Hour))
	w.start(t)
	for _, path := range []string{"/coils/HN-0001/void", "/designs", "/designs/Long%20Meadow", "/instruments/north/leads",
		"/instruments/north/standard", "/instruments/north/calibrations"} {
		answer := w.ask(t, "POST", path, url.Values{"measurement": {m.ID}, "reason": {"theirs"}}.Encode(), func(r *http.Request) {
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			r.Header.Set("Sec-Fetch-Site", "cross-site")
		})
		want[problem.Details](t, answer, http.StatusForbidden)
		// And a form must be one.
		answer = w.ask(t, "POST", path, `{"reason":"ours"}`)
		if answer.status != http.StatusUnsupportedMediaType {
			t.Errorf("%s: got status %d for JSON, want %d", path, answer.status, http.StatusUnsupportedMediaType)
		}
	}
	coil, err := w.store.Coil(t.Context(), "HN-0001")
	if err != nil || !coil.Measurements[0].Stands() {
		t.Errorf("the coil does not stand any more: %v", err)
	}
}
