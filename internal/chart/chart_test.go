package chart_test

import (
	"bytes"
	"math"
	"net/url"
	"strconv"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/chart"
	"coilkeep/internal/record"
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

// Points are links with a name for every way of reading, and only SVG that a
// strict Content-Security-Policy takes.
func TestSVGIsFitForAPage(t *testing.T) {
	t.Parallel()
	run := batch(t)
	run.Link = func(m record.Measurement) string { return "/coils/" + url.PathEscape(m.Serial) + "?a=1&b=2" }
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
		{"script as link", run(func(r *chart.Run) { r.Link = func(record.Measurement) string { return "javascript:alert(1)" } }),
			"neither relative nor http"},
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
		{"their value not a number", theirs(func(c *chart.Comparison) { c.Theirs[0].Ohms = math.NaN() }), "their value of NaN"},
		{"their value uncertain beyond itself", theirs(func(c *chart.Comparison) { c.Theirs[0].HalfWidthOhms = 7000 }), "may be off"},
		{"their temperature impossible", theirs(func(c *chart.Comparison) { c.Theirs[0].Celsius = &cold }), "-80 °C"},
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
	var out [2][2]bytes.Buffer
	for k := range out {
		p, err := batch(t).Picture()
		must(t, p, err)
		for i, write := range []func() error{
			func() error { return p.WriteSVG(&out[k][0]) },
			func() error { return p.WritePDF(&out[k][1], dayOne) },
		} {
			if err := write(); err != nil {
				t.Fatalf("format %d: %v", i, err)
			}
		}
	}
	for i, name := range []string{"SVG", "PDF"} {
		if !bytes.Equal(out[0][i].Bytes(), out[1][i].Bytes()) {
			t.Errorf("%s differs from one drawing to the next", name)
		}
	}
}
