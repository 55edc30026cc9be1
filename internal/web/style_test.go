package web

import (
	"bytes"
	"net/http"
	"testing"
)

// TestAssetsAreKept has a browser that asks again be told that nothing changed.
func TestAssetsAreKept(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	for _, path := range []string{"/assets/style.css", "/assets/chart.css", "/assets/live.js"} {
		first := w.ask(t, "GET", path, nil)
		tag := first.header.Get("ETag")
		if first.status != http.StatusOK || tag == "" || len(first.body) == 0 || first.header.Get("Cache-Control") != "no-cache" {
			t.Errorf("%s: got status %d, ETag %q, %d bytes, Cache-Control %q", path, first.status, tag, len(first.body),
				first.header.Get("Cache-Control"))
		}
		again := w.ask(t, "GET", path, nil, func(r *http.Request) { r.Header.Set("If-None-Match", tag) })
		if again.status != http.StatusNotModified || len(again.body) != 0 {
			t.Errorf("%s again: got status %d and %d bytes, want %d and none", path, again.status, len(again.body), http.StatusNotModified)
		}
		other := w.ask(t, "GET", path, nil, func(r *http.Request) { r.Header.Set("If-None-Match", `"another release"`) })
		if other.status != http.StatusOK || !bytes.Equal(other.body, first.body) {
			t.Errorf("%s of another release: got status %d and %d bytes", path, other.status, len(other.body))
		}
	}
}
