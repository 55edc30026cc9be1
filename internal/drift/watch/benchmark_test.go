package watch

import (
	"testing"
	"time"
)

// BenchmarkBatch asks for a batch of a thousand coils: as a scrape does when
// nothing has changed, and as the page does after a coil.
func BenchmarkBatch(b *testing.B) {
	w := newWindingShop(b)
	w.wind(1000, 6690)
	watcher := New(w.store, time.UTC)
	w.batch(watcher)
	b.Run("unchanged", func(b *testing.B) {
		for b.Loop() {
			w.batch(watcher)
		}
	})
	b.Run("anew", func(b *testing.B) {
		for b.Loop() {
			w.batch(New(w.store, time.UTC))
		}
	})
}
