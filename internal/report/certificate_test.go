package report_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"os"
	"slices"
	"strings"
	"testing"

	"coilkeep/internal/pdftest"
	"coilkeep/internal/published"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
	"coilkeep/internal/report"
	"coilkeep/internal/typeface"
	"coilkeep/internal/workshop"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// golden compares got with a file under testdata.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := "testdata/" + name
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs; run with -update and read the diff. Got:\n%s", path, got)
	}
}

func html(t testing.TB, c *report.Certificate) string {
	t.Helper()
	var b bytes.Buffer
	if err := c.WriteHTML(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func pages(t testing.TB, write func(io.Writer) error) [][]string {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	return pdftest.Pages(t, b.Bytes())
}

// The words of a certificate, line by line as they stand in the PDF.
func TestCertificateWords(t *testing.T) {
	t.Parallel()
	for name, s := range map[string]report.Subject{"coil": subject(t), "assembly": assembly(t)} {
		var all strings.Builder
		for _, page := range pages(t, certificate(t, s).WritePDF) {
			all.WriteString(strings.Join(page, "\n") + "\n\f\n")
		}
		golden(t, "certificate_"+name+".txt", all.String())
	}
}

func TestCertificateSaysWhatTheRecordSays(t *testing.T) {
	t.Parallel()
	c := certificate(t, subject(t))
	page := html(t, c)
	pdf := slices.Concat(pages(t, c.WritePDF)...)
	for _, want := range []string{
		"HN-0042", "6.690 ± 0.018 kΩ", "in tolerance", "Harbour, revision 2",
		"6.7531 kΩ at 22.40 °C, mean of 8 readings", "2026-03-15 00:30 CET", "no room for doubt",
	} {
		present := want != "no room for doubt"
		if got := strings.Contains(page, want); got != present {
			t.Errorf("the page holds %q: %t, want %t", want, got, present)
		}
		if got := slices.Contains(pdf, want); got != present {
			t.Errorf("the PDF holds %q: %t, want %t", want, got, present)
		}
	}
}

func TestCertificateTellsTheCircumstances(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		change func(*report.Subject)
		want   string
	}{
		{"forced", func(s *report.Subject) {
			s.Measurement.Status, s.Measurement.Reason = record.Forced, "courier at the door"
		}, "Recorded because the operator insisted: courier at the door."},
		{"typed", func(s *report.Subject) { s.Measurement.Status = record.Manual }, "typed in by hand"},
		{"told as a whole", func(s *report.Subject) {
			in := &s.Measurement.Inputs
			*in = r20.Inputs{ResistanceOhms: in.ResistanceOhms, Readings: 1, TemperatureCelsius: in.TemperatureCelsius,
				AlphaPerKelvin: in.AlphaPerKelvin, ToldExpandedUncertaintyOhms: s.Measurement.ExpandedUncertaintyOhms,
				ToldCoverageFactor: s.Measurement.CoverageFactor}
		}, "Wickfield,M6,0117,2.0; accuracy not told; calibrated"},
		{"copper estimated", func(s *report.Subject) {
			in := &s.Measurement.Inputs
			in.CopperExcessKelvin, in.CopperExcessUncertaintyKelvin, in.CopperExcessOrigin = -0.2, 0.25, "31 readings over 6 s"
			again, err := r20.Evaluate(*in)
			if err != nil {
				panic(err)
			}
			s.Measurement.R20Ohms, s.Measurement.ExpandedUncertaintyOhms, s.Measurement.CoverageFactor = again.R20Ohms,
				again.ExpandedUncertaintyOhms, again.CoverageFactor
		}, "estimated −0.2 K ± 0.5 K warmer, 95 % coverage; from 31 readings over 6 s"},
		{"leads not measured", func(*report.Subject) {}, "0.3 Ω), its leads not measured; calibrated"},
		{"leads measured", func(s *report.Subject) { s.Measurement.Inputs.LeadHalfWidthOhms = 1e-6 }, "0.3 Ω); calibrated"},
		{"no calibration", func(s *report.Subject) { s.Meter = nil }, "no calibration recorded"},
		{"overdue", func(*report.Subject) {}, "overdue since 2025-03-15 when the coil was measured"},
		{"simple acceptance", func(s *report.Subject) { s.Measurement.Tolerance.GuardFactor = 0 }, "Simple acceptance (JCGM 106:2012, 8.2)"},
		{"guarded", func(*report.Subject) {}, "guard band of 0.5 of the expanded uncertainty, here 8.9 Ω"},
		{"too high", func(s *report.Subject) { s.Measurement = measure(t, "HN-9", 7100) }, "too high"},
		{"doubtful", func(s *report.Subject) { s.Measurement = measure(t, "HN-9", 6900) }, "undecided"},
		{"no design", func(s *report.Subject) {
			s.Design, s.Measurement.Verdict, s.Measurement.Design, s.Measurement.DesignRevision = nil, "", "", 0
		}, "not judged"},
		{"names with markup", func(s *report.Subject) { s.Workshop.Name = `<b>Kettle & "Lane"</b>` },
			"&lt;b&gt;Kettle &amp; &#34;Lane&#34;&lt;/b&gt;"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := subject(t)
			c.change(&s)
			if page := html(t, certificate(t, s)); !strings.Contains(page, c.want) {
				t.Errorf("no %q in\n%s", c.want, page)
			}
		})
	}
}

