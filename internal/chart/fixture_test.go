package chart_test

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/chart"
	"coilkeep/internal/conformity"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
)

// An invented design: 42 AWG, 6.7 kΩ within 3 %.
var design = record.Design{
	Name: "Harbour", Revision: 2, TargetOhms: 6700, LowerOhms: 6499, UpperOhms: 6901, GuardFactor: 0.5,
	GaugeAWG: 42, Turns: 7600, AlphaPerKelvin: 0.00393, AlphaStandardUncertaintyPerKelvin: 0.00005,
}

var dayOne = time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)

// inputs is what a meter and a probe give for a coil of some R20 at 22.4 °C.
func inputs(r20Ohms float64) r20.Inputs {
	return r20.Inputs{
		ResistanceOhms: r20Ohms * (1 + 0.00393*2.4), Readings: 8, StandardDeviationOhms: 0.2, ResolutionOhms: 0.1,
		MeterPercent: 0.05, MeterOhms: 0.3, TemperatureCelsius: 22.4, ProbeHalfWidthKelvin: 0.3,
		CoilDifferenceHalfWidthKelvin: 0.5, AlphaPerKelvin: 0.00393, AlphaStandardUncertaintyPerKelvin: 0.00005,
	}
}

func measurement(t testing.TB, sequence int, r20Ohms float64) record.Measurement {
	t.Helper()
	in := inputs(r20Ohms)
	result, err := r20.Evaluate(in)
	if err != nil {
		t.Fatal(err)
	}
	j, err := conformity.Judge(result.R20Ohms, result.StandardUncertaintyOhms, result.ExpandedUncertaintyOhms, design.Tolerance())
	if err != nil {
		t.Fatal(err)
	}
	return record.Measurement{
		ID: fmt.Sprintf("m%03d", sequence), Time: dayOne.Add(time.Duration(sequence) * 4 * time.Minute), Sequence: sequence,
		Serial: fmt.Sprintf("HN-%04d", sequence), Design: design.Name, DesignRevision: design.Revision,
		ResistanceOhms: in.ResistanceOhms, TemperatureCelsius: in.TemperatureCelsius, R20Ohms: result.R20Ohms,
		ExpandedUncertaintyOhms: result.ExpandedUncertaintyOhms, CoverageFactor: result.CoverageFactor,
		Verdict: j.Verdict, ConformityProbability: j.Probability, Status: record.Recorded,
		AlphaPerKelvin: in.AlphaPerKelvin, Formula: r20.Formula, Inputs: in, Tolerance: design.Tolerance(), CaptureSeconds: 6,
	}
}

// batch is a run of coils that wander upward, one of them void, one replaced,
// one too high, one undecided, one broken.
func batch(t testing.TB) chart.Run {
	t.Helper()
	run := chart.Run{
		Title:  "Batch SPRING-2",
		Design: &design,
		Spools: []record.SpoolMark{{FromSequence: 1, Spool: "7A"}, {FromSequence: 15, Spool: "7B"}},
		Limits: &chart.Limits{CentreOhms: 6690, LowerOhms: 6590, UpperOhms: 6790},
	}
	for k := 1; k <= 30; k++ {
		ohms := 6660 + 3*float64(k) + 40*math.Sin(float64(k*k))
		switch k {
		case 9:
			ohms = 6985
		case 18:
			ohms = 6895
		case 22:
			ohms = 13420
		}
		m := measurement(t, k, ohms)
		m.Time = dayOne.Add(time.Duration(k) * 4 * time.Minute)
		run.Measurements = append(run.Measurements, m)
	}
	run.Measurements[4].Status, run.Measurements[4].Reason = record.Void, `clip <slipped> & "fell"`
	run.Measurements[11].Status = record.Superseded
	run.Outliers = []chart.Remark{{MeasurementID: "m022", Words: "broken winding"}}
	run.Signals = []chart.Remark{{MeasurementID: "m028", Words: "nine in a row above the centre"}}
	return run
}

