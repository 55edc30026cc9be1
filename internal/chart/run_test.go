package chart_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/chart"
	"coilkeep/internal/record"
)

func TestRunShowsEveryMeasurementAtItsValue(t *testing.T) {
	t.Parallel()
	run := batch(t)
	p, err := run.Picture()
	svg := parse(t, must(t, p, err))
	if got, want := len(svg.points()), len(run.Measurements); got != want {
		t.Fatalf("%d points, want %d", got, want)
	}
	ohms, coil := vertical(t, svg, 0, 400, 1000), horizontal(t, svg)
	for _, m := range run.Measurements {
		if m.ID == "m022" {
			continue // off the scale
		}
		x, y := svg.saying(t, m.Serial).centre(t)
		if got := ohms.read(y); math.Abs(got-m.R20Ohms) > 0.1*ohms.perPixel() {
			t.Errorf("%s stands at %.2f Ω, want %.2f", m.Serial, got, m.R20Ohms)
		}
		if got := coil.read(x); math.Abs(got-float64(m.Sequence)) > 0.1*coil.perPixel() {
			t.Errorf("%s stands at coil %.3f, want %d", m.Serial, got, m.Sequence)
		}
	}
}

// A bar is as long as the expanded uncertainty on either side, also where that is
// most of the picture.
func TestRunShowsTheUncertainty(t *testing.T) {
	t.Parallel()
	run := chart.Run{Design: &design}
	for k, u := range []float64{5, 60, 150} {
		m := measurement(t, k+1, 6950)
		m.ExpandedUncertaintyOhms = u
		run.Measurements = append(run.Measurements, m)
	}
	p, err := run.Picture()
	svg := parse(t, must(t, p, err))
	ohms := vertical(t, svg, 0, 400, 1000)
	bars := svg.all(classed("s-bar"))[1:] // the first is in the legend
	if len(bars) != len(run.Measurements) {
		t.Fatalf("%d bars, want %d", len(bars), len(run.Measurements))
	}
	for k, bar := range bars {
		var x, low, high float64
		if _, err := fmt.Sscanf(bar.attr["d"], "M%g %gL%g %g", &x, &low, &x, &high); err != nil {
			t.Fatal(err)
		}
		u := run.Measurements[k].ExpandedUncertaintyOhms
		if got := ohms.read(high) - ohms.read(low); math.Abs(got-2*u) > 0.2*ohms.perPixel() {
			t.Errorf("a bar is %.2f Ω long, want %g", got, 2*u)
		}
	}
}

func TestRunTellsShapesApart(t *testing.T) {
	t.Parallel()
	p, err := batch(t).Picture()
	svg := parse(t, must(t, p, err))
	for _, c := range []struct{ serial, class, says string }{
		{"HN-0001", "f-in", "in tolerance"},
		{"HN-0009", "f-out", "too high"},
		{"HN-0018", "f-open", "undecided"},
		{"HN-0005", "s-void", `void · clip <slipped> & "fell"`},
		{"HN-0012", "s-void", "superseded"},
		{"HN-0022", "f-out", "left out: broken winding"},
		{"HN-0028", "f-in", "signal: nine in a row above the centre"},
	} {
		point := svg.saying(t, c.serial)
		if got := point.below[0].text; !strings.Contains(got, c.says) {
			t.Errorf("%s says %q, want %q in it", c.serial, got, c.says)
		}
		// After the title and the area that reacts comes the mark.
		if got := point.below[2].attr["class"]; got != c.class {
			t.Errorf("%s is drawn with %q, want %q", c.serial, got, c.class)
		}
	}
	corners := func(serial string) int { return strings.Count(svg.saying(t, serial).below[2].attr["d"], "L") + 1 }
	if tri, rhomb := corners("HN-0009"), corners("HN-0018"); tri != 3 || rhomb != 4 {
		t.Errorf("too high has %d corners and undecided %d, want 3 and 4", tri, rhomb)
	}
	if got := len(svg.all(classed("s-signal"))); got != 2 { // one and its legend
		t.Errorf("%d rings of signals, want 2", got)
	}
	for _, want := range []string{"R20 (kΩ)", "coil of the batch", "spool 7A", "spool 7B", "↑ 13.420 kΩ",
		"tolerance 6.499 kΩ to 6.901 kΩ", "target", "void", "left out"} {
		if !slices.Contains(svg.words(), want) {
			t.Errorf("no %q among %q", want, svg.words())
		}
	}
	if alt := svg.attr["aria-label"]; !strings.Contains(alt, "25 in tolerance, 1 replaced by a later one, 2 too high, 1 undecided, 1 void") {
		t.Errorf("text alternative %q lacks the counts", alt)
	}
}

