package chart

import (
	"image/color"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// luminance is the relative luminance of WCAG 2.2.
func luminance(c color.RGBA) float64 {
	linear := func(v uint8) float64 {
		s := float64(v) / 255
		if s <= 0.04045 {
			return s / 12.92
		}
		return math.Pow((s+0.055)/1.055, 2.4)
	}
	return 0.2126*linear(c.R) + 0.7152*linear(c.G) + 0.0722*linear(c.B)
}

// contrast is the contrast ratio of WCAG 2.2.
func contrast(a, b color.RGBA) float64 {
	la, lb := luminance(a), luminance(b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

func TestContrastItself(t *testing.T) {
	t.Parallel()
	// The greatest ratio there is, WCAG 2.2, "contrast ratio": 21:1.
	if got := contrast(rgb(0xffffff), rgb(0)); math.Abs(got-21) > 1e-9 {
		t.Errorf("white on black is %g, want 21", got)
	}
}

// Every ink is told from every ground it is drawn on: text by 4.5, marks and lines by 3
// (WCAG 2.2, 1.4.3 and 1.4.11).
func TestPaletteHasContrast(t *testing.T) {
	t.Parallel()
	grounds := []ink{inkPaper, inkBand, inkWindow, inkTheirsBand}
	least := map[ink]float64{
		inkText: 4.5, inkSoft: 4.5, inkAxis: 3, inkTarget: 3, inkLimit: 3, inkBar: 3, inkIn: 3, inkOut: 3,
		inkOpen: 3, inkVoid: 3, inkSignal: 3, inkSpool: 3, inkBatch: 3, inkTemperature: 3, inkTheirs: 3,
	}
	for i, want := range least {
		for _, ground := range grounds {
			a, b := pens[i], pens[ground]
			if got := contrast(a.light, b.light); got < want {
				t.Errorf("light: %s on %s has contrast %.2f, want %.1f", a.name, b.name, got, want)
			}
			if got := contrast(a.dark, b.dark); got < want {
				t.Errorf("dark: %s on %s has contrast %.2f, want %.1f", a.name, b.name, got, want)
			}
		}
	}
}

func TestStylesheetNamesEveryInk(t *testing.T) {
	t.Parallel()
	css := Stylesheet()
	for _, p := range pens {
		if p.name == "" || !strings.Contains(css, "svg.chart .f-"+p.name+" { fill: "+hex(p.dark)) {
			t.Errorf("ink %q is not in the stylesheet", p.name)
		}
	}
	if strings.Count(css, "{") != strings.Count(css, "}") {
		t.Error("braces do not match")
	}
}

func TestTicks(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Float64Range(-1e6, 1e6).Draw(t, "low")
		span := math.Pow(10, rapid.Float64Range(-3, 6).Draw(t, "log span"))
		want := rapid.IntRange(2, 12).Draw(t, "want")
		a := axis{low: low, high: low + span}
		ticks, decimals := a.ticks(want)
		if len(ticks) > want+1 || len(ticks) < want/5 {
			t.Errorf("%d ticks, want about %d", len(ticks), want)
		}
		said := map[string]bool{}
		for _, v := range ticks {
			if v < low-1e-6*span || v > a.high+1e-6*span {
				t.Errorf("tick %g is off the axis %g to %g", v, low, a.high)
			}
			text := words.Fixed(v, decimals)
			if said[text] {
				t.Errorf("two ticks say %s", text)
			}
			said[text] = true
		}
	})
}

// finder fails on a coordinate that is no number or off the picture.
type finder struct {
	t *rapid.T
	p *Picture
}

func (f finder) see(p point) {
	const slack = 20 // marks at an edge reach over it
	if !(p.x >= -slack && p.x <= f.p.Width+slack && p.y >= -slack && p.y <= f.p.Height+slack) {
		f.t.Fatalf("%v is off a picture of %g × %g", p, f.p.Width, f.p.Height)
	}
}
func (f finder) path(points []point, _ bool, _ look) {
	for _, p := range points {
		f.see(p)
	}
}
func (f finder) circle(p point, _ float64, _ look) { f.see(p) }
func (f finder) text(t text)                       { f.see(t.at) }
func (f finder) begin(n note)                      { f.see(n.at) }
func (f finder) end()                              {}

// Whatever a batch holds, everything drawn is on the picture.
func TestRunStaysOnThePicture(t *testing.T) {
	t.Parallel()
	ohms := rapid.OneOf(rapid.Float64Range(6000, 7500), rapid.Float64Range(1e-3, 1e9))
	rapid.Check(t, func(t *rapid.T) {
		r := Run{Title: "any"}
		for range rapid.IntRange(0, 40).Draw(t, "coils") {
			r.Measurements = append(r.Measurements, record.Measurement{
				Sequence: rapid.IntRange(1, 500).Draw(t, "sequence"), R20Ohms: ohms.Draw(t, "R20"),
				ExpandedUncertaintyOhms: rapid.Float64Range(0, 1e4).Draw(t, "U"),
				Status:                  rapid.SampledFrom([]record.Status{record.Recorded, record.Void, record.Superseded}).Draw(t, "status"),
			})
		}
		if rapid.Bool().Draw(t, "has design") {
			lower := ohms.Draw(t, "lower")
			r.Design = &record.Design{TargetOhms: lower * 1.01, LowerOhms: lower, UpperOhms: lower * 1.02}
		}
		p, err := r.Picture()
		if err != nil {
			t.Fatal(err)
		}
		p.draw(finder{t, p})
	})
}

func BenchmarkRunOf500AsSVG(b *testing.B) {
	r := Run{Title: "any"}
	for k := 1; k <= 500; k++ {
		r.Measurements = append(r.Measurements, record.Measurement{Sequence: k, R20Ohms: 6700 + 40*math.Sin(float64(k*k)),
			ExpandedUncertaintyOhms: 18, Serial: "HN"})
	}
	var size countingWriter
	for b.Loop() {
		p, err := r.Picture()
		if err != nil {
			b.Fatal(err)
		}
		size = 0
		if err := p.WriteSVG(&size); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(size), "bytes")
}

type countingWriter int

func (c *countingWriter) Write(p []byte) (int, error) {
	*c += countingWriter(len(p))
	return len(p), nil
}
