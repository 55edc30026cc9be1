package report

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"coilkeep/internal/typeface"
	"coilkeep/internal/words"
)

// document is a PDF in millimetres, set in the built-in fonts. The first thing that
// goes wrong is kept, and nothing more is drawn.
type document struct {
	pdf *fpdf.Fpdf
	err error
	// footLeft and footRight stand at the foot of every page, footRight before the
	// number of the page; both are empty for a sheet of labels.
	footLeft, footRight string
}

// newDocument begins a document whose bytes depend on nothing but what is put
// into it.
func newDocument(title string, widthMM, heightMM, marginMM float64, made time.Time) *document {
	pdf := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: widthMM, Ht: heightMM}})
	typeface.Install(pdf)
	pdf.SetTitle(title, true)
	pdf.SetCreationDate(made.UTC())
	pdf.SetModificationDate(made.UTC())
	pdf.SetCatalogSort(true)
	pdf.SetMargins(marginMM, marginMM, marginMM)
	pdf.SetCellMargin(0)
	pdf.SetAutoPageBreak(false, 0)
	return &document{pdf: pdf}
}

// write hands the finished document over.
func (d *document) write(w io.Writer) error {
	if d.footRight != "" {
		d.feet()
	}
	if d.err == nil {
		d.err = d.pdf.Error()
	}
	if d.err != nil {
		return d.err
	}
	if err := d.pdf.Output(w); err != nil {
		return fmt.Errorf("write PDF: %w", err)
	}
	return nil
}

// feet writes the foot of every page, once it is known how many there are.
func (d *document) feet() {
	const y = pageHeight - footer
	for page := range d.pdf.PageCount() {
		d.pdf.SetPage(page + 1)
		d.rule(margin, y-1.5, textWidth)
		d.line(margin, y, smallStyle, d.footLeft)
		d.lineRight(pageWidth-margin, y, smallStyle, fmt.Sprintf("%s · page %d of %d", d.footRight, page+1, d.pdf.PageCount()))
	}
}

// ok says whether to go on, and whether text can be printed.
func (d *document) ok(text string) bool {
	if d.err == nil {
		d.err = typeface.Check(text)
	}
	return d.err == nil
}

// style is how text is set.
type style struct {
	points float64
	bold   bool
	soft   bool // less important
}

func (d *document) set(s style) {
	weight := ""
	if s.bold {
		weight = "B"
	}
	d.pdf.SetFont(typeface.Family, weight, s.points)
	if s.soft {
		d.pdf.SetTextColor(0x5c, 0x53, 0x4a)
	} else {
		d.pdf.SetTextColor(0x22, 0x1d, 0x19)
	}
}

const mmPerPoint = 25.4 / 72

// leading is from one line to the next.
func (s style) leading() float64 { return s.points * mmPerPoint * 1.32 }

// line writes one line with its top at y and returns where the next one begins.
func (d *document) line(x, y float64, s style, text string) float64 {
	if text = words.Minus(text); d.ok(text) {
		d.set(s)
		d.pdf.Text(x, y+s.points*mmPerPoint, text)
	}
	return y + s.leading()
}

// lineRight is line with the end of the text at x.
func (d *document) lineRight(x, y float64, s style, text string) float64 {
	return d.line(x-typeface.Width(text, s.bold, s.points*mmPerPoint), y, s, text)
}

// paragraph writes text of any length in lines no wider than width.
func (d *document) paragraph(x, y, width float64, s style, text string) float64 {
	for _, l := range wrap(text, s, width) {
		y = d.line(x, y, s, l)
	}
	return y
}

// wrap breaks text into lines no wider than width at its spaces; a word that is
// too wide for a line is broken anywhere.
func wrap(text string, s style, width float64) []string {
	fits := func(line string) bool { return typeface.Width(line, s.bold, s.points*mmPerPoint) <= width }
	var lines []string
	for part := range strings.Lines(text) {
		line := ""
		for _, word := range splitWords(part) {
			if line != "" && fits(line+" "+word) {
				line += " " + word
				continue
			}
			if line != "" {
				lines = append(lines, line)
			}
			for line = word; !fits(line); {
				head, rest := split(line, fits)
				lines = append(lines, head)
				line = rest
			}
		}
		lines = append(lines, line)
	}
	return lines
}

// words cuts a line where it may be broken: between words, but not before the
// unit of a number.
func splitWords(line string) []string {
	units := []string{"Ω", "kΩ", "MΩ", "GΩ", "°C", "K", "%"}
	var list []string
	for _, word := range strings.Fields(line) {
		if bare := strings.Trim(word, ".,;:()"); len(list) > 0 && slices.Contains(units, bare) {
			list[len(list)-1] += " " + word
			continue
		}
		list = append(list, word)
	}
	return list
}

// split cuts a word into the longest head that fits, one character at least, and
// the rest.
func split(word string, fits func(string) bool) (head, rest string) {
	cut := len(word)
	for at := range word {
		if at > 0 && !fits(word[:at]) {
			break
		}
		if at > 0 {
			cut = at
		}
	}
	if cut == len(word) && len([]rune(word)) > 1 { // not even one fits
		cut = len(string([]rune(word)[:1]))
	}
	return word[:cut], word[cut:]
}

// rule draws a thin line across.
func (d *document) rule(x, y, width float64) {
	d.pdf.SetDrawColor(0xc9, 0xb9, 0xa3)
	d.pdf.SetLineWidth(0.2)
	d.pdf.Line(x, y, x+width, y)
}
