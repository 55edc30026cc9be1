package chart_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"coilkeep/driver"
	"coilkeep/internal/record"
)

func TestCaptureShowsTheReadings(t *testing.T) {
	t.Parallel()
	c := capture(t)
	p, err := c.Picture()
	svg := parse(t, must(t, p, err))
	if got, want := len(svg.all(classed("point"))), len(c.Readings); got != want {
		t.Fatalf("%d points, want %d", got, want)
	}
	// The numbers of the upper panel.
	ohms, seconds := vertical(t, svg, 0, 260, 1000), horizontal(t, svg)
	checked := 0
	for _, r := range c.Readings {
		if r.Role != record.Meter || r.Status != string(driver.OK) || math.Abs(r.Value/c.Measurement.ResistanceOhms-1) > 0.01 {
			continue
		}
		at := r.Time.Sub(dayOne).Seconds() - 2
		x, y := svg.saying(t, fmt.Sprintf("%.2f s · %.10g Ω", at, r.Value)).centre(t)
		if got := ohms.read(y); math.Abs(got-r.Value) > 0.1*ohms.perPixel() {
			t.Errorf("the reading at %.2f s stands at %.2f Ω, want %.2f", at, got, r.Value)
		}
		if got := seconds.read(x); math.Abs(got-at) > 0.1*seconds.perPixel() {
			t.Errorf("the reading of %g Ω stands at %.3f s, want %.2f", r.Value, got, at)
		}
		checked++
	}
	if checked < 20 {
		t.Errorf("%d readings checked, want 20 at least", checked)
	}
	for said, class := range map[string]string{
		"open leads":           "s-void",
		"left out of the mean": "s-out",
		"temperature":          "f-temperature",
		"off the scale":        "",
	} {
		found := false
		for words, point := range svg.points() {
			found = found || class != "" && strings.Contains(words, said) && point.below[2].attr["class"] == class
		}
		if class == "" {
			found = slices.Contains(svg.words(), said)
		}
		if !found {
			t.Errorf("nothing says %q with class %q", said, class)
		}
	}
	for _, want := range []string{"meter (kΩ)", "temperature (°C)", "seconds since the coil was clipped on"} {
		if !slices.Contains(svg.words(), want) {
			t.Errorf("no %q among %q", want, svg.words())
		}
	}
}
