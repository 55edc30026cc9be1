package report

import (
	"fmt"
	"io"
	"strings"
)

// WritePDF writes the answer as one A4 page; a letter too long for one in any
// readable size goes on on the next. A text the built-in font cannot show is a
// *typeface.MissingError.
func (a *Answer) WritePDF(w io.Writer) error {
	p := &answerPages{document: newDocument(a.Heading, pageWidth, pageHeight, margin, a.issued), a: a}
	p.footLeft, p.footRight = a.Heading+" · "+a.Formula, "written "+a.IssuedOn
	p.newPage()
	p.head()
	p.letter()
	p.evidence()
	p.cautions()
	if err := p.write(w); err != nil {
		return fmt.Errorf("answer: %w", err)
	}
	return nil
}

// answerPages is an answer being laid out; y is how far down it is.
type answerPages struct {
	*document
	a *Answer
	y float64
}

func (p *answerPages) newPage() {
	p.pdf.AddPage()
	p.y = margin
}

// bottom is where the text of a page ends.
const bottom = pageHeight - footer - 4

// head writes who answers, and about what.
func (p *answerPages) head() {
	name, contact := p.a.Workshop.Name, p.a.Workshop.Contact
	if name != "" {
		p.y = p.paragraph(margin, p.y, textWidth, style{points: 12, bold: true}, name)
	}
	if contact != "" {
		p.y = p.paragraph(margin, p.y, textWidth, softStyle, contact)
	}
	p.lineRight(pageWidth-margin, margin, softStyle, p.a.IssuedOn)
	p.y = p.paragraph(margin, p.y+3, textWidth, style{points: 16, bold: true}, p.a.Heading) + 1
	p.rule(margin, p.y, textWidth)
	p.y += 3
}

const (
	mmPerPixel    = 25.4 / 96
	answerRowMM   = 4.9
	evidenceGapMM = 6.0
	// paragraphGap is the part of a line that an empty line takes.
	paragraphGap = 0.55
)

// evidenceHeight is how much room picture and table need.
func (p *answerPages) evidenceHeight() float64 {
	table := float64(len(p.a.Facts)+len(p.a.Table)+2) * answerRowMM
	return max(p.a.Picture.Height*mmPerPixel, table) + 2
}

// cautionsHeight is how much room the cautions need.
func (p *answerPages) cautionsHeight() float64 {
	height := 3.0 + headStyle.leading()
	for _, text := range p.a.Cautions {
		height += float64(len(wrap(text, smallStyle, textWidth)))*smallStyle.leading() + 0.8
	}
	return height
}

// letter sets the letter in the largest size that leaves room for the rest.
func (p *answerPages) letter() {
	room := bottom - p.y - p.evidenceHeight() - p.cautionsHeight()
	s := style{points: 10}
	for s.points > 7.5 && letterHeight(p.a.Letter, s) > room {
		s.points -= 0.5
	}
	for line := range strings.Lines(p.a.Letter) {
		if strings.TrimSpace(line) == "" {
			p.y += paragraphGap * s.leading()
			continue
		}
		for _, set := range wrap(line, s, textWidth) {
			if p.y+s.leading() > bottom {
				p.newPage()
			}
			p.y = p.line(margin, p.y, s, set)
		}
	}
	p.y += 3
}

func letterHeight(letter string, s style) float64 {
	height := 3.0
	for line := range strings.Lines(letter) {
		lines := float64(len(wrap(line, s, textWidth)))
		if strings.TrimSpace(line) == "" {
			lines = paragraphGap
		}
		height += lines * s.leading()
	}
	return height
}

// evidence draws the picture with the table beside it.
func (p *answerPages) evidence() {
	if p.y+p.evidenceHeight() > bottom {
		p.newPage()
	}
	if p.err == nil {
		p.err = p.a.Picture.DrawPDF(p.pdf, margin, p.y, mmPerPixel)
	}
	x := margin + p.a.Picture.Width*mmPerPixel + evidenceGapMM
	width := pageWidth - margin - x
	y := p.y
	for _, f := range p.a.Facts {
		p.line(x, y, smallStyle, f.Name)
		p.lineRight(x+width, y-0.3, bodyStyle, f.Value)
		y += answerRowMM
	}
	p.line(x, y+1.5, style{points: 9, bold: true}, p.a.TableTitle)
	y += 1.5 + answerRowMM
	for _, row := range p.a.Table {
		p.rule(x, y-0.7, width)
		p.line(x, y, bodyStyle, row.Temperature)
		p.line(x+14, y, style{points: 9, bold: true}, row.Value)
		p.lineRight(x+width, y+0.3, smallStyle, row.Range)
		y += answerRowMM
	}
	p.y += p.evidenceHeight()
}

func (p *answerPages) cautions() {
	if p.y+p.cautionsHeight() > bottom {
		p.newPage()
	}
	p.y = p.line(margin, p.y+2, headStyle, "Cautions")
	for _, text := range p.a.Cautions {
		p.y = p.paragraph(margin, p.y, textWidth, smallStyle, text) + 0.8
	}
}
