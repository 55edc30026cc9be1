package web

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"coilkeep/internal/record"
)

// BenchmarkRecordPages serves each record page of a batch of 300 coils and, in
// turn, asks the history for what the page is about; ratio is the one against
// the other.
func BenchmarkRecordPages(b *testing.B) {
	w := newWorkshop(b)
	w.wind(b)
	for i := range 299 {
		w.measure(b, fmt.Sprintf("HN-1%03d", i), 6600+float64(i), noon.Add(time.Duration(i-400)*time.Minute))
	}
	w.capture(b, "HN-0001", 6690, noon.Add(-time.Hour))
	handler := w.site(&localAddress).handler()
	ctx, kept := b.Context(), w.store
	for _, c := range []struct {
		path string
		bare func() error
	}{
		{"/batches", func() error { _, _, err := kept.FindBatches(ctx, record.BatchSearch{}); return err }},
		{"/batches/LM-1", func() error {
			_, _, err := kept.Measurements(ctx, record.Filter{Batch: "LM-1", Limit: listedCoils})
			return err
		}},
		{"/coils?q=hn", func() error { _, _, err := kept.FindCoils(ctx, "hn", foundCoils); return err }},
		{"/coils/HN-0001", func() error { _, err := kept.Coil(ctx, "HN-0001"); return err }},
		{"/coils/HN-0001/certificate", func() error { _, err := kept.Coil(ctx, "HN-0001"); return err }},
		{"/coils/HN-0001/certificate.pdf", func() error { _, err := kept.Coil(ctx, "HN-0001"); return err }},
		{"/designs/Long%20Meadow", func() error { _, err := kept.DesignRevisions(ctx, "Long Meadow"); return err }},
		{"/instruments/north", func() error { _, err := kept.Calibrations(ctx, "north"); return err }},
		{recheckPath("instrument", "meter:"+oldMeter, "correction", "1"), func() error {
			return kept.EachUse(ctx, record.UseFilter{Bench: "north", Role: record.Meter, Identity: oldMeter},
				func(record.Measurement) error { return nil })
		}},
	} {
		b.Run(c.path, func(b *testing.B) {
			var page, bare, longest time.Duration
			for b.Loop() {
				start := time.Now()
				answer := httptest.NewRecorder()
				request := httptest.NewRequest("GET", c.path, nil)
				request.Host = "127.0.0.1"
				handler.ServeHTTP(answer, request)
				took := time.Since(start)
				if answer.Code != http.StatusOK {
					b.Fatalf("got status %d: %s", answer.Code, answer.Body)
				}
				start = time.Now()
				if err := c.bare(); err != nil {
					b.Fatal(err)
				}
				page, bare, longest = page+took, bare+time.Since(start), max(longest, took)
			}
			b.ReportMetric(float64(page)/float64(bare), "ratio")
			b.ReportMetric(float64(longest.Microseconds())/1000, "longest-ms")
		})
	}
}
