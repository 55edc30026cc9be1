package chart

import (
	"fmt"
	"io"

	"git.sr.ht/~sbinet/gg"

	"coilkeep/internal/typeface"
)

// MaxScale is the largest scale of a PNG.
const MaxScale = 8

// WritePNG writes the picture with scale dots to the pixel of a page, more than
// 0 to MaxScale; 2 or 3 for print. A text the built-in font cannot show is a
// *typeface.MissingError.
func (p *Picture) WritePNG(w io.Writer, scale float64) error {
	if !(scale > 0 && scale <= MaxScale) {
		return fmt.Errorf("write picture as PNG: the scale must be more than 0 and at most %d, not %g", MaxScale, scale)
	}
	c := &raster{gg: gg.NewContext(int(p.Width*scale+0.5), int(p.Height*scale+0.5)), scale: scale}
	c.gg.Scale(scale, scale)
	c.gg.SetLineCap(gg.LineCapButt)
	p.draw(c)
	if c.err != nil {
		return fmt.Errorf("draw picture as PNG: %w", c.err)
	}
	if err := c.gg.EncodePNG(w); err != nil {
		return fmt.Errorf("write picture as PNG: %w", err)
	}
	return nil
}

// raster is the canvas of WritePNG.
type raster struct {
	gg    *gg.Context
	scale float64
	err   error
}

func (r *raster) path(points []point, closed bool, l look) {
	for _, p := range points {
		r.gg.LineTo(p.x, p.y)
	}
	if closed {
		r.gg.ClosePath()
	}
	r.ink(l)
}

func (r *raster) circle(at point, radius float64, l look) {
	r.gg.DrawCircle(at.x, at.y, radius)
	r.ink(l)
}

// ink fills or draws the path made so far. Line widths and dashes are in dots.
func (r *raster) ink(l look) {
	p := pens[l.ink]
	r.gg.SetColor(p.light)
	if l.fill {
		r.gg.Fill()
		return
	}
	dash := make([]float64, len(p.dash))
	for i, d := range p.dash {
		dash[i] = d * r.scale
	}
	r.gg.SetDash(dash...)
	r.gg.SetLineWidth(p.width * r.scale)
	r.gg.Stroke()
}

func (r *raster) text(t text) {
	if r.err == nil {
		r.err = typeface.Check(t.words)
	}
	face, err := typeface.Face(t.bold, t.size*r.scale)
	if err != nil {
		r.err = err
	}
	if r.err != nil {
		return
	}
	// Text is set in dots, for a scaled face would be drawn as a blurred image.
	r.gg.Push()
	r.gg.Identity()
	r.gg.SetFontFace(face)
	r.gg.SetColor(pens[t.ink].light)
	shift := t.anchor.share()
	r.gg.DrawStringAnchored(t.words, t.at.x*r.scale, t.at.y*r.scale, shift, 0)
	r.gg.Pop()
}

func (r *raster) begin(note) {}
func (r *raster) end()       {}
