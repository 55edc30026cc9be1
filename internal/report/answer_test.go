package report_test

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"coilkeep/internal/chart"
	"coilkeep/internal/compare"
	"coilkeep/internal/pdftest"
	"coilkeep/internal/report"
	"coilkeep/internal/typeface"
	"coilkeep/internal/words"
)

// complaint is about coil HN-0042, read as so many ohms, in steps of 10.
func complaint(t testing.TB, ohms float64, change ...func(*compare.Input)) report.Complaint {
	t.Helper()
	m := measure(t, "HN-0042", 6690)
	in := compare.Input{Seed: 1,
		Ours: compare.Record{Serial: m.Serial, R20Ohms: m.R20Ohms, ExpandedUncertaintyOhms: m.ExpandedUncertaintyOhms, Turns: 7600,
			Measured: &m.Inputs},
		Theirs: []compare.Reading{{Ohms: ohms, ResolutionOhms: 10}}}
	for _, c := range change {
		c(&in)
	}
	result, err := compare.Compare(in)
	if err != nil {
		t.Fatal(err)
	}
	return report.Complaint{Workshop: maker, Input: in, Result: result, Issued: issuedAt, Zone: zone}
}

func answerPDF(t testing.TB, c report.Complaint) []byte {
	t.Helper()
	a, err := report.NewAnswer(c)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := a.WritePDF(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestAnswerIsOnePage(t *testing.T) {
	t.Parallel()
	unit := regexp.MustCompile(`^([kMG]?Ω|°C|K|%)[.,;:)]*( |$)`)
	jack := func(in *compare.Input) {
		in.Theirs[0].Clips, in.Theirs[0].ControlOhms, in.Theirs[0].TemperatureCelsius = compare.Jack, new(500e3), new(21.0)
	}
	several := func(in *compare.Input) {
		in.Theirs = append(in.Theirs, compare.Reading{Ohms: 6630, ResolutionOhms: 10, TemperatureCelsius: new(21.0), Clips: compare.Leads})
	}
	typed := func(in *compare.Input) {
		in.Ours = compare.Record{R20Ohms: 6690, ExpandedUncertaintyOhms: 13}
	}
	for name, c := range map[string]report.Complaint{
		"cold": complaint(t, 6280), "agrees": complaint(t, 6700), "shorted": complaint(t, 5300), "megohm": complaint(t, 2e6),
		"jack": complaint(t, 6550, jack), "several": complaint(t, 6280, several), "typed": complaint(t, 6280, typed),
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			pages := pdftest.Pages(t, answerPDF(t, c))
			if len(pages) != 1 {
				t.Fatalf("%d pages, want 1", len(pages))
			}
			for _, line := range pages[0] {
				if unit.MatchString(line) {
					t.Errorf("a line begins with a unit: %q", line)
				}
			}
			text := strings.Join(strings.Fields(strings.Join(pages[0], " ")), " ")
			for _, want := range []string{"Kettle Lane Coils", "Thank you for measuring", "Valve amplifiers hold dangerous voltage",
				"Unplug the instrument",
				"20 °C", "40 °C", "temperature of the coil", "2026-03-20", fmt.Sprintf("formula %d", compare.Formula)} {
				if !strings.Contains(text, want) {
					t.Errorf("does not say %q:\n%s", want, text)
				}
			}
			if c.Input.Ours.Serial != "" && !strings.Contains(text, "coil HN-0042") {
				t.Error("does not name the coil")
			}
		})
	}
}

// The letter is the one that was edited, whatever its length.
func TestAnswerLetter(t *testing.T) {
	t.Parallel()
	c := complaint(t, 6280)
	c.Letter = "Dear Ida,\n\nit was cold that day."
	text := strings.Join(pdftest.Pages(t, answerPDF(t, c))[0], "\n")
	if !strings.Contains(text, "it was cold that day.") || strings.Contains(text, "Thank you for measuring") {
		t.Errorf("the letter is not the edited one:\n%s", text)
	}
	c.Letter = strings.Repeat("All of this was said before.\n", 200)
	pages := pdftest.Pages(t, answerPDF(t, c))
	if said := strings.Count(strings.Join(pages[0], "\n")+strings.Join(pages[1], "\n")+strings.Join(pages[len(pages)-1], "\n"),
		"said before"); len(pages) < 2 || said < 100 {
		t.Errorf("a long letter: %d pages", len(pages))
	}
	c.Letter = strings.Repeat("x", 8001)
	if _, err := report.NewAnswer(c); !errors.Is(err, report.ErrNoAnswer) {
		t.Errorf("a letter of 8001 characters: %v, want ErrNoAnswer", err)
	}
	c.Letter, c.Result = "", compare.Result{}
	if _, err := report.NewAnswer(c); !errors.Is(err, report.ErrNoAnswer) {
		t.Errorf("no result: %v, want ErrNoAnswer", err)
	}
}

