package chart_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"coilkeep/internal/chart"
	"coilkeep/internal/copper"
	"coilkeep/internal/r20"
)

// Our line is that of IEC 60028, R = R20·(1 + α·(t − 20 °C)), read off the picture.
func TestComparisonFollowsCopper(t *testing.T) {
	t.Parallel()
	c := comparison()
	p, err := c.Picture()
	svg := parse(t, must(t, p, err))
	ohms, celsius := vertical(t, svg, 0, 400, 1000), horizontal(t, svg)
	// The line of the curve is the one with most corners that is not closed.
	line := svg.all(func(e *element) bool {
		return e.attr["class"] == "s-in" && strings.Count(e.attr["d"], "L") > 5
	})
	if len(line) != 1 {
		t.Fatalf("%d lines, want 1", len(line))
	}
	for _, corner := range strings.Split(strings.TrimPrefix(line[0].attr["d"], "M"), "L") {
		var x, y float64
		if _, err := fmt.Sscan(corner, &x, &y); err != nil {
			t.Fatal(err)
		}
		want, err := copper.Standard.Convert(6690, 20, celsius.read(x))
		if err != nil {
			t.Fatal(err)
		}
		if got := ohms.read(y); math.Abs(got-want) > 0.3*ohms.perPixel() {
			t.Errorf("at %.2f °C the line is at %.2f Ω, want %.2f", celsius.read(x), got, want)
		}
	}
	x, y := svg.saying(t, "theirs").centre(t)
	if gotC, gotR := celsius.read(x), ohms.read(y); math.Abs(gotC-29.5) > 0.05 || math.Abs(gotR-6960) > 0.3*ohms.perPixel() {
		t.Errorf("their value stands at %.2f °C, %.1f Ω, want 29.5 °C, 6960 Ω", gotC, gotR)
	}
}

// The band is as wide as r20.At says, at every temperature.
func TestComparisonBandIsTheUncertainty(t *testing.T) {
	t.Parallel()
	c := comparison()
	p, err := c.Picture()
	svg := parse(t, must(t, p, err))
	ohms, celsius := vertical(t, svg, 0, 400, 1000), horizontal(t, svg)
	band := svg.all(func(e *element) bool { return e.attr["class"] == "f-window" && strings.Count(e.attr["d"], "L") > 5 })
	if len(band) != 1 {
		t.Fatalf("%d bands, want 1", len(band))
	}
	corners := strings.Split(strings.Trim(band[0].attr["d"], "MZ"), "L")
	for k, corner := range corners {
		var x, y float64
		if _, err := fmt.Sscan(corner, &x, &y); err != nil {
			t.Fatal(err)
		}
		want, err := r20.At(c.Ours, celsius.read(x))
		if err != nil {
			t.Fatal(err)
		}
		edge := want.ResistanceOhms - want.ExpandedUncertaintyOhms
		if k >= len(corners)/2 {
			edge = want.ResistanceOhms + want.ExpandedUncertaintyOhms
		}
		if got := ohms.read(y); math.Abs(got-edge) > 0.3*ohms.perPixel() {
			t.Errorf("at %.2f °C the band ends at %.2f Ω, want %.2f", celsius.read(x), got, edge)
		}
	}
}

func TestComparisonWithoutTheirTemperature(t *testing.T) {
	t.Parallel()
	c := comparison()
	c.Theirs[0].Celsius = nil
	p, err := c.Picture()
	svg := parse(t, must(t, p, err))
	if got := svg.saying(t, "theirs").below[0].text; !strings.Contains(got, "temperature not told") {
		t.Errorf("their value says %q", got)
	}
	if got := len(svg.all(classed("f-theirs-band"))); got != 1 {
		t.Errorf("%d bands of their value, want 1", got)
	}
}

// Two values of one buyer, cold and warm, are two marks; only the one without a
// temperature has a band across.
func TestComparisonWithSeveralValues(t *testing.T) {
	t.Parallel()
	c := comparison()
	c.Theirs = append(c.Theirs, chart.Theirs{Ohms: 6280, HalfWidthOhms: 70})
	p, err := c.Picture()
	svg := parse(t, must(t, p, err))
	if got := len(svg.all(classed("f-theirs-band"))); got != 1 {
		t.Errorf("%d bands of their values, want 1", got)
	}
	for _, want := range []string{"theirs: 6.960 ± 0.060 kΩ at 29.5 °C.", "theirs: 6.280 ± 0.070 kΩ, temperature not told."} {
		if !strings.Contains(p.Description, want) {
			t.Errorf("the picture says %q, want %q", p.Description, want)
		}
	}
}