func TestNoCertificateFor(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		change func(*report.Subject)
		want   string
	}{
		{"a void measurement", func(s *report.Subject) { s.Measurement.Status, s.Measurement.Reason = record.Void, "clip slipped" },
			"it is void (clip slipped)"},
		{"a replaced one", func(s *report.Subject) { s.Measurement.Status = record.Superseded }, "it is superseded"},
		{"an unknown status", func(s *report.Subject) { s.Measurement.Status = "" }, `its status is ""`},
		{"no serial number", func(s *report.Subject) { s.Measurement.Serial = "" }, "without a serial number"},
		{"a number that does not follow", func(s *report.Subject) { s.Measurement.R20Ohms += 1 }, "the record says 6.691"},
		{"an uncertainty that does not follow", func(s *report.Subject) { s.Measurement.ExpandedUncertaintyOhms /= 2 }, "verify the history"},
		{"a verdict that does not follow", func(s *report.Subject) { s.Measurement.Verdict = "high" },
			"say in tolerance, but the record says too high"},
		{"inputs left out", func(s *report.Subject) { s.Measurement.Inputs.ResistanceOhms = 0 }, "its inputs give no result"},
		{"a tolerance left out", func(s *report.Subject) { s.Measurement.Tolerance.UpperOhms = 0 }, "it has a verdict, but"},
		{"another revision", func(s *report.Subject) { s.Design.Revision = 3 }, "not by Harbour revision 3"},
		{"a date before the measurement", func(s *report.Subject) { s.Issued = measuredAt.AddDate(0, 0, -2) }, "before the coil was measured"},
		{"a later calibration", func(s *report.Subject) { s.Meter.Time = measuredAt.AddDate(0, 0, 1) }, "after the coil was measured"},
		{"the calibration of another bench", func(s *report.Subject) { s.Meter.Bench = "south" }, "of bench south"},
		{"calibrations mixed up", func(s *report.Subject) { s.Meter, s.Probe = s.Probe, s.Meter }, "is of the"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := subject(t)
			c.change(&s)
			got, err := report.NewCertificate(s)
			if got != nil || !errors.Is(err, workshop.ErrNoDocument) || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, %v; want no certificate, ErrNoDocument and %q", got != nil, err, c.want)
			}
		})
	}
}

func TestNoCertificateForAnAssembly(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		change func(*workshop.CertifiedAssembly)
		want   string
	}{
		{"whose parts do not add up", func(a *workshop.CertifiedAssembly) {
			m := measure(t, "PAIR-7", 13300)
			a.Together = &m
		}, "its parts add up to 13.170 ± 0.035 kΩ, but together they measure 13.300 ± 0.035 kΩ"},
		{"whose second part is void", func(a *workshop.CertifiedAssembly) { a.Second.Status = record.Void }, "HN-0043"},
		{"of one coil twice", func(a *workshop.CertifiedAssembly) { a.Second.Serial = "HN-0042" }, "both parts"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := assembly(t)
			c.change(s.Assembly)
			got, err := report.NewCertificate(s)
			if got != nil || !errors.Is(err, workshop.ErrNoDocument) || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, %v; want no certificate, ErrNoDocument and %q", got != nil, err, c.want)
			}
		})
	}
}

