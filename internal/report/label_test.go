package report_test

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"io"
	"slices"
	"strings"
	"testing"

	qr "github.com/piglig/go-qr"

	"coilkeep/internal/pdftest"
	"coilkeep/internal/record"
	"coilkeep/internal/report"
	"coilkeep/internal/typeface"
	"coilkeep/internal/workshop"
)

func labels(t testing.TB, n int) []report.Label {
	t.Helper()
	var all []report.Label
	for k := range n {
		l, err := report.NewLabel(measure(t, fmt.Sprintf("HN-%04d", k+1), 6600+float64(k)), zone)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, l)
	}
	return all
}

func TestLabelsFillTheSheets(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		sheet report.Sheet
		n     int
		pages []int // labels on each
		lines int   // on a label: four where there is room to say what to do first
	}{
		{"A4 in 4 by 10", report.A4Sheet(52.5, 29.7), 41, []int{40, 1}, 4},
		{"begun sheet", begun(report.A4Sheet(52.5, 29.7), 38), 5, []int{2, 3}, 4},
		{"letter in 3 by 11", report.LetterSheet(70, 25.4), 33, []int{33}, 4},
		{"roll", report.Sheet{PaperWidthMM: 50, PaperHeightMM: 25, LabelWidthMM: 50, LabelHeightMM: 25}, 3, []int{1, 1, 1}, 4},
		{"small", report.Sheet{PaperWidthMM: 25, PaperHeightMM: 10, LabelWidthMM: 25, LabelHeightMM: 10}, 1, []int{1}, 3},
		{"with gaps", report.Sheet{PaperWidthMM: 210, PaperHeightMM: 297, LabelWidthMM: 38, LabelHeightMM: 21.2, LeftMM: 8, TopMM: 10,
			AcrossMM: 2.5}, 66, []int{65, 1}, 4},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got := pages(t, func(w io.Writer) error { return report.WriteLabels(w, c.sheet, labels(t, c.n), issuedAt) })
			if len(got) != len(c.pages) {
				t.Fatalf("%d pages, want %d", len(got), len(c.pages))
			}
			next := 1
			for p, page := range got {
				if len(page) != c.lines*c.pages[p] {
					t.Errorf("page %d holds %d lines, want %d on each of %d labels", p+1, len(page), c.lines, c.pages[p])
				}
				for range c.pages[p] {
					if serial := fmt.Sprintf("HN-%04d", next); !slices.Contains(page, serial) {
						t.Errorf("page %d lacks %s", p+1, serial)
					}
					next++
				}
			}
		})
	}
}

func begun(s report.Sheet, skip int) report.Sheet { s.Skip = skip; return s }

func TestLabelWords(t *testing.T) {
	t.Parallel()
	got := pages(t, func(w io.Writer) error { return report.WriteLabels(w, report.A4Sheet(50, 25), labels(t, 1), issuedAt) })[0]
	want := []string{"HN-0001", "R20 6.600 ± 0.018 kΩ", "Harbour  2026-03-15", "unplug before measuring"}
	if !slices.Equal(got, want) {
		t.Errorf("label says %q, want %q", got, want)
	}
}

// Every line of every label lies on its label.
func TestLabelsStandInTheirPlaces(t *testing.T) {
	t.Parallel()
	sheet := report.Sheet{PaperWidthMM: 210, PaperHeightMM: 297, LabelWidthMM: 38, LabelHeightMM: 21.2, LeftMM: 8, TopMM: 10, AcrossMM: 2.5,
		DownMM: 1, Skip: 3}
	var b bytes.Buffer
	if err := report.WriteLabels(&b, sheet, labels(t, 20), issuedAt); err != nil {
		t.Fatal(err)
	}
	const mm = 25.4 / 72
	for k, p := range pdftest.Pieces(t, b.Bytes())[0] {
		place := k/4 + sheet.Skip
		left := sheet.LeftMM + float64(place%5)*(sheet.LabelWidthMM+sheet.AcrossMM)
		top := sheet.TopMM + float64(place/5)*(sheet.LabelHeightMM+sheet.DownMM)
		x, y := p.X*mm, sheet.PaperHeightMM-p.Y*mm
		end := x + typeface.Width(p.Text, k%4 == 0, p.Size*mm)
		if x < left || end > left+sheet.LabelWidthMM || y-p.Size*mm < top || y > top+sheet.LabelHeightMM {
			t.Errorf("%q stands from %.1f to %.1f mm, %.1f mm down; its label from %.1f, %.1f mm down", p.Text, x, end, y, left, top)
		}
	}
}

// Nothing stands where a printer cannot print: a sheet that is labels to its very
// edge has them inset there, and a roll does not.
func TestLabelsKeepOffTheEdge(t *testing.T) {
	t.Parallel()
	sheet := report.A4Sheet(52.5, 29.7)
	var b bytes.Buffer
	if err := report.WriteLabels(&b, sheet, labels(t, 40), issuedAt); err != nil {
		t.Fatal(err)
	}
	const mm, least = 25.4 / 72, 4.99
	for k, p := range pdftest.Pieces(t, b.Bytes())[0] {
		x, y := p.X*mm, sheet.PaperHeightMM-p.Y*mm
		end := x + typeface.Width(p.Text, k%4 == 0, p.Size*mm)
		if x < least || end > 210-least || y-p.Size*mm < least || y > 297-least {
			t.Errorf("%q stands from %.1f to %.1f mm, %.1f mm down, where a printer may leave the sheet white", p.Text, x, end, y)
		}
	}
	b.Reset()
	roll := report.Sheet{PaperWidthMM: 50, PaperHeightMM: 25, LabelWidthMM: 50, LabelHeightMM: 25}
	if err := report.WriteLabels(&b, roll, labels(t, 1), issuedAt); err != nil {
		t.Fatal(err)
	}
	if x := pdftest.Pieces(t, b.Bytes())[0][0].X * mm; x > 1.3 {
		t.Errorf("on a roll the text begins %.1f mm from the edge, want 1.2", x)
	}
}

