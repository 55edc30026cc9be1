package report

import (
	"bytes"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/drift"
	"coilkeep/internal/pdftest"
)

func TestDriftReport(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(1, 2))
	var coils []drift.Coil
	for i := range 60 {
		c := drift.Coil{Sequence: i + 1, R20Ohms: 6690 + 15*random.NormFloat64(), Spool: "S-17"}
		if i >= 30 {
			c.R20Ohms, c.Spool = c.R20Ohms+80, "S-18"
		}
		coils = append(coils, c)
	}
	found, err := drift.Analyse(coils, drift.Options{TargetOhms: 6690, LowerOhms: 6490, UpperOhms: 6890, BaselineCount: 25})
	if err != nil {
		t.Fatal(err)
	}
	d, err := NewDrift("Batch spring-3", found)
	if err != nil {
		t.Fatal(err)
	}
	if len(d.Pictures) != 5 {
		t.Errorf("%d pictures, want the run and four charts", len(d.Pictures))
	}
	d.Workshop, d.Made = Workshop{Name: "Heron Lane Coils", Contact: "heron.example"}, time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC)
	var b bytes.Buffer
	if err := d.WritePDF(&b); err != nil {
		t.Fatal(err)
	}
	pages := pdftest.Pages(t, b.Bytes())
	first := strings.Join(pages[0], " ")
	for _, want := range []string{"Heron Lane Coils", "heron.example", "Batch spring-3", "From coil 31", "change to spool S-18",
		"What it rests on", "Control limits", "issued 2026-03-14 · page 1 of 2"} {
		if !strings.Contains(first, want) {
			t.Errorf("the first page lacks %q: %s", want, first)
		}
	}
	if all := strings.Join(pages[len(pages)-1], " "); len(pages) < 2 ||
		!strings.Contains(all, "the trend is that of the coils since the last change") {
		t.Errorf("%d pages, the last: %s", len(pages), all)
	}
	d.Heading = "Batch \U0001F9F5"
	if err := d.WritePDF(&b); err == nil {
		t.Error("a letter without a shape in the font passed")
	}
}
