package report

import (
	"fmt"
	"html/template"
	"strings"

	"codeberg.org/go-pdf/fpdf"
	qr "github.com/piglig/go-qr"
)

// quietModules is the empty border a reader needs (ISO/IEC 18004, 4 modules).
const quietModules = 4

// matrix is a QR code without its border.
type matrix struct{ code *qr.QrCode }

// encode makes the QR code of a text, of medium error correction: 15 % of it may
// be smudged.
func encode(text string) (matrix, error) {
	code, err := qr.EncodeText(text, qr.Medium)
	if err != nil {
		return matrix{}, fmt.Errorf("make a QR code of %q: %w", text, err)
	}
	return matrix{code}, nil
}

// side is the number of modules to a side, border included.
func (q matrix) side() int { return q.code.Size() + 2*quietModules }

// runs calls back for each stretch of dark modules in a row, border included.
func (q matrix) runs(dark func(x, y, length int)) {
	n := q.code.Size()
	for y := range n {
		for x := 0; x < n; x++ {
			from := x
			for x < n && q.code.Module(x, y) {
				x++
			}
			if x > from {
				dark(from+quietModules, y+quietModules, x-from)
			}
		}
	}
}

// draw draws the code in a square of a document, border included.
func (q matrix) draw(pdf *fpdf.Fpdf, left, top, size float64) {
	module := size / float64(q.side())
	pdf.SetFillColor(0, 0, 0)
	q.runs(func(x, y, length int) {
		// A hair taller, so that no printer leaves a gap between the rows.
		pdf.Rect(left+float64(x)*module, top+float64(y)*module, float64(length)*module, module*1.02, "F")
	})
}

// svg returns the code as an image for a page, black on white in any theme.
func (q matrix) svg(alternative string) template.HTML {
	var d strings.Builder
	q.runs(func(x, y, length int) { fmt.Fprintf(&d, "M%d %dh%dv1h-%dz", x, y, length, length) })
	n := q.side()
	return template.HTML(fmt.Sprintf( // nothing in it but numbers and what is escaped
		`<svg xmlns="http://www.w3.org/2000/svg" class="qr" role="img" aria-label="%s" viewBox="0 0 %d %d" width="132" height="132"`+
			` shape-rendering="crispEdges"><path fill="#fff" d="M0 0h%dv%dh-%dz"/><path fill="#000" d="%s"/></svg>`,
		template.HTMLEscapeString(alternative), n, n, n, n, n, d.String()))
}
