// Package chart draws what the history holds: the run of a batch, one capture,
// resistance against temperature, a value on its tolerance. Each function takes
// records and returns a Picture, which can be written as SVG for a page and as PDF
// for a file; both come from the same list of marks.
//
// What is good and what is not is decided elsewhere; a chart shows verdicts,
// limits and signals as it is given them. A value that cannot be true gives an
// error and no picture.
package chart

import (
	"fmt"
	"net/url"
	"strings"
	"time"

	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// Picture is a finished drawing. It is immutable and safe for concurrent use.
type Picture struct {
	// Width and Height are in pixels of a page, 96 to the inch.
	Width, Height float64
	// Title names the picture; Description says in words what it shows. Both
	// together are the text alternative.
	Title, Description string

	items []item
}

// Size is how large a picture is to be, in pixels of a page. Zero fields take
// the picture's own default. Text keeps its size, so a narrow picture for a
// telephone is drawn narrow rather than scaled down.
type Size struct{ Width, Height float64 }

func (s Size) or(width, height float64) Size {
	if s.Width == 0 {
		s.Width = width
	}
	if s.Height == 0 {
		s.Height = height
	}
	return s
}

func (s Size) check(minWidth, minHeight float64) error {
	if !(s.Width >= minWidth && s.Width <= maxSide && s.Height >= minHeight && s.Height <= maxSide) {
		return fmt.Errorf("size %g × %g: must be %g × %g to %d × %d pixels", s.Width, s.Height, minWidth, minHeight, maxSide, maxSide)
	}
	return nil
}

const maxSide = 4000

// View is how pictures speak to their reader; the zero View is good for files.
type View struct {
	Size Size
	// Time writes an instant for people; nil writes UTC.
	Time func(time.Time) string
	// Link returns where a measurement can be looked at, "" for nowhere. With
	// nil nothing is a link. Links are relative or http and exist in SVG only.
	Link func(record.Measurement) string
}

func (v View) time(t time.Time) string {
	if v.Time == nil {
		return words.Time(t, time.UTC) + " UTC"
	}
	return v.Time(t)
}

func (v View) link(m record.Measurement) (string, error) {
	if v.Link == nil {
		return "", nil
	}
	href := v.Link(m)
	u, err := url.Parse(href)
	if err != nil {
		return "", fmt.Errorf("link of measurement %s: %w", m.ID, err)
	}
	if u.Scheme != "" && u.Scheme != "http" && u.Scheme != "https" {
		return "", fmt.Errorf("link of measurement %s: %q is neither relative nor http", m.ID, href)
	}
	return href, nil
}

type point struct{ x, y float64 }

// canvas is what a picture is drawn on. Coordinates are pixels of the picture,
// y downward.
type canvas interface {
	// path draws a line or, closed, an outline through points.
	path(points []point, closed bool, look look)
	circle(centre point, radius float64, look look)
	text(t text)
	// begin and end enclose what belongs to one point of the data.
	begin(n note)
	end()
}

// look is an ink used to fill or to draw a line.
type look struct {
	ink  ink
	fill bool
}

func stroke(i ink) look { return look{ink: i} }
func fill(i ink) look   { return look{ink: i, fill: true} }

type anchor string

const (
	start  anchor = "start"
	middle anchor = "middle"
	end    anchor = "end"
)

// share is how much of a text lies left of its anchor, 0 to 1.
func (a anchor) share() float64 {
	switch a {
	case middle:
		return 0.5
	case end:
		return 1
	}
	return 0
}

// text is one line of text; at is the left end, middle or right end of its
// baseline.
type text struct {
	at     point
	anchor anchor
	ink    ink
	size   float64
	bold   bool
	words  string
}

const (
	textSize  = 12.5
	titleSize = 15
)

// note is what a point of the data says when it is pointed at.
type note struct {
	words string
	href  string
	at    point
	reach float64 // radius of the area that reacts, in pixels
}

// item is one thing on a picture.
type item func(canvas)

func (p *Picture) add(items ...item) { p.items = append(p.items, items...) }

func (p *Picture) draw(c canvas) {
	for _, draw := range p.items {
		draw(c)
	}
}

func (p *Picture) line(l look, points ...point) {
	p.add(func(c canvas) { c.path(points, false, l) })
}

func (p *Picture) polygon(l look, points ...point) {
	p.add(func(c canvas) { c.path(points, true, l) })
}

func (p *Picture) rect(l look, left, top, right, bottom float64) {
	p.polygon(l, point{left, top}, point{right, top}, point{right, bottom}, point{left, bottom})
}

func (p *Picture) words(i ink, a anchor, at point, said string) {
	p.add(func(c canvas) { c.text(text{at: at, anchor: a, ink: i, size: textSize, words: words.Minus(said)}) })
}

// mark draws a shape that says n when it is pointed at.
func (p *Picture) mark(s shape, i ink, radius float64, n note) {
	p.add(func(c canvas) {
		c.begin(n)
		s.draw(c, n.at, radius, i)
		c.end()
	})
}

// alternative is the whole text alternative.
func (p *Picture) alternative() string {
	if p.Title == "" {
		return p.Description
	}
	return strings.TrimSpace(p.Title + ". " + p.Description)
}

// newPicture begins a picture with its ground and title.
func newPicture(size Size, title string) *Picture {
	p := &Picture{Width: size.Width, Height: size.Height, Title: title}
	p.rect(fill(inkPaper), 0, 0, size.Width, size.Height)
	if title != "" {
		p.add(func(c canvas) {
			c.text(text{at: point{margin, margin + titleSize}, anchor: start, ink: inkText, size: titleSize, bold: true, words: title})
		})
	}
	return p
}

const margin = 8
