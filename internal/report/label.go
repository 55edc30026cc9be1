package report

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"coilkeep/internal/record"
	"coilkeep/internal/typeface"
	"coilkeep/internal/words"
	"coilkeep/internal/workshop"
)

// Sheet is a sheet of labels, in millimetres. A roll of single labels is a sheet
// as large as its label, with no margins.
type Sheet struct {
	PaperWidthMM, PaperHeightMM float64
	LabelWidthMM, LabelHeightMM float64
	// LeftMM and TopMM are from the paper's corner to the first label.
	LeftMM, TopMM float64
	// AcrossMM and DownMM are the gaps between labels.
	AcrossMM, DownMM float64
	// Skip is how many labels of the first sheet are used up already.
	Skip int
}

// A4Sheet is a sheet of A4 paper with as many labels of a size as fit edge to
// edge, in the middle of the paper.
func A4Sheet(labelWidthMM, labelHeightMM float64) Sheet {
	return centred(pageWidth, pageHeight, labelWidthMM, labelHeightMM)
}

// LetterSheet is A4Sheet for paper of 8½ by 11 inches.
func LetterSheet(labelWidthMM, labelHeightMM float64) Sheet {
	return centred(215.9, 279.4, labelWidthMM, labelHeightMM)
}

func centred(paperWidth, paperHeight, width, height float64) Sheet {
	s := Sheet{PaperWidthMM: paperWidth, PaperHeightMM: paperHeight, LabelWidthMM: width, LabelHeightMM: height}
	s.LeftMM = (paperWidth - math.Floor(paperWidth/width)*width) / 2
	s.TopMM = (paperHeight - math.Floor(paperHeight/height)*height) / 2
	return s
}

// Columns and Rows are how many labels stand on the sheet.
func (s Sheet) Columns() int {
	return howMany(s.PaperWidthMM-s.LeftMM, s.LabelWidthMM, s.AcrossMM)
}

// Rows is how many rows of labels stand on the sheet.
func (s Sheet) Rows() int { return howMany(s.PaperHeightMM-s.TopMM, s.LabelHeightMM, s.DownMM) }

// howMany allows a hundredth of a millimetre for rounded sizes.
func howMany(length, label, gap float64) int {
	return int(math.Floor((length + gap + 0.01) / (label + gap)))
}

// ErrSheet is wrapped by every error that is due to a sheet no labels can be
// printed on.
var ErrSheet = errors.New("unusable label sheet")

// The smallest label that can be read, and the largest paper.
const (
	minLabelWidthMM, minLabelHeightMM = 15, 10
	maxPaperMM                        = 1000
)

// Validate returns an error that wraps ErrSheet and names the measure that cannot
// be.
func (s Sheet) Validate() error {
	for _, c := range []struct {
		name            string
		value, min, max float64
	}{
		{"width of the label", s.LabelWidthMM, minLabelWidthMM, maxPaperMM},
		{"height of the label", s.LabelHeightMM, minLabelHeightMM, maxPaperMM},
		{"width of the paper", s.PaperWidthMM, s.LabelWidthMM, maxPaperMM},
		{"height of the paper", s.PaperHeightMM, s.LabelHeightMM, maxPaperMM},
		{"left margin", s.LeftMM, 0, s.PaperWidthMM - s.LabelWidthMM + 0.01},
		{"top margin", s.TopMM, 0, s.PaperHeightMM - s.LabelHeightMM + 0.01},
		{"gap across", s.AcrossMM, 0, maxPaperMM},
		{"gap down", s.DownMM, 0, maxPaperMM},
	} {
		if !(c.value >= c.min && c.value <= c.max) {
			return fmt.Errorf("%w: the %s must be %g to %g mm, not %g", ErrSheet, c.name, c.min, c.max, c.value)
		}
	}
	if places := s.Columns() * s.Rows(); s.Skip < 0 || s.Skip >= places {
		return fmt.Errorf("%w: of %d labels 0 to %d can be used up, not %d", ErrSheet, places, places-1, s.Skip)
	}
	return nil
}

// Label is what stands on one label. Make one with NewLabel.
type Label struct {
	Serial, R20, Design, Date string
	code                      matrix
}

// NewLabel returns the label of a measurement, or the error of
// [workshop.Documented].
// The zone is that of the workshop; nil is UTC.
func NewLabel(m record.Measurement, zone *time.Location) (Label, error) {
	if _, err := workshop.Documented(m); err != nil {
		return Label{}, err
	}
	code, err := encode(compactText(m, zone))
	if err != nil {
		return Label{}, fmt.Errorf("label of %s: %w", m.Serial, err)
	}
	return Label{
		Serial: m.Serial,
		R20:    "R20 " + words.OhmsWithin(m.R20Ohms, m.ExpandedUncertaintyOhms),
		Design: m.Design,
		Date:   date(m.Time, zone),
		code:   code,
	}, nil
}

