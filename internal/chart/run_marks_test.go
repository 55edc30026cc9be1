package chart_test

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/chart"
	"coilkeep/internal/record"
	"coilkeep/internal/typeface"
)

// manyBatches is the run of five batches, weeks apart, each of ten coils from two
// spools.
func manyBatches(t testing.TB) chart.Run {
	t.Helper()
	report := stepped(t)
	begin := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	points := report.Points[:50]
	for i := range points {
		at := begin.AddDate(0, 0, 21*(i/10)).Add(time.Duration(i) * time.Minute)
		points[i].Time, points[i].Batch, points[i].Spool = &at, fmt.Sprintf("B-%d", i/10), fmt.Sprintf("HL-%d", 117+i/5)
	}
	report.Points, report.Outliers, report.ChangePoints, report.Rules = points, nil, nil, nil
	return chart.Wander(report, nil)
}

// The names of spools and the days of batches stand beside each other, above each
// other or not at all, however narrow the picture is; none writes over another.
func TestNamesDoNotCollide(t *testing.T) {
	t.Parallel()
	for _, width := range []float64{280, 320, 760, 1120} {
		run := manyBatches(t)
		run.Size = chart.Size{Width: width, Height: 400}
		p, err := run.Picture()
		type place struct{ from, to, y float64 }
		var places []place
		for _, e := range parse(t, must(t, p, err)).all(func(e *element) bool {
			return e.name == "text" && (strings.Contains(e.text, "HL-") || strings.Contains(e.text, "2026-"))
		}) {
			x, xErr := strconv.ParseFloat(e.attr["x"], 64)
			y, yErr := strconv.ParseFloat(e.attr["y"], 64)
			if xErr != nil || yErr != nil {
				t.Fatalf("%q stands at %q, %q", e.text, e.attr["x"], e.attr["y"])
			}
			wide := typeface.Width(e.text, false, 12.5)
			if e.attr["text-anchor"] == "end" {
				x -= wide
			}
			for _, other := range places {
				if other.y == y && x < other.to && other.from < x+wide {
					t.Errorf("%.0f wide: %q writes over another name", width, e.text)
				}
			}
			places = append(places, place{x, x + wide, y})
		}
		if len(places) < 8 {
			t.Errorf("%.0f wide: only %d of 15 names are written", width, len(places))
		}
	}
}

// A run over several batches says of which day each is; what is cut off at the
// front takes no name with it.
func TestBatchesAreDated(t *testing.T) {
	t.Parallel()
	run := manyBatches(t)
	p, err := run.Picture()
	svg := parse(t, must(t, p, err))
	for _, day := range []string{"2026-03-02", "2026-03-23", "2026-04-13", "2026-05-04", "2026-05-25"} {
		if !slices.ContainsFunc(svg.words(), func(w string) bool { return strings.HasSuffix(w, day) }) {
			t.Errorf("the picture lacks %s: %q", day, svg.words())
		}
	}
	if !strings.Contains(p.Description, "5 batches, of 2026-03-02 to 2026-05-25.") {
		t.Errorf("the description says %q", p.Description)
	}
	late := run.Latest(25)
	want := []chart.BatchMark{{26, "B-2", "2026-04-13"}, {31, "B-3", "2026-05-04"}, {41, "B-4", "2026-05-25"}}
	if !slices.Equal(late.Batches, want) {
		t.Errorf("the latest 25 coils are of %+v, want %+v", late.Batches, want)
	}
	var one []record.Measurement
	for i := range 12 {
		one = append(one, measurement(t, i+1, 6690))
	}
	p, err = chart.Run{Measurements: one, Batches: run.Batches[:1]}.Picture()
	if words := parse(t, must(t, p, err)).words(); slices.ContainsFunc(words, func(w string) bool { return strings.Contains(w, "2026-") }) {
		t.Errorf("a single batch needs no mark: %q", words)
	}
}