// capture is a coil that is clipped on at 2 s, settles, and has one reading of
// its window struck out.
func capture(t testing.TB) chart.Capture {
	t.Helper()
	m := measurement(t, 7, 6690)
	m.CaptureSeconds = 6
	m.Time = dayOne.Add(8 * time.Second)
	c := chart.Capture{Title: "HN-0007, as it was captured", Measurement: m}
	for k := range 41 {
		at := dayOne.Add(time.Duration(k) * 200 * time.Millisecond)
		r := record.Reading{Time: at, Role: record.Meter, Status: string(driver.OK), Resolution: 0.1}
		r.Value = math.Round((m.ResistanceOhms+0.3*math.Sin(float64(k*k)))*10) / 10
		switch {
		case k < 10:
			r.Value, r.Status, r.Reason = 0, string(driver.Overload), "open leads"
		case k < 14:
			r.Value = m.ResistanceOhms * (0.93 + 0.015*float64(k-10))
		case k < 25:
			r.Value -= 20 * math.Exp(-float64(k-14)/3)
		default:
			r.InWindow = true
		}
		if k == 33 {
			r.Value, r.Outlier = m.ResistanceOhms+15, true
		}
		c.Readings = append(c.Readings, r)
		if k%5 == 0 {
			c.Readings = append(c.Readings, record.Reading{Time: at, Role: record.Probe, Status: string(driver.OK), Value: 22.4 + 0.02*float64(k%3)})
		}
	}
	return c
}

func comparison() chart.Comparison {
	celsius := 29.5
	return chart.Comparison{
		Title: "HN-0007 against another meter",
		Ours:  inputs(6690),
		Theirs: []chart.Theirs{{
			Ohms: 6960, HalfWidthOhms: 60, Celsius: &celsius, HalfWidthKelvin: 1.5,
		}},
	}
}

func scale(t testing.TB) chart.Scale {
	t.Helper()
	m := measurement(t, 1, 6690)
	return chart.Scale{Tolerance: m.Tolerance, TargetOhms: 6700, R20Ohms: m.R20Ohms, ExpandedUncertaintyOhms: m.ExpandedUncertaintyOhms,
		Verdict: m.Verdict}
}

func must(t testing.TB, p *chart.Picture, err error) *chart.Picture {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// element is a parsed SVG element.
type element struct {
	name  string
	attr  map[string]string
	text  string
	below []*element
}

// parse reads the SVG of a picture; anything but one well-formed svg element
// fails the test.
func parse(t testing.TB, p *chart.Picture) *element {
	t.Helper()
	var b bytes.Buffer
	if err := p.WriteSVG(&b); err != nil {
		t.Fatal(err)
	}
	d := xml.NewDecoder(&b)
	root := &element{}
	stack := []*element{root}
	for {
		token, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("SVG is not well-formed: %v", err)
		}
		top := stack[len(stack)-1]
		switch token := token.(type) {
		case xml.StartElement:
			e := &element{name: token.Name.Local, attr: map[string]string{}}
			for _, a := range token.Attr {
				e.attr[a.Name.Local] = a.Value
			}
			top.below = append(top.below, e)
			stack = append(stack, e)
		case xml.EndElement:
			stack = stack[:len(stack)-1]
		case xml.CharData:
			top.text += string(token)
		}
	}
	if len(root.below) != 1 || root.below[0].name != "svg" {
		t.Fatalf("SVG has %d roots, want one svg", len(root.below))
	}
	return root.below[0]
}

// all returns every element below e for which want holds.
func (e *element) all(want func(*element) bool) []*element {
	var found []*element
	for _, b := range e.below {
		if want(b) {
			found = append(found, b)
		}
		found = append(found, b.all(want)...)
	}
	return found
}

func named(name string) func(*element) bool { return func(e *element) bool { return e.name == name } }

func classed(class string) func(*element) bool {
	return func(e *element) bool { return e.attr["class"] == class }
}

// points are the marks of the data by the words they say.
func (e *element) points() map[string]*element {
	found := map[string]*element{}
	for _, p := range e.all(classed("point")) {
		found[p.below[0].text] = p
	}
	return found
}

// saying returns the only point that says something containing words.
func (e *element) saying(t testing.TB, words string) *element {
	t.Helper()
	var found []*element
	for said, p := range e.points() {
		if strings.Contains(said, words) {
			found = append(found, p)
		}
	}
	if len(found) != 1 {
		t.Fatalf("%d points say %q, want 1", len(found), words)
	}
	return found[0]
}

// centre is where a point is.
func (e *element) centre(t testing.TB) (x, y float64) {
	t.Helper()
	hit := e.below[1]
	if _, err := fmt.Sscan(hit.attr["cx"], &x); err != nil {
		t.Fatal(err)
	}
	if _, err := fmt.Sscan(hit.attr["cy"], &y); err != nil {
		t.Fatal(err)
	}
	return x, y
}

// words are the texts drawn.
func (e *element) words() []string {
	var words []string
	for _, t := range e.all(named("text")) {
		words = append(words, t.text)
	}
	return words
}
