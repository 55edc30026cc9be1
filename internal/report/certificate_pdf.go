package report

import (
	"fmt"
	"io"

	"coilkeep/internal/words"
)

// A page is A4, which every printer also fits on letter paper.
const (
	pageWidth, pageHeight = 210.0, 297.0
	margin                = 18.0
	textWidth             = pageWidth - 2*margin
	footer                = 12.0
)

var (
	titleStyle  = style{points: 20, bold: true}
	resultStyle = style{points: 24, bold: true}
	headStyle   = style{points: 10.5, bold: true}
	bodyStyle   = style{points: 9}
	softStyle   = style{points: 9, soft: true}
	smallStyle  = style{points: 7.5, soft: true}
)

// WritePDF writes the certificate as A4 pages. A text the built-in font cannot
// show is a *typeface.MissingError.
func (c *Certificate) WritePDF(w io.Writer) error {
	p := &certificatePages{document: newDocument("Certificate of "+c.Heading, pageWidth, pageHeight, margin, c.issued), c: c}
	p.footLeft, p.footRight = c.Heading+" · "+c.RecordedAs, "issued "+c.IssuedOn
	p.newPage()
	p.head()
	p.result()
	p.facts(c.Facts)
	p.section("Remarks", c.Remarks)
	if c.Decision != "" {
		p.section("How it was judged", []string{c.Decision})
	}
	p.title("Instruments")
	p.facts(c.Instruments)
	p.section("Before anybody measures", c.Cautions)
	p.tables()
	p.section("Why the number moves", c.Explanation)
	if err := p.write(w); err != nil {
		return fmt.Errorf("certificate of %s: %w", c.Heading, err)
	}
	return nil
}

// certificatePages is a certificate being laid out; y is how far down it is.
type certificatePages struct {
	*document
	c *Certificate
	y float64
}

func (p *certificatePages) newPage() {
	p.pdf.AddPage()
	p.y = margin
}

// room begins a new page unless height fits on this one.
func (p *certificatePages) room(height float64) {
	if p.y+height > pageHeight-footer-4 {
		p.newPage()
	}
}

const codeSize = 34.0

// head writes who made the coil, what this is, and the code.
func (p *certificatePages) head() {
	code := pageWidth - margin - codeSize
	p.c.code.draw(p.pdf, code, margin-4, codeSize)
	width := code - margin - 4
	if name := p.c.Workshop.Name; name != "" {
		p.y = p.paragraph(margin, p.y, width, style{points: 12, bold: true}, name)
	}
	if contact := p.c.Workshop.Contact; contact != "" {
		p.y = p.paragraph(margin, p.y, width, softStyle, contact)
	}
	p.y = p.line(margin, p.y+3, softStyle, words.CertificateTitle)
	p.y = p.paragraph(margin, p.y, width, titleStyle, p.c.Heading)
	p.y = max(p.y, margin+codeSize-4) + 1
	p.rule(margin, p.y, textWidth)
	p.y += 3
}

func (p *certificatePages) result() {
	p.y = p.line(margin, p.y, softStyle, "Direct-current resistance at 20 °C, R20")
	p.y = p.line(margin, p.y, resultStyle, p.c.R20)
	p.y = p.line(margin, p.y, style{points: 13, bold: true}, p.c.Verdict) + 1
	if p.c.Scale != nil && p.err == nil {
		p.err = p.c.Scale.DrawPDF(p.pdf, margin, p.y, mmPerPixel)
		p.y += p.c.Scale.Height * mmPerPixel
	}
	p.y += 2
}

// facts writes names on the left and what is said of them on the right.
func (p *certificatePages) facts(facts []Fact) {
	const nameWidth = 42.0
	for _, f := range facts {
		p.room(float64(len(wrap(f.Value, bodyStyle, textWidth-nameWidth))) * bodyStyle.leading())
		p.line(margin, p.y, softStyle, f.Name)
		p.y = p.paragraph(margin+nameWidth, p.y, textWidth-nameWidth, bodyStyle, f.Value) + 0.6
	}
}

func (p *certificatePages) title(text string) {
	p.room(18)
	p.y = p.line(margin, p.y+3, headStyle, text) + 0.5
}

// section writes a title and its paragraphs; nothing when there are none.
func (p *certificatePages) section(title string, paragraphs []string) {
	p.sectionIn(bodyStyle, title, paragraphs)
}

func (p *certificatePages) sectionIn(s style, title string, paragraphs []string) {
	if len(paragraphs) == 0 {
		return
	}
	p.title(title)
	for _, text := range paragraphs {
		p.room(float64(len(wrap(text, s, textWidth))) * s.leading())
		p.y = p.paragraph(margin, p.y, textWidth, s, text) + s.leading()/4
	}
}

// tables writes what a meter should read.
func (p *certificatePages) tables() {
	if len(p.c.Tables) > 0 { // the title stays with the first of them
		note := float64(len(wrap(p.c.TableNote, softStyle, textWidth))) * softStyle.leading()
		p.room(headStyle.leading() + note + p.c.Tables[0].height() + 8)
	}
	p.title("What a meter should read")
	p.y = p.paragraph(margin, p.y, textWidth, softStyle, p.c.TableNote) + 1
	for _, t := range p.c.Tables {
		p.room(t.height())
		p.table(t)
	}
}

const rowHeight = 5.4

// height is how high a table stands with its title.
func (t Table) height() float64 { return float64(len(t.Rows)+2)*rowHeight + 4 }

func (p *certificatePages) table(t Table) {
	const first = 24.0
	column := (textWidth - first) / float64(len(t.Columns))
	p.y = p.line(margin, p.y+2, style{points: 9, bold: true}, t.Title) + 0.5
	p.line(margin, p.y, softStyle, "copper at")
	for k, name := range t.Columns {
		p.line(margin+first+float64(k)*column, p.y, softStyle, name)
	}
	p.y += rowHeight
	for _, row := range t.Rows {
		p.rule(margin, p.y-0.9, textWidth)
		p.line(margin, p.y, bodyStyle, row.Temperature())
		for k, e := range row.Readings {
			x := margin + first + float64(k)*column
			p.line(x, p.y, style{points: 9, bold: true}, e.Value)
			p.line(x+21, p.y+0.35, smallStyle, e.Range)
		}
		p.y += rowHeight
	}
	p.y++
}