// The time of a measurement is told only where it is known.
func TestRunTellsTheTime(t *testing.T) {
	t.Parallel()
	dated, undated := measurement(t, 1, 6690), measurement(t, 2, 6700)
	undated.Time = time.Time{}
	p, err := chart.Run{Measurements: []record.Measurement{dated, undated}}.Picture()
	svg := parse(t, must(t, p, err))
	for serial, want := range map[string]string{
		dated.Serial:   " · in tolerance · " + dated.Time.UTC().Format("2006-01-02 15:04:05 UTC"),
		undated.Serial: " · in tolerance",
	} {
		if says := svg.saying(t, serial).below[0].text; !strings.HasSuffix(says, want) {
			t.Errorf("%s says %q, want %q at its end", serial, says, want)
		}
	}
}

func TestRunKeepsItsScale(t *testing.T) {
	t.Parallel()
	// A broken coil must not flatten the others: without it the scale is the same.
	all := batch(t)
	p, err := all.Picture()
	with := vertical(t, parse(t, must(t, p, err)), 0, 400, 1000)
	less := batch(t)
	less.Outliers = nil
	less.Measurements = slices.DeleteFunc(less.Measurements, func(m record.Measurement) bool { return m.ID == "m022" })
	less.Size.Height = 340
	p, err = less.Picture()
	without := vertical(t, parse(t, must(t, p, err)), 0, 400, 1000)
	if with.a[1] != without.a[1] || with.b[1] != without.b[1] {
		t.Errorf("scale from %g to %g with the broken coil, %g to %g without", with.a[1], with.b[1], without.a[1], without.b[1])
	}
}

// A step of 1 % at a change of the spool fills a third of the height, however wide
// the tolerance, whatever one coil does, and however little is known of each.
func TestRunShowsAStep(t *testing.T) {
	t.Parallel()
	wide := design
	wide.LowerOhms, wide.UpperOhms = 0.9*design.TargetOhms, 1.1*design.TargetOhms
	for name, sigma := range map[string]float64{"calm": 0.001, "restless": 0.003} {
		run := chart.Run{Design: &wide, Level: []chart.Stretch{{1, 10, 6700, 6700}, {11, 24, 6767, 6767}},
			Limits: &chart.Limits{CentreOhms: 6740, LowerOhms: 6740 * (1 - 3*sigma), UpperOhms: 6740 * (1 + 3*sigma)}}
		for k := 1; k <= 24; k++ {
			ohms := 6700 * (1 + 1.4*sigma*math.Sin(float64(k*k)))
			if k > 10 {
				ohms *= 1.01
			}
			if k == 9 {
				ohms = 6030
				run.Outliers = []chart.Remark{{MeasurementID: "m009", Words: "far out"}}
			}
			m := measurement(t, k, ohms)
			m.ExpandedUncertaintyOhms = 0.01 * ohms
			run.Measurements = append(run.Measurements, m)
		}
		p, err := run.Picture()
		svg := parse(t, must(t, p, err))
		var heights []float64
		for _, level := range svg.all(classed("s-signal")) {
			var x, from, to float64
			if n, _ := fmt.Sscanf(level.attr["d"], "M%g %gL%g %g", &x, &from, &x, &to); n == 4 {
				heights = append(heights, from)
			}
		}
		axis := svg.all(classed("s-axis"))
		var x, bottom, top float64
		if _, err := fmt.Sscanf(axis[0].attr["d"], "M%g %gL%g %g", &x, &bottom, &x, &top); err != nil || len(heights) != 2 {
			t.Fatalf("%s: axis %q, levels at %v, %v", name, axis[0].attr["d"], heights, err)
		}
		if share := (heights[0] - heights[1]) / (bottom - top); share < 0.32 || share > 0.7 {
			t.Errorf("%s: the step fills %.2f of the height", name, share)
		}
		if !slices.Contains(svg.words(), "↓ 6.030 kΩ") {
			t.Errorf("%s: no coil of 6.030 kΩ at the edge: %q", name, svg.words())
		}
	}
}

func TestRunWithoutLimitsOrCoils(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		run  chart.Run
		want string
	}{
		{"nothing at all", chart.Run{}, "no coil measured yet"},
		{"a design only", chart.Run{Design: &design}, "no coil measured yet"},
		{"one coil", chart.Run{Measurements: []record.Measurement{measurement(t, 1, 6690)}}, "in tolerance"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			p, err := c.run.Picture()
			if words := parse(t, must(t, p, err)).words(); !slices.Contains(words, c.want) {
				t.Errorf("no %q among %q", c.want, words)
			}
		})
	}
}
