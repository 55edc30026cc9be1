package web

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"strconv"
	"testing"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/history/historytest"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// paintedAnswer is an answer that knows when a browser had something to show:
// at the first flush, or at the end.
type paintedAnswer struct {
	*httptest.ResponseRecorder
	flushed time.Time
}

// Flush is called by pages that are sent piece by piece.
func (a *paintedAnswer) Flush() {
	if a.flushed.IsZero() {
		a.flushed = time.Now()
	}
	a.ResponseRecorder.Flush()
}

// BenchmarkLargePages serves pages of a history of COILKEEP_BENCH_COILS coils
// (20 000 when not told) and, in turn, asks the history for what the page is
// about; ratio is the one against the other. A page is to be on the screen
// within 150 ms with a million coils: the longest wait is reported.
func BenchmarkLargePages(b *testing.B) {
	coils := 20000
	if text := os.Getenv("COILKEEP_BENCH_COILS"); text != "" {
		var err error
		if coils, err = strconv.Atoi(text); err != nil {
			b.Fatal(err)
		}
	}
	w := largeWorkshop(b, coils)
	handler := w.site(&localAddress).handler()
	ctx, kept := b.Context(), w.store
	batch := fmt.Sprintf("B-%d", coils/historytest.Coils/2/historytest.Benches*historytest.Benches)
	coil := fmt.Sprintf("HN-%07d", coils/2)
	newest := func(f record.Filter) func() error {
		f.Newest = true
		return func() error { _, _, err := kept.Measurements(ctx, f); return err }
	}
	ofBatch := func() error { _, _, err := kept.Measurements(ctx, record.Filter{Batch: batch}); return err }
	ofCoil := func() error { _, err := kept.Coil(ctx, coil); return err }
	meter := record.UseFilter{Bench: "bench-0", Role: record.Meter, Identity: oldMeter}
	for _, c := range []struct {
		path string
		bare func() error
	}{
		{"/", newest(record.Filter{Bench: "bench-0", Limit: shownMeasurements})},
		{"/benches/bench-0/run?width=900", newest(record.Filter{Batch: batch, Limit: chartedMeasurements})},
		{"/batches", func() error { _, _, err := kept.FindBatches(ctx, record.BatchSearch{}); return err }},
		{"/batches?q=b-1", func() error { _, _, err := kept.FindBatches(ctx, record.BatchSearch{Text: "b-1"}); return err }},
		{"/batches/" + batch, ofBatch},
		{"/batches/" + batch + "/drift.pdf", ofBatch},
		{"/batches/" + batch + "/labels.pdf", ofBatch},
		{"/coils", newest(record.Filter{Limit: foundCoils})},
		{"/coils?q=hn-00", func() error { _, _, err := kept.FindCoils(ctx, "hn-00", foundCoils); return err }},
		{"/coils?q=yesterday", func() error {
			from, to := dayOf(noon.Local().AddDate(0, 0, -1))
			_, _, err := kept.Measurements(ctx, record.Filter{From: from, To: to, Limit: foundCoils})
			return err
		}},
		{"/coils/" + coil, ofCoil},
		{"/coils/" + coil + "/certificate", ofCoil},
		{"/coils/" + coil + "/certificate.pdf", ofCoil},
		{"/coils/" + coil + "/label.pdf", ofCoil},
		{"/designs", func() error { _, err := kept.Designs(ctx); return err }},
		{"/designs/D-0", func() error { _, err := kept.DesignRevisions(ctx, "D-0"); return err }},
		{"/instruments", func() error { _, err := kept.Calibrations(ctx, "bench-0"); return err }},
		{"/instruments/bench-0", func() error { _, err := kept.Instruments(ctx, "bench-0"); return err }},
		{"/instruments/bench-0/recheck?correction=1&instrument=meter:" + url.QueryEscape(oldMeter), func() error {
			n := 0
			err := kept.EachUse(ctx, meter, func(record.Measurement) error {
				if n++; n > workshop.MostRechecked {
					return io.EOF
				}
				return nil
			})
			if errors.Is(err, io.EOF) {
				return nil
			}
			return err
		}},
		{"/winders", func() error { _, _, err := kept.FindBatches(ctx, record.BatchSearch{}); return err }},
		{"/winders/W1", newest(record.Filter{Design: "D-0"})},
		{"/spools", func() error { _, _, err := kept.FindBatches(ctx, record.BatchSearch{}); return err }},
		{"/answer?serial=" + coil, ofCoil},
		{"/answers", func() error { _, err := kept.Designs(ctx); return err }},
	} {
		b.Run(c.path, func(b *testing.B) {
			var page, bare, longest time.Duration
			for b.Loop() {
				start := time.Now()
				answer := &paintedAnswer{ResponseRecorder: httptest.NewRecorder()}
				request := httptest.NewRequest("GET", c.path, nil)
				request.Host = "127.0.0.1"
				handler.ServeHTTP(answer, request)
				if answer.Code != http.StatusOK {
					b.Fatalf("got status %d: %s", answer.Code, answer.Body)
				}
				took := time.Since(start)
				painted := took
				if !answer.flushed.IsZero() {
					painted = answer.flushed.Sub(start)
				}
				longest = max(longest, painted)
				start = time.Now()
				if err := c.bare(); err != nil {
					b.Fatal(err)
				}
				page, bare = page+took, bare+time.Since(start)
			}
			b.ReportMetric(float64(page)/float64(bare), "ratio")
			b.ReportMetric(float64(longest.Microseconds())/1000, "longest-paint-ms")
		})
	}
}

// largeWorkshop has so many coils, the last of them at noon, and bench-0 at work
// on a batch in their middle.
func largeWorkshop(b *testing.B, coils int) *testShop {
	b.Helper()
	w := newWorkshop(b)
	w.wind(b)
	for i := range 17 {
		w.capture(b, fmt.Sprintf("LM-%04d", i), 6650+float64(i*7919%101), noon.Add(time.Duration(i-100)*time.Minute))
	}
	var design record.Design
	for i := range historytest.Designs {
		d := longMeadow()
		d.Name = fmt.Sprintf("D-%d", i)
		added, err := w.store.AddDesign(b.Context(), d, "")
		if err != nil {
			b.Fatal(err)
		}
		if i == 0 {
			design = added
		}
	}
	historytest.Multiply(b, w.store.Path(), coils, noon.Add(-time.Duration(coils)*time.Minute))
	batch, err := w.store.Batch(b.Context(), fmt.Sprintf("B-%d", coils/historytest.Coils/2/historytest.Benches*historytest.Benches))
	if err != nil {
		b.Fatal(err)
	}
	w.north.set(func(s *bench.Snapshot) {
		*s = idle("bench-0")
		s.Batch, s.Design = &batch, &design
	})
	return w
}
