package web

import (
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/record"
)

// The picture at the bench shows level and limits, what was withdrawn, and the
// spool in use when it does not reach back to its change.
func TestBenchPictureShowsTheLevel(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	const path = "/benches/north/run?width=900"
	w.windCoils(t, 1, 30, 6750)
	w.windCoils(t, 31, 45, 6850)
	last := w.measure(t, "HN-0046", 6850, noon.Add(-54*time.Minute))
	if _, err := w.store.Void(t.Context(), last.ID, "wrong coil", "Ada"); err != nil {
		t.Fatal(err)
	}
	text := w.shows(t, path, "target</text>", "level</text>", "signal</text>", "spool S-7</text>", "void</text>", `width="900"`)
	if got := strings.Count(text, `class="point"`); got != 46 {
		t.Errorf("%d coils are drawn, want 46", got)
	}
	w.windCoils(t, 47, 210, 6850)
	text = w.shows(t, path, "target</text>", "level</text>", "spool S-7</text>")
	if got := strings.Count(text, `class="point"`); got != chartedMeasurements {
		t.Errorf("%d coils are drawn, want the newest %d", got, chartedMeasurements)
	}
}

// The page of a batch that is too long for one picture shows its newest coils,
// each judged and with a way to its record.
func TestLongBatchShowsItsNewestCoils(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	const coils = listedCoils + 4
	var last record.Measurement
	for i := 1; i <= coils; i++ {
		last = w.measure(t, fmt.Sprintf("HN-%04d", i), 6750+float64(i*7919%101), noon.Add(time.Duration(i-coils)*time.Minute))
	}
	w.shows(t, "/batches/LM-1", "The picture shows the newest coils only", "spool S-7</text>",
		`class="point" href="/coils/`+last.Serial+`?measurement=`+last.ID+`"`)
}

// BenchmarkBenchRun serves what the page of a bench fetches after every coil, of
// a batch of a thousand coils: as after a coil, which is analysed first, and as
// once more.
func BenchmarkBenchRun(b *testing.B) {
	w := newWorkshop(b)
	w.wind(b)
	random := rand.New(rand.NewPCG(7, 8))
	coil := func(i int) {
		w.measure(b, fmt.Sprintf("HN-%05d", i), 6750+20*random.NormFloat64(), noon.Add(time.Duration(i-2000)*time.Minute))
	}
	for i := range 1000 {
		coil(i)
	}
	handler := w.site(&localAddress).handler()
	serve := func(b *testing.B) time.Duration {
		b.Helper()
		start := time.Now()
		answer := httptest.NewRecorder()
		request := httptest.NewRequest("GET", "/benches/north/run?width=900", nil)
		request.Host = "127.0.0.1"
		handler.ServeHTTP(answer, request)
		took := time.Since(start)
		if answer.Code != http.StatusOK || !strings.Contains(answer.Body.String(), "control limits") {
			b.Fatalf("status %d: %s", answer.Code, answer.Body)
		}
		return took
	}
	for _, c := range []struct {
		name string
		coil bool
	}{{"after a coil", true}, {"once more", false}} {
		b.Run(c.name, func(b *testing.B) {
			var longest, total time.Duration
			wound := 0
			for b.Loop() {
				if c.coil { // withdrawn again, so that there are a thousand
					b.StopTimer()
					m := w.measure(b, fmt.Sprintf("HN-X%d-%d", b.N, wound), 6750, noon)
					if _, err := w.store.Void(b.Context(), m.ID, "benchmark", ""); err != nil {
						b.Fatal(err)
					}
					wound++
					b.StartTimer()
				}
				took := serve(b)
				longest, total = max(longest, took), total+took
			}
			b.ReportMetric(float64(longest.Microseconds())/1000, "longest-ms")
		})
	}
}
