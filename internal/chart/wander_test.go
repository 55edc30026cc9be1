package chart_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"coilkeep/internal/chart"
	"coilkeep/internal/drift"
	"coilkeep/internal/record"
)

// stepped is the analysis of 60 invented coils, 1.2 % higher from the 31st on,
// where the spool changes (seeded); the tenth is short of turns.
func stepped(t testing.TB) drift.Report {
	t.Helper()
	random := rand.New(rand.NewPCG(1, 2))
	var coils []drift.Coil
	for i := range 60 {
		c := drift.Coil{Sequence: i + 1, Serial: "HN-" + string(rune('A'+i)), R20Ohms: 6690 + 15*random.NormFloat64(),
			ExpandedUncertaintyOhms: 20, Spool: "S-17"}
		if i >= 30 {
			c.R20Ohms, c.Spool = c.R20Ohms+80, "S-18"
		}
		if i == 9 {
			c.R20Ohms = 6100
		}
		coils = append(coils, c)
	}
	report, err := drift.Analyse(coils, drift.Options{TargetOhms: 6690, LowerOhms: 6490, UpperOhms: 6890, BaselineCount: 25})
	if err != nil {
		t.Fatal(err)
	}
	return report
}

func TestWander(t *testing.T) {
	t.Parallel()
	report := stepped(t)
	known := measurement(t, 1, report.Points[0].R20Ohms)
	report.Points[0].MeasurementID = known.ID
	run := chart.Wander(report, map[string]record.Measurement{known.ID: known})
	if run.Measurements[0].ID != known.ID || run.Measurements[1].ID != "2" || run.Measurements[9].R20Ohms != 6100 {
		t.Errorf("measurements %+v, %+v", run.Measurements[0], run.Measurements[1])
	}
	if len(run.Level) != 2 || run.Level[0].ToSequence != 30 || run.Level[1].FromSequence != 31 || run.Level[1].ToSequence != 60 {
		t.Errorf("level %+v, want one stretch up to coil 30 and one from 31", run.Level)
	}
	if len(run.Spools) != 2 || run.Spools[1].FromSequence != 31 || len(run.Outliers) != 1 || len(run.Signals) == 0 ||
		run.Signals[0].MeasurementID != "31" {
		t.Errorf("spools %+v, outliers %+v, signals %+v", run.Spools, run.Outliers, run.Signals)
	}
	p, err := run.Picture()
	svg := parse(t, must(t, p, err))
	ohms, coil := vertical(t, svg, 0, 400, 1000), horizontal(t, svg)
	lines := 0
	for _, e := range svg.all(classed("s-signal")) {
		var x0, y0, x1, y1 float64
		if !line(e.attr["d"], &x0, &y0, &x1, &y1) || y0 != y1 || x1-x0 < 60 {
			continue
		}
		lines++
		want := report.Points[0].LevelOhms
		if coil.read(x0) > 30 {
			want = report.Points[59].LevelOhms
		}
		if got := ohms.read(y0); math.Abs(got-want) > 0.2*ohms.perPixel() {
			t.Errorf("level at %.1f Ω, want %.1f", got, want)
		}
	}
	if lines != 2 {
		t.Errorf("%d level lines, want 2", lines)
	}
	if words := svg.words(); !slices.Contains(words, "level") || !slices.Contains(words, "spool S-18") ||
		!slices.Contains(words, "target") {
		t.Errorf("words %q", words)
	}
}

// The name of a spool that was changed at the very end stands before its line.
func TestLateSpoolStaysInside(t *testing.T) {
	t.Parallel()
	report := stepped(t)
	report.Points[59].Spool = "a spool with a long name"
	p, err := chart.Wander(report, nil).Picture()
	names := parse(t, must(t, p, err)).all(func(e *element) bool { return e.name == "text" && strings.Contains(e.text, "a long name") })
	if len(names) != 1 || names[0].attr["text-anchor"] != "end" {
		t.Errorf("the name is drawn as %+v", names)
	}
}

