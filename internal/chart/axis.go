package chart

import (
	"math"

	"coilkeep/internal/typeface"
	"coilkeep/internal/words"
)

// axis maps values from low to high to pixels from from to to.
type axis struct {
	low, high float64
	from, to  float64
}

func (a axis) at(v float64) float64 {
	return a.from + (v-a.low)/(a.high-a.low)*(a.to-a.from)
}

// inside returns v moved onto the axis, and whether it had to be moved.
func (a axis) inside(v float64) (onAxis float64, moved bool) {
	onAxis = min(max(v, a.low), a.high)
	return onAxis, onAxis != v
}

// ticks returns round values on the axis, about want of them, and how many
// decimals they need.
func (a axis) ticks(want int) (values []float64, decimals int) {
	step := roundStep((a.high - a.low) / float64(want))
	// Whole multiples, so that no rounding error adds up along the axis.
	const slack = 1e-9
	for k := math.Ceil(a.low/step - slack); k*step <= a.high+slack*step; k++ {
		values = append(values, k*step)
	}
	return values, max(0, -int(math.Floor(math.Log10(step)+slack)))
}

// roundStep returns the smallest of 1, 2 or 5 times a power of ten that is at
// least v.
func roundStep(v float64) float64 {
	decade := math.Pow10(int(math.Floor(math.Log10(v))))
	for _, m := range []float64{1, 2, 5} {
		if m*decade >= v*(1-1e-9) {
			return m * decade
		}
	}
	return 10 * decade
}

// scaleFor returns the unit an axis up to ohms is labelled in and its size.
func scaleFor(ohms float64) (unit string, size float64) {
	switch {
	case ohms >= 1e6:
		return "MΩ", 1e6
	case ohms >= 1e3:
		return "kΩ", 1e3
	}
	return "Ω", 1
}

// panel is an area with two axes.
type panel struct{ x, y axis }

// place says where on the picture the panel is.
func (g *panel) place(left, top, right, bottom float64) {
	g.x.from, g.x.to = left, right
	g.y.from, g.y.to = bottom, top
}

func (g panel) at(x, y float64) point { return point{g.x.at(x), g.y.at(y)} }

// band fills what lies between two heights, as far as it is on the panel.
func (g panel) band(p *Picture, i ink, low, high float64) {
	low, _ = g.y.inside(low)
	high, _ = g.y.inside(high)
	p.rect(fill(i), g.x.from, g.y.at(high), g.x.to, g.y.at(low))
}

// level draws a line across the panel; one that is off it is left out.
func (g panel) level(p *Picture, i ink, y float64) {
	if _, moved := g.y.inside(y); !moved {
		p.line(stroke(i), point{g.x.from, g.y.at(y)}, point{g.x.to, g.y.at(y)})
	}
}

// upright draws a line up the panel.
func (g panel) upright(p *Picture, i ink, x float64) {
	p.line(stroke(i), point{g.x.at(x), g.y.from}, point{g.x.at(x), g.y.to})
}

// yLabels draws grid, numbers and name of the vertical axis; a number stands for
// its value divided by unitSize.
func (g panel) yLabels(p *Picture, name string, unitSize float64) {
	scaled := axis{low: g.y.low / unitSize, high: g.y.high / unitSize}
	values, decimals := scaled.ticks(max(3, int((g.y.from-g.y.to)/42)))
	for _, v := range values {
		y := g.y.at(v * unitSize)
		p.line(stroke(inkGrid), point{g.x.from, y}, point{g.x.to, y})
		p.words(inkSoft, end, point{g.x.from - 6, y + textSize*0.35}, words.Fixed(v, decimals))
	}
	p.line(stroke(inkAxis), point{g.x.from, g.y.from}, point{g.x.from, g.y.to})
	p.words(inkSoft, start, point{margin, g.y.to - 8}, name)
}

// xLabels draws ticks, numbers and name of the horizontal axis.
func (g panel) xLabels(p *Picture, name string, wholeNumbers bool) {
	values, decimals := g.x.ticks(max(2, int((g.x.to-g.x.from)/50)))
	for _, v := range values {
		if wholeNumbers && v != math.Round(v) {
			continue
		}
		x := g.x.at(v)
		p.line(stroke(inkAxis), point{x, g.y.from}, point{x, g.y.from + 4})
		p.words(inkSoft, middle, point{x, g.y.from + 7 + textSize}, words.Fixed(v, decimals))
	}
	p.line(stroke(inkAxis), point{g.x.from, g.y.from}, point{g.x.to, g.y.from})
	p.words(inkSoft, middle, point{(g.x.from + g.x.to) / 2, g.y.from + 2*textSize + 14}, name)
}

// Room around a panel for its numbers and names.
const (
	leftRoom   = 62
	rightRoom  = 14
	bottomRoom = 48
	nameRoom   = 24 // above, for the name of the vertical axis
)

// legend collects what stands for what and draws it in rows.
type legend []legendEntry

type legendEntry struct {
	words string
	draw  func(p *Picture, at point) // the sample, centred
}

func (l *legend) addMark(f face) {
	for _, e := range *l {
		if e.words == f.words {
			return
		}
	}
	*l = append(*l, legendEntry{f.words, func(p *Picture, at point) {
		p.add(func(c canvas) { f.shape.draw(c, at, 4.5, f.ink) })
	}})
}

func (l *legend) addLine(i ink, words string) {
	*l = append(*l, legendEntry{words, func(p *Picture, at point) {
		p.line(stroke(i), point{at.x - 9, at.y}, point{at.x + 9, at.y})
	}})
}

func (l *legend) addArea(i, edge ink, words string) {
	*l = append(*l, legendEntry{words, func(p *Picture, at point) {
		p.rect(fill(i), at.x-9, at.y-5, at.x+9, at.y+5)
		p.rect(stroke(edge), at.x-9, at.y-5, at.x+9, at.y+5)
	}})
}

// draw lays the legend out from a height downward and returns where it ends.
func (l legend) draw(p *Picture, top float64) (bottom float64) {
	const (
		sample, gap, row = 24, 14, 19
		// A page may set the words in a wider font than ours.
		wider = 1.15
	)
	x, y := float64(margin), top
	for _, e := range l {
		width := sample + wider*typeface.Width(e.words, false, textSize)
		if x > margin && x+width > p.Width-margin {
			x, y = margin, y+row
		}
		e.draw(p, point{x + sample/2 - 2, y + row/2})
		p.words(inkText, start, point{x + sample, y + row/2 + textSize*0.35}, e.words)
		x += width + gap
	}
	return y + row
}

// belowTitle is where the legend of a picture begins.
func (p *Picture) belowTitle() float64 {
	if p.Title == "" {
		return margin
	}
	return margin + titleSize + 10
}