// The table is that of the comparison, in the steps of the expected range, as on
// the page; its title fits its column, at the jack too.
func TestAnswerTable(t *testing.T) {
	t.Parallel()
	c := complaint(t, 6280)
	a, err := report.NewAnswer(c)
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Table) != len(c.Result.Table) {
		t.Fatalf("%d rows, want %d", len(a.Table), len(c.Result.Table))
	}
	for i, row := range c.Result.Table {
		ohms := func(v float64) string { return words.OhmsToStep(v, c.Result.StepOhms()) }
		want := report.AnswerRow{Temperature: words.CelsiusToStep(row.Celsius, 1), Value: ohms(row.Ohms),
			Range: strings.TrimSuffix(ohms(row.LowOhms), " kΩ") + " to " + strings.TrimSuffix(ohms(row.HighOhms), " kΩ")}
		if a.Table[i] != want {
			t.Errorf("row %+v, want %+v", a.Table[i], want)
		}
	}
	if want := words.OhmsToStep(c.Result.ExpectedLowOhms, c.Result.StepOhms()); !strings.HasPrefix(a.Facts[2].Value, want+" to ") {
		t.Errorf("expected %q, want it from %s", a.Facts[2].Value, want)
	}
	atJack, err := report.NewAnswer(complaint(t, 6280, func(in *compare.Input) { in.Theirs[0].Clips = compare.Jack }))
	if err != nil {
		t.Fatal(err)
	}
	// A4 with margins of 18 mm, the picture and a gap of 6 mm taken off.
	column := 210 - 2*18 - atJack.Picture.Width*25.4/96 - 6
	if width := typeface.Width(atJack.TableTitle, true, 9*25.4/72); width > column {
		t.Errorf("the title of the table is %.1f mm wide, its column %.1f", width, column)
	}
}

// A typed record has the same band in the picture as it has uncertainty.
func TestPictureOfTypedRecord(t *testing.T) {
	t.Parallel()
	c := complaint(t, 6280, func(in *compare.Input) { in.Ours = compare.Record{R20Ohms: 6690, ExpandedUncertaintyOhms: 13} })
	p, err := report.PictureOf(chart.View{}, c.Input, c.Result)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(p.Description, "6.690 ± 0.013 kΩ at 20.0 °C") {
		t.Errorf("the picture says %q", p.Description)
	}
}

// Every reading of a buyer is in the picture.
func TestPictureOfSeveral(t *testing.T) {
	t.Parallel()
	c := complaint(t, 6280, func(in *compare.Input) {
		in.Theirs = append(in.Theirs, compare.Reading{Ohms: 6630, ResolutionOhms: 10, TemperatureCelsius: new(21.0)})
	})
	p, err := report.PictureOf(chart.View{}, c.Input, c.Result)
	if err != nil || !strings.Contains(p.Description, "theirs: 6.28") || !strings.Contains(p.Description, "theirs: 6.63") {
		t.Errorf("the picture says %q, %v", p.Description, err)
	}
}

// A reading through a control of 500 kΩ is shown as what the coil must have had:
// 1/(1/6590 − 1/500000) = 6678 Ω.
func TestPictureThroughControl(t *testing.T) {
	t.Parallel()
	c := complaint(t, 6590, func(in *compare.Input) {
		in.Theirs[0].Clips, in.Theirs[0].ControlOhms, in.Theirs[0].TemperatureCelsius = compare.Jack, new(500e3), new(21.0)
		in.Theirs[0].ControlTolerancePercent, in.Theirs[0].CableOhms, in.Theirs[0].ControlFull = new(0.0), new(0.0), true
	})
	p, err := report.PictureOf(chart.View{}, c.Input, c.Result)
	if err != nil || !strings.Contains(p.Description, "theirs: 6.678 ±") {
		t.Errorf("the picture says %q, %v", p.Description, err)
	}
}
