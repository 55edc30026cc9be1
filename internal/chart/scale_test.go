package chart_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"coilkeep/internal/chart"
)

func TestScale(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		r20    float64
		says   string
		beyond string
	}{
		{"in", 6690, "in tolerance", ""},
		{"at the limit", 6895, "undecided", ""},
		{"too high", 7000, "too high", ""},
		{"far too high", 9000, "too high, beyond the scale", "→"},
		{"far too low", 3000, "too low, beyond the scale", "←"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			m := measurement(t, 1, c.r20)
			s := chart.Scale{Tolerance: m.Tolerance, TargetOhms: 6700, R20Ohms: m.R20Ohms, ExpandedUncertaintyOhms: m.ExpandedUncertaintyOhms,
				Verdict: m.Verdict}
			p, err := s.Picture()
			svg := parse(t, must(t, p, err))
			point := svg.saying(t, "R20")
			if got := point.below[0].text; !strings.HasSuffix(got, c.says) {
				t.Errorf("says %q, want %q at its end", got, c.says)
			}
			if c.beyond != "" && !slices.Contains(svg.words(), c.beyond) {
				t.Errorf("no %q among %q", c.beyond, svg.words())
			}
			x, _ := point.centre(t)
			// The limits stand at a quarter and three quarters of 404 pixels.
			if got := 6499 + (x-(8+101))/202*402; c.beyond == "" && math.Abs(got-c.r20) > 0.1 {
				t.Errorf("stands at %.2f Ω, want %.2f", got, c.r20)
			}
		})
	}
}

// The tolerance takes the middle half of the scale; all else has its place by it.
func TestScaleDrawsLimitsTargetAndGuard(t *testing.T) {
	t.Parallel()
	s := scale(t)
	p, err := s.Picture()
	svg := parse(t, must(t, p, err))
	read := func(x float64) float64 { return 6298 + (x-8)/404*804 }
	span := func(e *element) (left, right float64) {
		var y float64
		if _, err := fmt.Sscanf(e.attr["d"], "M%g %gL%g", &left, &y, &right); err != nil {
			t.Fatal(err)
		}
		return read(left), read(right)
	}
	expect := func(what string, got, want float64) {
		if math.Abs(got-want) > 0.1 {
			t.Errorf("%s at %.2f Ω, want %.2f", what, got, want)
		}
	}
	lines := svg.all(classed("s-target"))
	if len(lines) != 3 {
		t.Fatalf("%d lines, want two limits and a target", len(lines))
	}
	for k, want := range []float64{6499, 6901, 6700} {
		got, _ := span(lines[k])
		expect("line", got, want)
	}
	left, right := span(svg.all(classed("f-band"))[0])
	expect("tolerance from", left, 6499)
	expect("tolerance to", right, 6901)
	guard := 0.5 * s.ExpandedUncertaintyOhms
	for k, limit := range []float64{6499, 6901} {
		left, right := span(svg.all(classed("f-grid"))[k])
		expect("guard from", left, limit-guard)
		expect("guard to", right, limit+guard)
	}
	left, right = span(svg.all(classed("s-bar"))[2])
	expect("uncertainty from", left, s.R20Ohms-s.ExpandedUncertaintyOhms)
	expect("uncertainty to", right, s.R20Ohms+s.ExpandedUncertaintyOhms)
}
