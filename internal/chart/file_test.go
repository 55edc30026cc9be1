package chart_test

import (
	"bytes"
	"errors"
	"image/png"
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

func TestPNGHasTheSizeAndTheInks(t *testing.T) {
	t.Parallel()
	p, err := scale(t).Picture()
	must(t, p, err)
	var b bytes.Buffer
	if err := p.WritePNG(&b, 2); err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	if got := img.Bounds().Size(); got.X != 840 || got.Y != 148 {
		t.Errorf("size %v, want 840 × 148", got)
	}
	// 6690 Ω on a scale from 6298 to 7102 Ω that is 808 dots long: dot 394.
	r, g, bl, _ := img.At(16+394, 60).RGBA()
	if r>>8 > 0x40 || bl>>8 < 0x60 || g>>8 < 0x40 {
		t.Errorf("colour %02x%02x%02x where the value stands, want the blue of what is in tolerance", r>>8, g>>8, bl>>8)
	}
}

func TestFilesRefuse(t *testing.T) {
	t.Parallel()
	run := batch(t)
	run.Title = "工房"
	p, err := run.Picture()
	must(t, p, err)
	var missing *typeface.MissingError
	if err := p.WritePNG(io.Discard, 1); !errors.As(err, &missing) {
		t.Errorf("PNG with an ideograph: %v, want a MissingError", err)
	}
	if err := p.WritePDF(io.Discard, dayOne); !errors.As(err, &missing) {
		t.Errorf("PDF with an ideograph: %v, want a MissingError", err)
	}
	if err := p.WriteSVG(io.Discard); err != nil {
		t.Errorf("SVG with an ideograph: %v, want it written", err)
	}
	for _, scale := range []float64{0, -1, 99} {
		if err := p.WritePNG(io.Discard, scale); err == nil {
			t.Errorf("scale %g was taken", scale)
		}
	}
	for name, write := range map[string]func(io.Writer) error{
		"SVG": p.WriteSVG,
		"PNG": func(w io.Writer) error { return must(t, scalePicture(t), nil).WritePNG(w, 1) },
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
