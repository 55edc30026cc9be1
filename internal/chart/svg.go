package chart

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// WriteSVG writes the picture as one svg element that may stand in a page or be
// a file of its own. It has presentation attributes and classes but no style and
// no script, so that a strict Content-Security-Policy takes it; see Stylesheet
// for its dark colours. Points that have a link are a elements with a title and
// can be reached with the keyboard; the whole has a text alternative.
func (p *Picture) WriteSVG(w io.Writer) error {
	c := &svg{}
	// A picture without links is one image; links inside one would be hidden
	// from those who listen to the page (WAI-ARIA 1.2, img: children
	// presentational).
	role := "img"
	if p.hasLinks() {
		role = "group"
	}
	fmt.Fprintf(&c.out,
		`<svg xmlns="http://www.w3.org/2000/svg" class="chart" role="%s" aria-label="%s" viewBox="0 0 %s %s" width="%s" height="%s"`+
			` font-family="Go, Segoe UI, Noto Sans, DejaVu Sans, Arial, sans-serif">`,
		role, escape(p.alternative()), num(p.Width), num(p.Height), num(p.Width), num(p.Height))
	p.draw(c)
	c.out.WriteString("</svg>\n")
	if _, err := w.Write(c.out.Bytes()); err != nil {
		return fmt.Errorf("write picture as SVG: %w", err)
	}
	return nil
}

// svg is the canvas of WriteSVG.
type svg struct {
	out  bytes.Buffer
	open string // the element begin opened
}

func (s *svg) path(points []point, closed bool, l look) {
	corners := make([]string, len(points))
	for i, p := range points {
		corners[i] = num(p.x) + " " + num(p.y)
	}
	d := "M" + strings.Join(corners, "L")
	if closed {
		d += "Z"
	}
	fmt.Fprintf(&s.out, `<path d="%s"%s/>`, d, attributes(l))
}

func (s *svg) circle(at point, r float64, l look) {
	fmt.Fprintf(&s.out, `<circle cx="%s" cy="%s" r="%s"%s/>`, num(at.x), num(at.y), num(r), attributes(l))
}

func (s *svg) text(t text) {
	weight := ""
	if t.bold {
		weight = ` font-weight="bold"`
	}
	fmt.Fprintf(&s.out, `<text x="%s" y="%s" font-size="%s" text-anchor="%s"%s%s>%s</text>`,
		num(t.at.x), num(t.at.y), num(t.size), t.anchor, weight, attributes(fill(t.ink)), escape(t.words))
}

func (s *svg) begin(n note) {
	s.open = "g"
	words := escape(n.words)
	if n.href != "" {
		s.open = "a"
		fmt.Fprintf(&s.out, `<a class="point" href="%s" aria-label="%s">`, escape(n.href), words)
	} else {
		s.out.WriteString(`<g class="point">`)
	}
	fmt.Fprintf(&s.out, `<title>%s</title><circle cx="%s" cy="%s" r="%s" fill="none" pointer-events="all"/>`,
		words, num(n.at.x), num(n.at.y), num(n.reach))
}

func (s *svg) end() { s.out.WriteString("</" + s.open + ">") }

// attributes colours for a light ground and names the class for a dark one.
func attributes(l look) string {
	p := pens[l.ink]
	if l.fill {
		return fmt.Sprintf(` class="%s" fill="%s"`, l.class(), hex(p.light))
	}
	dash := ""
	if p.dash != nil {
		dash = fmt.Sprintf(` stroke-dasharray="%s"`, strings.Trim(fmt.Sprint(p.dash), "[]"))
	}
	return fmt.Sprintf(` class="%s" fill="none" stroke="%s" stroke-width="%s"%s`, l.class(), hex(p.light), num(p.width), dash)
}

func escape(s string) string {
	var b bytes.Buffer
	if err := xml.EscapeText(&b, []byte(s)); err != nil {
		return "" // a bytes.Buffer takes all that is written to it
	}
	return b.String()
}

// num writes a coordinate to a hundredth of a pixel.
func num(v float64) string {
	return strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64)
}

func (p *Picture) hasLinks() bool {
	var l linkFinder
	p.draw(&l)
	return l.found
}

// linkFinder is a canvas that only looks for links.
type linkFinder struct{ found bool }

func (l *linkFinder) path([]point, bool, look)    {}
func (l *linkFinder) circle(point, float64, look) {}
func (l *linkFinder) text(text)                   {}
func (l *linkFinder) begin(n note)                { l.found = l.found || n.href != "" }
func (l *linkFinder) end()                        {}
