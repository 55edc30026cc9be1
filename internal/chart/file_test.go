package chart_test

import (
	"bytes"
	"errors"
	"io"
	"slices"
	"testing"

	"coilkeep/internal/chart"
	"coilkeep/internal/pdftest"
	"coilkeep/internal/typeface"
)

func TestPDFHoldsTheWords(t *testing.T) {
	t.Parallel()
	p, err := comparison().Picture()
	must(t, p, err)
	var b bytes.Buffer
	if err := p.WritePDF(&b, dayOne); err != nil {
		t.Fatal(err)
	}
	got := pdftest.Pages(t, b.Bytes())[0]
	for _, want := range []string{"HN-0007 against another meter", "resistance (kΩ)", "temperature of the coil (°C)", "7.0"} {
		if !slices.Contains(got, want) {
			t.Errorf("no %q in %q", want, got)
		}
	}
	// 620 × 360 pixels at 96 to the inch, in points.
	if w, h := pdftest.Size(t, b.Bytes()); w != 465 || h != 270 {
		t.Errorf("page of %g × %g points, want 465 × 270", w, h)
	}
}

func TestFilesRefuse(t *testing.T) {
	t.Parallel()
	run := batch(t)
	run.Title = "工房"
	p, err := run.Picture()
	must(t, p, err)
	var missing *typeface.MissingError
	if err := p.WritePDF(io.Discard, dayOne); !errors.As(err, &missing) {
		t.Errorf("PDF with an ideograph: %v, want a MissingError", err)
	}
	if err := p.WriteSVG(io.Discard); err != nil {
		t.Errorf("SVG with an ideograph: %v, want it written", err)
	}
	for name, write := range map[string]func(io.Writer) error{
		"SVG": p.WriteSVG,
		"PDF": func(w io.Writer) error { return scalePicture(t).WritePDF(w, dayOne) },
	} {
		if err := write(full{}); !errors.Is(err, errFull) {
			t.Errorf("%s on a full disk: %v, want the disk's error", name, err)
		}
	}
}

func scalePicture(t testing.TB) *chart.Picture {
	p, err := scale(t).Picture()
	return must(t, p, err)
}

var errFull = errors.New("no space left")

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errFull }
