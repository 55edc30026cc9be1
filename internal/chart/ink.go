package chart

import (
	"fmt"
	"image/color"
	"strings"
)

// ink is what something is drawn with. Its name is the class in SVG.
type ink int

const (
	inkPaper ink = iota
	inkText
	inkSoft
	inkAxis
	inkGrid
	inkBand
	inkWindow
	inkTarget
	inkLimit
	inkBar
	inkIn
	inkOut
	inkOpen
	inkVoid
	inkSignal
	inkSpool
	inkBatch
	inkTemperature
	inkTheirs
	inkTheirsBand
	inkCount
)

// pen is an ink's colours on a light and on a dark ground, and its line.
type pen struct {
	name        string
	light, dark color.RGBA
	width       float64
	dash        []float64
}

// The palette keeps blue, vermilion and ochre apart for every kind of colour
// vision, and no meaning hangs on colour alone: each has its own shape or dash.
// Text has a contrast of 4.5 to its ground, marks of 3 (WCAG 2.2, 1.4.3 and
// 1.4.11); a test computes both.
var pens = [inkCount]pen{
	inkPaper:       {"paper", rgb(0xfffdf8), rgb(0x262220), 1, nil},
	inkText:        {"text", rgb(0x2a2420), rgb(0xf1e8db), 1, nil},
	inkSoft:        {"soft", rgb(0x6b5f54), rgb(0xb5a797), 1, nil},
	inkAxis:        {"axis", rgb(0x6b5f54), rgb(0xb5a797), 1, nil},
	inkGrid:        {"grid", rgb(0xdccfbb), rgb(0x463d36), 0.75, nil},
	inkBand:        {"band", rgb(0xf6e7d6), rgb(0x3a2c20), 1, nil},
	inkWindow:      {"window", rgb(0xdce8f0), rgb(0x21323f), 1, nil},
	inkTarget:      {"target", rgb(0x95481f), rgb(0xe39a68), 1.5, nil},
	inkLimit:       {"limit", rgb(0x6b5f54), rgb(0xb5a797), 1.25, []float64{7, 3, 2, 3}},
	inkBar:         {"bar", rgb(0x6f8494), rgb(0x8196a6), 1.25, nil},
	inkIn:          {"in", rgb(0x1f5f86), rgb(0x7fbde6), 2, nil},
	inkOut:         {"out", rgb(0xb23a12), rgb(0xff9d78), 2, nil},
	inkOpen:        {"open", rgb(0x7a5a00), rgb(0xe8c25a), 2, nil},
	inkVoid:        {"void", rgb(0x7b7067), rgb(0x9c9084), 1.75, nil},
	inkSignal:      {"signal", rgb(0x6a3d8f), rgb(0xc9a6ea), 1.75, nil},
	inkSpool:       {"spool", rgb(0x6b5f54), rgb(0xb5a797), 1, []float64{3, 3}},
	inkBatch:       {"batch", rgb(0x6b5f54), rgb(0xb5a797), 0.75, nil},
	inkTemperature: {"temperature", rgb(0x6a3d8f), rgb(0xc9a6ea), 1.5, nil},
	inkTheirs:      {"theirs", rgb(0xb23a12), rgb(0xff9d78), 1.75, nil},
	inkTheirsBand:  {"theirs-band", rgb(0xf8ddd2), rgb(0x47291d), 1, nil},
}

func rgb(hex uint32) color.RGBA {
	return color.RGBA{R: uint8(hex >> 16), G: uint8(hex >> 8), B: uint8(hex), A: 255}
}

func hex(c color.RGBA) string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }

// class is the class of what is drawn in SVG: f- filled, s- a line.
func (l look) class() string {
	if l.fill {
		return "f-" + pens[l.ink].name
	}
	return "s-" + pens[l.ink].name
}

// Stylesheet returns the CSS that a page needs around pictures: their colours on
// a dark ground and what has the keyboard's attention. The colours on a light
// ground are in the pictures themselves, which are good without it.
func Stylesheet() string {
	var b strings.Builder
	b.WriteString("svg.chart { max-width: 100%; height: auto; }\n")
	b.WriteString("svg.chart a:focus-visible { outline: 3px solid currentColor; outline-offset: 3px; }\n")
	b.WriteString("@media screen and (prefers-color-scheme: dark) {\n")
	for _, p := range pens {
		fmt.Fprintf(&b, "  svg.chart .f-%s { fill: %s; } svg.chart .s-%s { stroke: %s; }\n", p.name, hex(p.dark), p.name, hex(p.dark))
	}
	b.WriteString("}\n")
	return b.String()
}