func TestLabelRefusals(t *testing.T) {
	t.Parallel()
	good := report.A4Sheet(50, 25)
	change := func(f func(*report.Sheet)) report.Sheet { s := good; f(&s); return s }
	for _, c := range []struct {
		name  string
		sheet report.Sheet
		want  string
	}{
		{"nothing told", report.Sheet{}, "width of the label must be 15"},
		{"label larger than paper", change(func(s *report.Sheet) { s.LabelWidthMM = 300 }), "width of the paper must be 300"},
		{"margin off the paper", change(func(s *report.Sheet) { s.TopMM = 280 }), "top margin"},
		{"too flat", change(func(s *report.Sheet) { s.LabelHeightMM = 5 }), "height of the label must be 10"},
		{"negative gap", change(func(s *report.Sheet) { s.AcrossMM = -1 }), "gap across"},
		{"all used up", begun(good, good.Columns()*good.Rows()), "can be used up, not 44"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			err := report.WriteLabels(io.Discard, c.sheet, labels(t, 1), issuedAt)
			if !errors.Is(err, report.ErrSheet) || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want ErrSheet and %q", err, c.want)
			}
		})
	}
	if err := report.WriteLabels(io.Discard, good, nil, issuedAt); err == nil || !strings.Contains(err.Error(), "choose at least one") {
		t.Errorf("no labels: got %v", err)
	}
	void := measure(t, "HN-1", 6690)
	void.Status = record.Void
	if _, err := report.NewLabel(void, zone); !errors.Is(err, workshop.ErrNoDocument) {
		t.Errorf("void measurement: got %v, want ErrNoDocument", err)
	}
}

// A serial number too long for a label names the width that it needs, and that
// width is enough.
func TestLabelTooNarrowSaysHowWide(t *testing.T) {
	t.Parallel()
	l, err := report.NewLabel(measure(t, "WORKSHOP-NORTH-2026-SPRING-0000000042", 6690), zone)
	if err != nil {
		t.Fatal(err)
	}
	err = report.WriteLabels(io.Discard, report.A4Sheet(20, 12), []report.Label{l}, issuedAt)
	if !errors.Is(err, report.ErrSheet) {
		t.Fatalf("got %v, want ErrSheet", err)
	}
	_, text, _ := strings.Cut(err.Error(), "the label must be ")
	var width float64
	if _, err := fmt.Sscan(text, &width); err != nil {
		t.Fatalf("no width in %q: %v", text, err)
	}
	if err := report.WriteLabels(io.Discard, report.A4Sheet(width, 12), []report.Label{l}, issuedAt); err != nil {
		t.Errorf("%g mm, as it said, is still refused: %v", width, err)
	}
}

// The code is drawn from the page's SVG into a picture, and read from that.
func TestQRCodeReadsBack(t *testing.T) {
	t.Parallel()
	c := certificate(t, subject(t))
	const want = "HN-0042 R20 6.690 +- 0.018 kohm 2026-03-15"
	if c.QRText != want {
		t.Errorf("the code is to say %q, want %q", c.QRText, want)
	}
	svg := string(c.QR())
	_, box, _ := strings.Cut(svg, `viewBox="0 0 `)
	var side int
	if _, err := fmt.Sscan(box, &side); err != nil {
		t.Fatal(err)
	}
	const dots = 8
	img := image.NewGray(image.Rect(0, 0, side*dots, side*dots))
	draw.Draw(img, img.Bounds(), image.White, image.Point{}, draw.Src)
	_, path, _ := strings.Cut(svg, `fill="#000" d="`)
	path, _, _ = strings.Cut(path, `"`)
	for _, run := range strings.Split(strings.Trim(path, "Mz"), "zM") {
		var x, y, length int
		if _, err := fmt.Sscanf(run, "%d %dh%d", &x, &y, &length); err != nil {
			t.Fatalf("run %q: %v", run, err)
		}
		if x < 4 || y < 4 || x+length > side-4 || y >= side-4 {
			t.Errorf("run %q reaches into the border of 4 modules (ISO/IEC 18004)", run)
		}
		draw.Draw(img, image.Rect(x*dots, y*dots, (x+length)*dots, (y+1)*dots), image.NewUniform(color.Black), image.Point{}, draw.Src)
	}
	got, err := qr.Decode(img)
	if err != nil {
		t.Fatal(err)
	}
	if got != want {
		t.Errorf("the code says %q, want %q", got, want)
	}
}

func TestLabelPaper(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	if err := report.WriteLabels(&b, report.LetterSheet(50, 25), labels(t, 1), issuedAt); err != nil {
		t.Fatal(err)
	}
	// Letter paper is 612 × 792 points.
	if w, h := pdftest.Size(t, b.Bytes()); w < 611.9 || w > 612.1 || h < 791.9 || h > 792.1 {
		t.Errorf("paper of %g × %g points, want 612 × 792", w, h)
	}
}
