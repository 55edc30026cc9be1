package chart

import (
	"fmt"
	"io"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"coilkeep/internal/typeface"
)

// pointsPerPixel: a page has 96 pixels and a document 72 points to the inch.
const pointsPerPixel = 72.0 / 96

// WritePDF writes the picture as a document of one page of its size. A text the
// built-in font cannot show is a *typeface.MissingError. made is the date in the
// document's properties.
func (p *Picture) WritePDF(w io.Writer, made time.Time) error {
	pdf := fpdf.NewCustom(&fpdf.InitType{
		UnitStr: "pt",
		Size:    fpdf.SizeType{Wd: p.Width * pointsPerPixel, Ht: p.Height * pointsPerPixel},
	})
	typeface.Install(pdf)
	pdf.SetTitle(p.Title, true)
	pdf.SetSubject(p.Description, true)
	pdf.SetCreationDate(made.UTC())
	pdf.SetModificationDate(made.UTC())
	pdf.SetCatalogSort(true)
	pdf.SetAutoPageBreak(false, 0)
	pdf.AddPage()
	if err := p.DrawPDF(pdf, 0, 0, pointsPerPixel); err != nil {
		return err
	}
	if err := pdf.Output(w); err != nil {
		return fmt.Errorf("write picture as PDF: %w", err)
	}
	return nil
}

// DrawPDF draws the picture on the current page of a document with its top left
// corner at x, y and so many of the document's units to the pixel. The document
// must have typeface.Install behind it.
func (p *Picture) DrawPDF(pdf *fpdf.Fpdf, x, y, unitsPerPixel float64) error {
	c := &paper{pdf: pdf, origin: point{x, y}, scale: unitsPerPixel}
	p.draw(c)
	pdf.SetDashPattern(nil, 0)
	if c.err == nil {
		c.err = pdf.Error()
	}
	if c.err != nil {
		return fmt.Errorf("draw picture as PDF: %w", c.err)
	}
	return nil
}

// paper is the canvas of DrawPDF.
type paper struct {
	pdf    *fpdf.Fpdf
	origin point
	scale  float64
	err    error
}

func (d *paper) at(p point) (x, y float64) { return d.origin.x + p.x*d.scale, d.origin.y + p.y*d.scale }

func (d *paper) path(points []point, closed bool, l look) {
	if l == fill(inkPaper) {
		return // a document has its own ground
	}
	for i, p := range points {
		x, y := d.at(p)
		if i == 0 {
			d.pdf.MoveTo(x, y)
		} else {
			d.pdf.LineTo(x, y)
		}
	}
	if closed {
		d.pdf.ClosePath()
	}
	d.pdf.DrawPath(d.ink(l))
}

func (d *paper) circle(centre point, radius float64, l look) {
	x, y := d.at(centre)
	d.pdf.Circle(x, y, radius*d.scale, d.ink(l))
}

// ink sets colour and line and returns how the library calls filling or not.
func (d *paper) ink(l look) string {
	p := pens[l.ink]
	r, g, b := int(p.light.R), int(p.light.G), int(p.light.B)
	if l.fill {
		d.pdf.SetFillColor(r, g, b)
		return "F"
	}
	dash := make([]float64, len(p.dash))
	for i, v := range p.dash {
		dash[i] = v * d.scale
	}
	d.pdf.SetDashPattern(dash, 0)
	d.pdf.SetDrawColor(r, g, b)
	d.pdf.SetLineWidth(p.width * d.scale)
	return "D"
}

func (d *paper) text(t text) {
	if d.err == nil {
		d.err = typeface.Check(t.words)
	}
	if d.err != nil {
		return
	}
	style := ""
	if t.bold {
		style = "B"
	}
	// Sizes of fonts are points whatever the document's unit is.
	d.pdf.SetFont(typeface.Family, style, t.size*d.scale*d.pdf.GetConversionRatio())
	p := pens[t.ink].light
	d.pdf.SetTextColor(int(p.R), int(p.G), int(p.B))
	x, y := d.at(t.at)
	x -= t.anchor.share() * d.pdf.GetStringWidth(t.words)
	d.pdf.Text(x, y, t.words)
}

func (d *paper) begin(note) {}
func (d *paper) end()       {}