// Coils wound to another target are drawn where they stand among the others, and
// tell what was measured.
func TestWanderOverTwoTargets(t *testing.T) {
	t.Parallel()
	var coils []drift.Coil
	for i := range 30 {
		c := drift.Coil{Sequence: i + 1, Serial: fmt.Sprint("HN-", i+1), R20Ohms: 6890 + float64(i%7), Target: "6.89 kΩ"}
		if i < 15 {
			c.R20Ohms, c.ComparedBy, c.Target = c.R20Ohms*6691/6890, 6890.0/6691, "6.691 kΩ"
		}
		coils = append(coils, c)
	}
	report, err := drift.Analyse(coils, drift.Options{TargetOhms: 6890, LowerOhms: 6690, UpperOhms: 7090})
	if err != nil {
		t.Fatal(err)
	}
	run := chart.Wander(report, nil)
	p, err := run.Picture()
	svg := parse(t, must(t, p, err))
	if !slices.Contains(svg.words(), "R20 as of the newest target (kΩ)") {
		t.Errorf("words %q", svg.words())
	}
	points := svg.all(classed("point"))
	if len(points) != 30 {
		t.Fatalf("%d coils are drawn", len(points))
	}
	for i, want := range map[int]string{0: "R20 6.691 kΩ, drawn as 6.89 kΩ because it was wound to another target", 29: "R20 6.891 kΩ"} {
		if title := points[i].below[0].text; !strings.Contains(title, want+" ·") {
			t.Errorf("coil %d says %q, want %q", i+1, title, want)
		}
	}
	if newest := run.Latest(15); len(newest.ComparedBy) != 0 || len(run.ComparedBy) != 15 {
		t.Errorf("%d of the newest coils and %d of all are compared", len(newest.ComparedBy), len(run.ComparedBy))
	}
}

func TestLatest(t *testing.T) {
	t.Parallel()
	run := chart.Wander(stepped(t), nil)
	last := run.Latest(40)
	if len(last.Measurements) != 40 || last.Measurements[0].Sequence != 21 || len(last.Outliers) != 0 || len(last.Spools) != 1 ||
		len(last.Level) != 2 || last.Level[0].FromSequence != 21 || last.Level[0].FromOhms != run.Level[0].FromOhms {
		t.Errorf("the last 40: from %d, outliers %v, spools %v, level %+v", last.Measurements[0].Sequence, last.Outliers, last.Spools, last.Level)
	}
	if _, err := last.Picture(); err != nil {
		t.Error(err)
	}
	if all := run.Latest(60); len(all.Measurements) != 60 || len(all.Outliers) != 1 {
		t.Errorf("all 60: %d", len(all.Measurements))
	}
}

func TestControl(t *testing.T) {
	t.Parallel()
	report := stepped(t)
	sequences := make([]int, len(report.Points))
	for i, p := range report.Points {
		sequences[i] = p.Sequence
	}
	ewma := report.Charts.EWMA
	c := chart.Control{Title: "EWMA", Name: "EWMA", Ohms: true, Sequences: sequences, Values: ewma.Values,
		Centre: ewma.Centre, Lower: ewma.LowerLimits, Upper: ewma.UpperLimits, Signals: ewma.Signals}
	p, err := c.Picture()
	svg := parse(t, must(t, p, err))
	if got, want := len(svg.points()), len(ewma.Signals); got != want || want == 0 {
		t.Errorf("%d signals drawn, want %d", got, want)
	}
	ohms, coil := vertical(t, svg, 0, 400, 1000), horizontal(t, svg)
	first := ewma.Signals[0]
	x, y := svg.saying(t, fmt.Sprintf("signal at coil %d", first)).centre(t)
	if math.Abs(coil.read(x)-float64(first)) > 0.1*coil.perPixel() || math.Abs(ohms.read(y)-*ewma.Values[first-1]) > 0.2*ohms.perPixel() {
		t.Errorf("the first signal stands at coil %.2f, %.1f Ω; want %d, %.1f", coil.read(x), ohms.read(y), first, *ewma.Values[first-1])
	}
	for name, tt := range map[string]struct {
		change func(*chart.Control)
		says   string
	}{
		"nothing":        {func(c *chart.Control) { c.Sequences = nil }, "no value"},
		"short list":     {func(c *chart.Control) { c.Values = c.Values[:3] }, "3 values for 60 coils"},
		"short limits":   {func(c *chart.Control) { c.Lower = []float64{1, 2} }, "2 limits for 60"},
		"no number":      {func(c *chart.Control) { c.Centre = math.NaN() }, "cannot be drawn"},
		"infinite value": {func(c *chart.Control) { v := math.Inf(1); c.Below = slices.Repeat([]*float64{&v}, 60) }, "not a number"},
		"stray signal":   {func(c *chart.Control) { c.Signals = []int{61} }, "signal at value 61"},
		"order":          {func(c *chart.Control) { c.Sequences = append([]int{99}, c.Sequences[1:]...) }, "not in order"},
		"small":          {func(c *chart.Control) { c.Size.Width = 20 }, "size 20"},
	} {
		bad := c
		tt.change(&bad)
		if _, err := bad.Picture(); err == nil || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%s: got %v, want %q", name, err, tt.says)
		}
	}
	run := chart.Wander(report, nil)
	run.Level[0].FromOhms = math.NaN()
	if _, err := run.Picture(); err == nil {
		t.Error("a level of NaN is drawn")
	}
}

// line reads a path that is one straight line.
func line(path string, x0, y0, x1, y1 *float64) bool {
	n, err := fmt.Sscanf(path, "M%g %gL%g %g", x0, y0, x1, y1)
	return n == 4 && err == nil && strings.Count(path, "L") == 1
}
