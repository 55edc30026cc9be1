package chart_test

import (
	"bytes"
	"fmt"
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/chart"
	"coilkeep/internal/copper"
	"coilkeep/internal/history"
)

// ruler reads values off a picture the way a person does, by its numbers.
type ruler struct{ a, b [2]float64 } // pixel and value

// vertical returns the ruler of the numbers that end left of an axis, between
// two heights; they are in units of size.
func vertical(t testing.TB, svg *element, top, bottom, size float64) ruler {
	t.Helper()
	var marks [][2]float64
	for _, e := range svg.all(named("text")) {
		v, err := strconv.ParseFloat(e.text, 64)
		y, errY := strconv.ParseFloat(e.attr["y"], 64)
		if err != nil || errY != nil || e.attr["text-anchor"] != "end" || y < top || y > bottom {
			continue
		}
		marks = append(marks, [2]float64{y - 12.5*0.35, v * size}) // from baseline to middle
	}
	if len(marks) < 2 {
		t.Fatalf("the vertical axis has %d numbers, want 2 at least", len(marks))
	}
	return ruler{marks[0], marks[len(marks)-1]}
}

// horizontal is the ruler of the numbers below the picture.
func horizontal(t testing.TB, svg *element) ruler {
	t.Helper()
	var marks [][2]float64
	for _, e := range svg.all(named("text")) {
		v, err := strconv.ParseFloat(e.text, 64)
		x, errX := strconv.ParseFloat(e.attr["x"], 64)
		if err == nil && errX == nil && e.attr["text-anchor"] == "middle" {
			marks = append(marks, [2]float64{x, v})
		}
	}
	if len(marks) < 2 {
		t.Fatalf("the horizontal axis has %d numbers, want 2 at least", len(marks))
	}
	return ruler{marks[0], marks[len(marks)-1]}
}

func (r ruler) read(pixel float64) float64 {
	return r.a[1] + (pixel-r.a[0])/(r.b[0]-r.a[0])*(r.b[1]-r.a[1])
}

