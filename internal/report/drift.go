package report

import (
	"fmt"
	"io"
	"time"

	"coilkeep/internal/chart"
	"coilkeep/internal/drift"
)

// Drift is a report on how a batch or a winder wanders.
type Drift struct {
	Workshop Workshop
	// Heading says of what: "Batch spring-3".
	Heading string
	// Summary is the sentence that matters, Facts what it rests on.
	Summary string
	Facts   []Fact
	// Pictures come in order, each as wide as the page.
	Pictures []*chart.Picture
	// Conventions say how it was reckoned.
	Conventions []string
	Made        time.Time
	// Zone is that of the date printed; nil is UTC.
	Zone *time.Location
}

// drawnCoils is how many coils a picture on paper shows.
const drawnCoils = 1000

// controlHeight leaves room for three control charts and what follows on a page.
const controlHeight = 180

// NewDrift puts a report together from an analysis; the last thousand coils are drawn. Workshop and date are
// the caller's to fill in.
func NewDrift(heading string, r drift.Report) (Drift, error) {
	d := Drift{Heading: heading, Summary: r.Summary, Conventions: r.Conventions}
	for _, f := range r.Facts() {
		d.Facts = append(d.Facts, Fact(f))
	}
	run, err := chart.Wander(r, nil).Latest(drawnCoils).Picture()
	if err != nil {
		return Drift{}, fmt.Errorf("drift report of %s: %w", heading, err)
	}
	d.Pictures = append(d.Pictures, run)
	for _, c := range chart.Controls(r, drawnCoils) {
		c.Size.Height = controlHeight
		picture, err := c.Picture()
		if err != nil {
			return Drift{}, fmt.Errorf("drift report of %s: %w", heading, err)
		}
		d.Pictures = append(d.Pictures, picture)
	}
	return d, nil
}

// WritePDF writes the report as A4 pages. A text the built-in font cannot show
// is a *typeface.MissingError.
func (d Drift) WritePDF(w io.Writer) error {
	p := &certificatePages{document: newDocument("Drift of "+d.Heading, pageWidth, pageHeight, margin, d.Made),
		c: &Certificate{}}
	p.footLeft, p.footRight = d.Heading+" · drift report", "issued "+date(d.Made, d.Zone)
	p.newPage()
	for i, line := range []string{d.Workshop.Name, d.Workshop.Contact} {
		if line != "" {
			p.y = p.paragraph(margin, p.y, textWidth, style{points: 12 - 3*float64(i), bold: i == 0, soft: i > 0}, line)
		}
	}
	p.y = p.line(margin, p.y+3, softStyle, "Drift report")
	p.y = p.paragraph(margin, p.y, textWidth, titleStyle, d.Heading)
	p.y = p.paragraph(margin, p.y+1, textWidth, style{points: 12}, d.Summary) + 3
	for i, picture := range d.Pictures {
		p.picture(picture)
		if i == 0 {
			p.title("What it rests on")
			p.facts(d.Facts)
		}
	}
	p.sectionIn(smallStyle, "How it was reckoned", d.Conventions)
	if err := p.write(w); err != nil {
		return fmt.Errorf("drift report of %s: %w", d.Heading, err)
	}
	return nil
}

// picture draws a picture across the page.
func (p *certificatePages) picture(picture *chart.Picture) {
	scale := textWidth / picture.Width
	p.room(picture.Height*scale + 2)
	if p.err == nil {
		p.err = picture.DrawPDF(p.pdf, margin, p.y, scale)
	}
	p.y += picture.Height*scale + 2
}