// The fragment is well-formed and takes a strict Content-Security-Policy.
func TestHTMLIsFitForAPage(t *testing.T) {
	t.Parallel()
	d := xml.NewDecoder(strings.NewReader(html(t, certificate(t, assembly(t)))))
	elements := 0
	for {
		token, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		e, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		elements++
		if e.Name.Local == "style" || e.Name.Local == "script" {
			t.Errorf("element %s", e.Name.Local)
		}
		for _, a := range e.Attr {
			if a.Name.Local == "style" || strings.HasPrefix(a.Name.Local, "on") {
				t.Errorf("attribute %s of %s", a.Name.Local, e.Name.Local)
			}
		}
	}
	if elements < 100 {
		t.Errorf("%d elements, want a whole certificate", elements)
	}
}

func TestCertificateRefusesLettersItCannotPrint(t *testing.T) {
	t.Parallel()
	s := subject(t)
	s.Workshop.Name = "工房"
	c := certificate(t, s)
	var missing *typeface.MissingError
	if err := c.WritePDF(io.Discard); !errors.As(err, &missing) {
		t.Errorf("PDF: %v, want a MissingError", err)
	}
	if page := html(t, c); !strings.Contains(page, "工房") {
		t.Error("the page lacks the name")
	}
}

func TestCertificateKeepsOnThePaper(t *testing.T) {
	t.Parallel()
	s := subject(t)
	s.Workshop.Contact = strings.Repeat("a very long address without an end ", 20)
	s.Measurement.Meter = strings.Repeat("W", 400)
	s.Measurement.Notes = slices.Repeat([]string{"A note that somebody wrote about this coil, longer than one line of the page would " +
		"hold, so that it is broken."}, 90)
	var b bytes.Buffer
	if err := certificate(t, s).WritePDF(&b); err != nil {
		t.Fatal(err)
	}
	got := pdftest.Pieces(t, b.Bytes())
	if len(got) < 4 {
		t.Errorf("%d pages for 90 notes, want more than 3", len(got))
	}
	// Margins of 18 mm at the sides, 10 at the foot, 18 at the head.
	const mm = 25.4 / 72
	for n, page := range got {
		for _, p := range page {
			x, y := p.X*mm, p.Y*mm
			end := x + typeface.Width(p.Text, false, p.Size*mm)
			if x < 17.9 || end > 192.1 || y < 8 || y > 297-18 {
				t.Errorf("page %d: %q stands from %.1f to %.1f mm, %.1f mm up", n+1, p.Text, x, end, y)
			}
		}
	}
}

// testdata/networks/meters.csv: ±(0.8 % + 2 digits) at 8.00 kΩ is ±84 Ω.
func TestHandheldMeter(t *testing.T) {
	t.Parallel()
	for _, row := range published.Table(t, "networks/meters.csv") {
		s := subject(t)
		s.Measurement = measure(t, "HN-1", row.Number("reading_ohms"))
		want := "up to " + row.Text("half_width_ohms") + " Ω high or low"
		if page := html(t, certificate(t, s)); !strings.Contains(page, want) {
			t.Errorf("%s: no %q on the certificate", row.Text("id"), want)
		}
	}
}

func TestCertificateIsRepeatable(t *testing.T) {
	t.Parallel()
	var a, b bytes.Buffer
	for _, w := range []io.Writer{&a, &b} {
		if err := certificate(t, subject(t)).WritePDF(w); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("the same certificate gives two files")
	}
}

func BenchmarkCertificatePDF(b *testing.B) {
	s := subject(b)
	for b.Loop() {
		if err := certificate(b, s).WritePDF(io.Discard); err != nil {
			b.Fatal(err)
		}
	}
}

// Whoever reads what a meter should show has read before what to disconnect.
func TestCautionsComeFirst(t *testing.T) {
	t.Parallel()
	for name, s := range map[string]report.Subject{"coil": subject(t), "assembly": assembly(t)} {
		c := certificate(t, s)
		var paper strings.Builder
		for _, page := range pages(t, c.WritePDF) {
			paper.WriteString(strings.Join(page, "\n"))
		}
		for form, text := range map[string]string{"page": html(t, c), "paper": paper.String()} {
			at := -1
			for _, want := range []string{"Before anybody measures", "Unplug the instrument from the amplifier", "Local codes",
				"What a meter should read"} {
				next := strings.Index(text, want)
				if next <= at {
					t.Errorf("%s of %s: %q is missing or not in its place", form, name, want)
				}
				at = next
			}
		}
	}
}