// perPixel is how much one pixel is worth.
func (r ruler) perPixel() float64 { return math.Abs((r.b[1] - r.a[1]) / (r.b[0] - r.a[0])) }

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
	for _, want := range []string{"R20 (kΩ)", "coil of the batch", "spool 7A", "spool 7B", "↑ 13.420 kΩ", "tolerance", "control limits", "void", "left out"} {
		if !slices.Contains(svg.words(), want) {
			t.Errorf("no %q among %q", want, svg.words())
		}
	}
	if alt := svg.attr["aria-label"]; !strings.Contains(alt, "25 in tolerance, 1 replaced by a later one, 2 too high, 1 undecided, 1 void") {
		t.Errorf("text alternative %q lacks the counts", alt)
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
	less.Measurements = slices.DeleteFunc(less.Measurements, func(m history.Measurement) bool { return m.ID == "m022" })
	less.Size.Height = 340
	p, err = less.Picture()
	without := vertical(t, parse(t, must(t, p, err)), 0, 400, 1000)
	if with.a[1] != without.a[1] || with.b[1] != without.b[1] {
		t.Errorf("scale from %g to %g with the broken coil, %g to %g without", with.a[1], with.b[1], without.a[1], without.b[1])
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
		{"one coil", chart.Run{Measurements: []history.Measurement{measurement(t, 1, 6690)}}, "in tolerance"},
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
		if r.Role != history.Meter || r.Status != string(driver.OK) || math.Abs(r.Value/c.Measurement.ResistanceOhms-1) > 0.01 {
			continue
		}
		at := r.Time.Sub(dayOne).Seconds() - 2
		x, y := svg.saying(t, fmt.Sprintf("%.2f s · %g Ω", at, r.Value)).centre(t)
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

func TestComparisonWithoutTheirTemperature(t *testing.T) {
	t.Parallel()
	c := comparison()
	c.Theirs.Celsius = nil
	p, err := c.Picture()
	svg := parse(t, must(t, p, err))
	if got := svg.saying(t, "theirs").below[0].text; !strings.Contains(got, "temperature not told") {
		t.Errorf("their value says %q", got)
	}
	if got := len(svg.all(classed("f-theirs-band"))); got != 1 {
		t.Errorf("%d bands of their value, want 1", got)
	}
}

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
			s := chart.Scale{Tolerance: m.Tolerance, TargetOhms: 6700, R20Ohms: m.R20Ohms, ExpandedUncertaintyOhms: m.ExpandedUncertaintyOhms, Verdict: m.Verdict}
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

// Points are links with a name for every way of reading, and only SVG that a
// strict Content-Security-Policy takes.
func TestSVGIsFitForAPage(t *testing.T) {
	t.Parallel()
	run := batch(t)
	run.Link = func(m history.Measurement) string { return "/coils/" + url.PathEscape(m.Serial) + "?a=1&b=2" }
	run.Time = func(at time.Time) string { return at.Format("2 Jan 15:04") }
	linked, err := run.Picture()
	must(t, linked, err)
	plain, err := batch(t).Picture()
	must(t, plain, err)

	svg := parse(t, linked)
	links := svg.all(named("a"))
	if len(links) != len(run.Measurements) {
		t.Fatalf("%d links, want %d", len(links), len(run.Measurements))
	}
	for _, a := range links {
		title := a.below[0]
		if !strings.HasPrefix(a.attr["href"], "/coils/HN-") || title.name != "title" || title.text == "" || a.attr["aria-label"] != title.text {
			t.Errorf("link %v with %s %q: want an address, a title and the same label", a.attr, title.name, title.text)
		}
		if !strings.Contains(title.text, " Mar ") {
			t.Errorf("title %q is not in the time format handed in", title.text)
		}
	}
	if got := svg.attr["role"]; got != "group" {
		t.Errorf("role %q with links, want group", got)
	}
	if got := parse(t, plain).attr["role"]; got != "img" {
		t.Errorf("role %q without links, want img", got)
	}
	capture, err := capture(t).Picture()
	must(t, capture, err)
	for _, p := range []*chart.Picture{linked, plain, capture} {
		for _, e := range parse(t, p).all(func(*element) bool { return true }) {
			if e.name == "style" || e.name == "script" || e.name == "foreignObject" {
				t.Errorf("element %s", e.name)
			}
			for name := range e.attr {
				if name == "style" || strings.HasPrefix(name, "on") {
					t.Errorf("attribute %s of %s", name, e.name)
				}
			}
		}
	}
}

func TestRefusals(t *testing.T) {
	t.Parallel()
	run := func(change func(*chart.Run)) func(testing.TB) (*chart.Picture, error) {
		return func(t testing.TB) (*chart.Picture, error) { r := batch(t); change(&r); return r.Picture() }
	}
	theirs := func(change func(*chart.Comparison)) func(testing.TB) (*chart.Picture, error) {
		return func(testing.TB) (*chart.Picture, error) { c := comparison(); change(&c); return c.Picture() }
	}
	captured := func(change func(*chart.Capture)) func(testing.TB) (*chart.Picture, error) {
		return func(t testing.TB) (*chart.Picture, error) { c := capture(t); change(&c); return c.Picture() }
	}
	scaled := func(change func(*chart.Scale)) func(testing.TB) (*chart.Picture, error) {
		return func(t testing.TB) (*chart.Picture, error) { s := scale(t); change(&s); return s.Picture() }
	}
	cold := -80.0
	for _, c := range []struct {
		name string
		draw func(testing.TB) (*chart.Picture, error)
		want string
	}{
		{"R20 not a number", run(func(r *chart.Run) { r.Measurements[3].R20Ohms = math.NaN() }), "R20 of NaN Ω cannot be"},
		{"R20 of nothing", run(func(r *chart.Run) { r.Measurements[3].R20Ohms = 0 }), "R20 of 0 Ω cannot be"},
		{"uncertainty below nothing", run(func(r *chart.Run) { r.Measurements[3].ExpandedUncertaintyOhms = -1 }), "uncertainty of -1 Ω"},
		{"no number in the batch", run(func(r *chart.Run) { r.Measurements[3].Sequence = 0 }), "m004 of HN-0004 has no number"},
		{"remark on a stranger", run(func(r *chart.Run) { r.Signals[0].MeasurementID = "x" }), `measurement "x"`},
		{"limits upside down", run(func(r *chart.Run) { r.Limits.LowerOhms = 7000 }), "not in order"},
		{"bad design", run(func(r *chart.Run) { d := design; d.UpperOhms = 1; r.Design = &d }), "design Harbour"},
		{"script as link", run(func(r *chart.Run) { r.Link = func(history.Measurement) string { return "javascript:alert(1)" } }), "neither relative nor http"},
		{"too small", run(func(r *chart.Run) { r.Size.Width = 10 }), "must be 280"},
		{"size not a number", run(func(r *chart.Run) { r.Size.Width = math.NaN() }), "must be 280"},
		{"no window", captured(func(c *chart.Capture) {
			for i := range c.Readings {
				c.Readings[i].InWindow = false
			}
		}), "no reading of its steady window"},
		{"no readings", captured(func(c *chart.Capture) { c.Readings = nil }), "no reading of its steady window"},
		{"reading not a number", captured(func(c *chart.Capture) { c.Readings[30].Value = math.Inf(1) }), "no finite value"},
		{"inputs that cannot be", theirs(func(c *chart.Comparison) { c.Ours.ResistanceOhms = -1 }), "resistance"},
		{"their value not a number", theirs(func(c *chart.Comparison) { c.Theirs.Ohms = math.NaN() }), "their value of NaN"},
		{"their value uncertain beyond itself", theirs(func(c *chart.Comparison) { c.Theirs.HalfWidthOhms = 7000 }), "may be off"},
		{"their temperature impossible", theirs(func(c *chart.Comparison) { c.Theirs.Celsius = &cold }), "-80 °C"},
		{"range upside down", theirs(func(c *chart.Comparison) { c.FromCelsius, c.ToCelsius = 30, 10 }), "must rise"},
		{"scale without tolerance", scaled(func(s *chart.Scale) { s.Tolerance.UpperOhms = 0 }), "tolerance"},
		{"scale of a negative", scaled(func(s *chart.Scale) { s.R20Ohms = -5 }), "R20 of -5"},
		{"target outside", scaled(func(s *chart.Scale) { s.TargetOhms = 1 }), "target of 1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			p, err := c.draw(t)
			if err == nil || p != nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, %v; want no picture and %q", p, err, c.want)
			}
		})
	}
}

// Drawn twice, a picture is the same to the last byte.
func TestPicturesAreRepeatable(t *testing.T) {
	t.Parallel()
	var out [2][3]bytes.Buffer
	for k := range out {
		p, err := batch(t).Picture()
		must(t, p, err)
		for i, write := range []func() error{
			func() error { return p.WriteSVG(&out[k][0]) },
			func() error { return p.WritePNG(&out[k][1], 1) },
			func() error { return p.WritePDF(&out[k][2], dayOne) },
		} {
			if err := write(); err != nil {
				t.Fatalf("format %d: %v", i, err)
			}
		}
	}
	for i, name := range []string{"SVG", "PNG", "PDF"} {
		if !bytes.Equal(out[0][i].Bytes(), out[1][i].Bytes()) {
			t.Errorf("%s differs from one drawing to the next", name)
		}
	}
}
