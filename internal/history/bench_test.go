package history

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"coilkeep/internal/history/historytest"
	"coilkeep/internal/record"
)

// BenchmarkRecord stores durable measurements of 11 readings and, in turn, the
// same number of bytes as a bare append with fsync to a file beside it; ratio
// is the one against the other.
func BenchmarkRecord(b *testing.B) {
	s := workshop(b)
	bare, err := os.Create(filepath.Join(b.TempDir(), "bare"))
	if err != nil {
		b.Fatal(err)
	}
	before := foldedSize(b, s)
	payload := make([]byte, 8192)
	var durable, appended time.Duration
	n := 0
	for b.Loop() {
		n++
		m, readings := sample(b, fmt.Sprintf("HN-%07d", n), 6690, firstInstant.Add(time.Duration(n)*time.Second))
		start := time.Now()
		if _, err := s.Record(b.Context(), m, readings); err != nil {
			b.Fatal(err)
		}
		durable += time.Since(start)
		start = time.Now()
		if _, err := bare.Write(payload); err != nil {
			b.Fatal(err)
		}
		if err := bare.Sync(); err != nil {
			b.Fatal(err)
		}
		appended += time.Since(start)
	}
	after := foldedSize(b, s)
	b.ReportMetric(float64(durable.Microseconds())/float64(n), "record-µs")
	b.ReportMetric(float64(appended.Microseconds())/float64(n), "append-µs")
	b.ReportMetric(float64(durable)/float64(appended), "ratio")
	b.ReportMetric(float64(after-before)/float64(n), "bytes/record")
	if err := bare.Close(); err != nil {
		b.Fatal(err)
	}
}

// foldedSize is the size of a history with its log folded back into the file.
func foldedSize(b *testing.B, s *Store) int64 {
	b.Helper()
	must(b)(s.writer.ExecContext(b.Context(), "PRAGMA wal_checkpoint(TRUNCATE)"))
	size, err := s.SizeBytes()
	if err != nil {
		b.Fatal(err)
	}
	return size
}

// BenchmarkLarge asks a history of COILKEEP_BENCH_COILS coils (20 000 when not
// told). Each answer is to come within 50 ms however large
// the history is: the longest one is reported.
func BenchmarkLarge(b *testing.B) {
	coils := 20000
	if text := os.Getenv("COILKEEP_BENCH_COILS"); text != "" {
		var err error
		if coils, err = strconv.Atoi(text); err != nil {
			b.Fatal(err)
		}
	}
	s := largeHistory(b, coils)
	size, err := s.SizeBytes()
	if err != nil {
		b.Fatal(err)
	}
	b.Logf("%d coils, %d MB", coils, size>>20)
	middle := fmt.Sprintf("HN-%07d", coils/2)
	ctx := b.Context()
	for _, c := range []struct {
		name string
		ask  func() error
	}{
		{"coil", func() error { _, err := s.Coil(ctx, middle); return err }},
		{"next serial", func() error { _, err := s.NextSerial(ctx, "HN-%07d"); return err }},
		{"measurement", func() error { _, _, err := s.Measurement(ctx, "id-"+middle); return err }},
		{"newest", func() error { _, _, err := s.Measurements(ctx, record.Filter{Newest: true}); return err }},
		{"batch", func() error { _, _, err := s.Measurements(ctx, record.Filter{Batch: "B-1"}); return err }},
		{"batch by name", func() error { _, err := s.Batch(ctx, "B-1"); return err }},
		{"batches", func() error { _, err := s.Batches(ctx, record.BatchFilter{}); return err }},
		{"statistics", func() error { _, err := s.BatchStatistics(ctx, "B-1"); return err }},
		{"design", func() error { _, _, err := s.Measurements(ctx, record.Filter{Design: "D-1"}); return err }},
		{"design newest", func() error { _, _, err := s.Measurements(ctx, record.Filter{Design: "D-1", Newest: true}); return err }},
		{"bench", func() error { _, _, err := s.Measurements(ctx, record.Filter{Bench: "bench-1"}); return err }},
		{"design never at that bench", func() error {
			_, _, err := s.Measurements(ctx, record.Filter{Design: "D-1", Bench: "bench-0"})
			return err
		}},
		{"a day", func() error {
			from := firstInstant.Add(time.Duration(coils/2) * time.Minute)
			_, _, err := s.Measurements(ctx, record.Filter{From: from, To: from.Add(24 * time.Hour)})
			return err
		}},
		{"page in the middle", func() error { _, _, err := s.Measurements(ctx, record.Filter{After: "id-" + middle}); return err }},
		{"designs", func() error { _, err := s.Designs(ctx); return err }},
		{"find coils", func() error { _, _, err := s.FindCoils(ctx, "hn-00", 50); return err }},
		{"find batches", func() error { _, _, err := s.FindBatches(ctx, record.BatchSearch{Limit: 50}); return err }},
		{"find batches by text", func() error { _, _, err := s.FindBatches(ctx, record.BatchSearch{Text: "b-1", Limit: 50}); return err }},
		{"uses of a meter that is gone", func() error {
			return s.EachUse(ctx, record.UseFilter{Bench: "bench-1", Role: record.Meter, Identity: "gone"},
				func(record.Measurement) error { return nil })
		}},
		{"find batches by text that is nowhere", func() error {
			_, _,
				err := s.FindBatches(ctx, record.BatchSearch{Text: "nowhere"})
			return err
		}},
		{"verdicts of batches", func() error { _, err := s.BatchVerdicts(ctx, "B-1", "B-2", "B-3"); return err }},
		{"journal", func() error { _, err := s.Journal(ctx, record.JournalFilter{}); return err }},
	} {
		b.Run(c.name, func(b *testing.B) {
			var longest time.Duration
			for b.Loop() {
				start := time.Now()
				if err := c.ask(); err != nil {
					b.Fatal(err)
				}
				longest = max(longest, time.Since(start))
			}
			b.ReportMetric(float64(longest.Microseconds())/1000, "longest-ms")
		})
	}
}

// largeHistory makes a history of so many coils.
func largeHistory(b *testing.B, coils int) *Store {
	b.Helper()
	s := newStore(b)
	m, readings := sample(b, "HN-0000000", 6690, firstInstant)
	for i := range historytest.Designs {
		d := wren()
		d.Name = fmt.Sprintf("D-%d", i)
		must(b)(s.AddDesign(b.Context(), d, ""))
	}
	m.Design, m.Batch = "D-0", ""
	must(b)(s.Record(b.Context(), m, readings))
	historytest.Multiply(b, s.Path(), coils, firstInstant)
	return s
}
