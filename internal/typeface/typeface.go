// Package typeface carries the one family of fonts that pictures and documents
// are set in, and measures text in it. The fonts are part of the program, so
// that a certificate looks the same on every machine and Ω, ° and ± print
// right. Pages in a browser use the browser's own fonts.
package typeface

import (
	"fmt"
	"sync"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// Family is the name the fonts have in a PDF.
const Family = "Go"

// The fonts of golang.org/x/image, under its BSD licence: all of WGL4, which
// is Latin, Greek and Cyrillic with the usual signs.
var regularTTF, boldTTF = prepared(goregular.TTF), prepared(gobold.TTF)

var regular, bold = parser(regularTTF), parser(boldTTF)

// prepared mends a font when it is first asked for, and once.
func prepared(ttf []byte) func() []byte {
	return sync.OnceValue(func() []byte {
		mended, err := hyphenated(ttf)
		if err != nil {
			panic(fmt.Sprintf("prepare the built-in font: %v", err)) // a damaged binary
		}
		return mended
	})
}

// parser reads a font when it is first asked for, and once.
func parser(ttf func() []byte) func() *sfnt.Font {
	return sync.OnceValue(func() *sfnt.Font {
		f, err := opentype.Parse(ttf())
		if err != nil {
			panic(fmt.Sprintf("read the built-in font: %v", err)) // a damaged binary
		}
		return f
	})
}

func pick(isBold bool) *sfnt.Font {
	if isBold {
		return bold()
	}
	return regular()
}

// Face returns the font at a size in pixels. It is not safe for concurrent use.
func Face(isBold bool, sizePixels float64) (font.Face, error) {
	face, err := opentype.NewFace(pick(isBold), &opentype.FaceOptions{Size: sizePixels, DPI: 72, Hinting: font.HintingNone})
	if err != nil {
		return nil, fmt.Errorf("set the built-in font to %g pixels: %w", sizePixels, err)
	}
	return face, nil
}

// Install makes both fonts known to a PDF under Family, with the styles "" and
// "B". Faults show in pdf.Error.
func Install(pdf *fpdf.Fpdf) {
	pdf.AddUTF8FontFromBytes(Family, "", regularTTF())
	pdf.AddUTF8FontFromBytes(Family, "B", boldTTF())
}

// Width returns how wide text is at a size, in the unit of size. A character the
// font lacks counts as wide as the box that stands for it.
func Width(text string, isBold bool, size float64) float64 {
	const unitsPerEm = 1000
	var (
		buffer sfnt.Buffer
		f      = pick(isBold)
		total  fixed.Int26_6
	)
	for _, r := range text {
		glyph, err := f.GlyphIndex(&buffer, r)
		if err != nil {
			continue
		}
		advance, err := f.GlyphAdvance(&buffer, glyph, fixed.I(unitsPerEm), font.HintingNone)
		if err != nil {
			continue
		}
		total += advance
	}
	return float64(total) / 64 / unitsPerEm * size
}

// MissingError tells that a text cannot be printed.
type MissingError struct {
	Character rune
	Text      string
}

func (e *MissingError) Error() string {
	return fmt.Sprintf("cannot print %q: the built-in font has no %q (it covers Latin, Greek and Cyrillic letters); the page in the "+
		"browser can show it", e.Text, e.Character)
}

// Check returns a *MissingError for the first character of text that the fonts
// lack; a box in its place would be read as something else.
func Check(text string) error {
	var buffer sfnt.Buffer
	for _, r := range text {
		if r == '\n' {
			continue
		}
		if glyph, err := regular().GlyphIndex(&buffer, r); err != nil || glyph == 0 {
			return &MissingError{Character: r, Text: text}
		}
	}
	return nil
}