// WriteLabels writes labels as PDF, from left to right and down, on as many sheets
// as they take. Each has the serial number, R20, design and date, what to do before
// measuring where there is room, and the QR code
// where there is room for modules of a third of a millimetre, which is what a
// telephone reads surely (common practice, no source). Text shrinks to fit, down
// to 4 points; what is longer is an error that says how wide the label must be.
func WriteLabels(w io.Writer, sheet Sheet, labels []Label, made time.Time) error {
	if err := sheet.Validate(); err != nil {
		return err
	}
	if len(labels) == 0 {
		return errors.New("no labels to print: choose at least one coil")
	}
	d := newDocument("Labels", sheet.PaperWidthMM, sheet.PaperHeightMM, 0, made)
	columns, places := sheet.Columns(), sheet.Columns()*sheet.Rows()
	for k, l := range labels {
		at := (k + sheet.Skip) % places
		if k == 0 || at == 0 {
			d.pdf.AddPage()
		}
		x := sheet.LeftMM + float64(at%columns)*(sheet.LabelWidthMM+sheet.AcrossMM)
		y := sheet.TopMM + float64(at/columns)*(sheet.LabelHeightMM+sheet.DownMM)
		if err := d.label(x, y, sheet, l); err != nil {
			return fmt.Errorf("label of %s: %w", l.Serial, err)
		}
	}
	return d.write(w)
}

const (
	labelPaddingMM = 1.2
	// Most office printers leave the edge of a sheet white (common practice, no
	// source); rolls of single labels are printed to the edge.
	unprintableMM  = 5.0
	minModuleMM    = 1.0 / 3
	minLabelPoints = 4.0
)

// label draws one label with its corner at x, y.
func (d *document) label(x, y float64, sheet Sheet, l Label) error {
	x, width := within(x, sheet.LabelWidthMM, sheet.PaperWidthMM)
	y, height := within(y, sheet.LabelHeightMM, sheet.PaperHeightMM)
	whole := width
	// The code may have the height of the label and two fifths of its width; its
	// border is part of it.
	if size := min(height, 0.4*width); size/float64(l.code.side()) >= minModuleMM {
		l.code.draw(d.pdf, x+width-size, y+(height-size)/2, size)
		width -= size + 0.5
	}
	lines, tight := fitting(width, height, l.lines())
	if tight == nil {
		// What to do before anybody measures stands where there is room for it.
		if more, tight := fitting(width, height, append(l.lines(), labelLine{style{points: 0.7, soft: true}, beforeMeasuring})); tight == nil {
			lines = more
		}
	} else {
		wider := whole - width + 2*labelPaddingMM + typeface.Width(tight.text, tight.style.bold, minLabelPoints*mmPerPoint)
		if sheet.LabelWidthMM < sheet.PaperWidthMM { // it may come to stand at the edge of the sheet
			wider += unprintableMM - labelPaddingMM
		}
		return fmt.Errorf("%w: %q does not fit on %g × %g mm; the label must be %.0f mm wide or more",
			ErrSheet, tight.text, sheet.LabelWidthMM, sheet.LabelHeightMM, math.Ceil(wider))
	}
	y += (height - total(lines)) / 2
	for _, line := range lines {
		y = d.line(x, y, line.style, line.text)
	}
	return d.err
}

// within is what can be printed on of a label from a place on, along one side of
// the paper: not the edge of the label, and not that of a sheet.
func within(from, label, paper float64) (start, length float64) {
	edge := 0.0
	if label < paper-0.01 {
		edge = unprintableMM
	}
	start = max(from+labelPaddingMM, edge)
	return start, min(from+label-labelPaddingMM, paper-edge) - start
}

type labelLine struct {
	style style
	text  string
}

// beforeMeasuring is what whoever holds the label should do first.
const beforeMeasuring = "unplug before measuring"

// lines are the lines of a label, their sizes relative.
func (l Label) lines() []labelLine {
	return []labelLine{
		{style{points: 1.3, bold: true}, l.Serial},
		{style{points: 1.1}, l.R20},
		{style{points: 0.85, soft: true}, strings.TrimSpace(l.Design + "  " + l.Date)},
	}
}

// fitting gives lines their sizes in points: as large as the room allows, at most 14.
// tight is a line that would have to be smaller than can be read; nil when none is.
func fitting(width, height float64, lines []labelLine) (fitted []labelLine, tight *labelLine) {
	scale := min(height/total(lines), 14)
	for k, line := range lines {
		natural := typeface.Width(line.text, line.style.bold, line.style.points*scale*mmPerPoint)
		lines[k].style.points *= scale * min(1, width/natural)
		if lines[k].style.points < minLabelPoints {
			return nil, &lines[k]
		}
	}
	return lines, nil
}

// total is how high lines stand together.
func total(lines []labelLine) (height float64) {
	for _, line := range lines {
		height += line.style.leading()
	}
	return height
}
