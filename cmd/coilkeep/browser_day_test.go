package main

import (
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/heapprofiler"
	"github.com/chromedp/cdproto/performance"
	"github.com/chromedp/chromedp"

	"coilkeep/driver/simulate"
	"coilkeep/internal/bench"
	"coilkeep/internal/record"
)

// burst is how many readings are told at once: fewer than a listener may be
// behind.
const burst = 180

// aged is what grows when a page forgets to forget.
type aged struct{ heapBytes, nodes, listeners float64 }

// age collects the garbage of the page and counts what is left.
func (b *tab) age() aged {
	b.t.Helper()
	for range 2 { // what the first lets go of, the second finds
		if _, err := chromedp.Call(b.ctx, heapprofiler.CollectGarbage, cdp.Empty{}); err != nil {
			b.t.Fatal(err)
		}
	}
	result, err := chromedp.Call(b.ctx, performance.GetMetrics, cdp.Empty{})
	if err != nil {
		b.t.Fatal(err)
	}
	found := map[string]float64{}
	for _, m := range result.Metrics {
		found[m.Name] = m.Value
	}
	return aged{found["JSHeapUsedSize"], found["Nodes"], found["JSEventListeners"]}
}

// since says what a page holds more than it did before 100 bursts, or nothing.
// A reading that is held takes at least 16 bytes.
func (a aged) since(before aged) string {
	if grown := a.heapBytes - before.heapBytes; grown > 16*100*burst {
		return fmt.Sprintf("the page holds %.0f bytes more", grown)
	}
	if grown := a.nodes - before.nodes; grown > 50 {
		return fmt.Sprintf("the page holds %.0f nodes more", grown)
	}
	if grown := a.listeners - before.listeners; grown > 5 {
		return fmt.Sprintf("the page listens %.0f times more", grown)
	}
	return ""
}

// hurry tells an open page of so many bursts of readings, each with a change of
// state and a measurement, and waits until the page has heard them all.
func (d *testDaemon) hurry(page *tab, bursts int) {
	d.t.Helper()
	last := d.measurements()[0]
	for n := range bursts {
		evaluate[bool](page, `(window.heardReadings = 0, true)`)
		for i := range burst {
			ohms := 6650 + float64(i%7)
			d.running.hub.Publish(bench.Event{Type: bench.ReadingEvent, Bench: "north", Data: bench.ReadingData{
				Bench: "north", Role: record.Meter, Time: time.Now().UTC(), Value: &ohms, Unit: "ohm", Status: "ok", Raw: fmt.Sprint(ohms)}})
		}
		s := d.bench.Snapshot()
		s.State, s.Words = "settling", fmt.Sprintf("settling, %d of 8", n%8)
		d.running.hub.Publish(bench.Event{Type: bench.StateEvent, Bench: "north", Data: s})
		d.running.hub.Publish(bench.Event{Type: bench.MeasurementEvent, Bench: "north", Data: last})
		page.wait("the readings to be heard", fmt.Sprintf(`window.heardReadings >= %d`, burst))
	}
}

// TestBrowserPageDoesNotGrow has a page hear in seconds what it hears in half an
// hour of ten readings a second, and compares what it holds before and after.
// What it may hold, the last minute of readings, it holds before.
func TestBrowserPageDoesNotGrow(t *testing.T) {
	b := rig()
	_, meter := scpiMeter(t, b)
	_, probe := lineProbe(t, b)
	d := startDaemon(t, t.TempDir(), benchTOML(meter, probe))
	d.batch()
	page := openTab(t, d.url, "/")
	if _, err := chromedp.Call(page.ctx, performance.Enable, performance.EnableParams{}); err != nil {
		t.Fatal(err)
	}
	page.openClips()
	b.Attach(simulate.CopperCoil(6650, 21.5))
	page.judged(d, "HN-0001", "in", "in tolerance")
	evaluate[bool](page, `(document.querySelector("[data-bench]").addEventListener("reading", () => window.heardReadings++), true)`)

	d.hurry(page, 25)
	before := page.age()
	if before.heapBytes == 0 || before.nodes == 0 || before.listeners == 0 {
		t.Fatalf("the browser does not say how large the page is: %+v", before)
	}
	d.hurry(page, 100)
	// The page may still be fetching its clips, and what it has let go of may
	// still be on a stack: it keeps what stays however often one collects.
	after := page.age()
	again := time.NewTicker(100 * time.Millisecond)
	defer again.Stop()
	for end := time.Now().Add(browserWait); after.since(before) != "" && time.Now().Before(end); after = page.age() {
		<-again.C
	}
	if more := after.since(before); more != "" {
		t.Error(more)
	}
	t.Logf("%d readings: heap %.0f to %.0f kB, nodes %.0f to %.0f, listeners %.0f to %.0f", 100*burst,
		before.heapBytes/1000, after.heapBytes/1000, before.nodes, after.nodes, before.listeners, after.listeners)
}
