package report

import (
	"bytes"
	"cmp"
	"fmt"
	"html/template"
	"time"

	"coilkeep/internal/chart"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
	"coilkeep/internal/uncertainty"
	"coilkeep/internal/words"
	"coilkeep/internal/workshop"
)

// Subject is what a certificate is made from.
type Subject struct {
	Workshop Workshop
	workshop.Certified
	// Issued is the date of the document.
	Issued time.Time
	// Zone is the time zone of the workshop; nil is UTC.
	Zone *time.Location
}

// Certificate is a certificate with every word in its place. Make one with
// NewCertificate.
type Certificate struct {
	Workshop Workshop
	// Heading is the serial number.
	Heading string
	// R20 is the result, "6.690 ± 0.018 kΩ".
	R20 string
	// Verdict is "in tolerance" and the like; "not judged" without a design.
	Verdict string
	// Decision is the rule behind the verdict; "" without one.
	Decision    string
	Facts       []Fact
	Remarks     []string // what a reader of this number should know
	Instruments []Fact
	Tables      []Table
	TableNote   string
	Explanation []string
	Cautions    []string
	QRText      string
	IssuedOn    string
	RecordedAs  string
	Scale       *chart.Picture // nil without a tolerance

	issued time.Time
	code   matrix
}

// Fact is a name and what is to be said under it.
type Fact struct{ Name, Value string }

// NewCertificate puts a certificate together. The error is that of
// [workshop.Certified.Check] when there is none for these records.
func NewCertificate(s Subject) (*Certificate, error) {
	m := s.Measurement
	result, err := s.Check(s.Issued, s.Zone)
	if err != nil {
		return nil, err
	}
	c := &Certificate{
		Workshop:    s.Workshop,
		Heading:     m.Serial,
		R20:         words.OhmsWithin(m.R20Ohms, m.ExpandedUncertaintyOhms),
		Verdict:     words.Verdict(m.Verdict),
		Facts:       s.facts(result),
		Remarks:     s.remarks(),
		Instruments: s.instruments(),
		TableNote:   tableNote,
		Explanation: explain(m, s.Design),
		Cautions:    cautions(),
		QRText:      compactText(m, s.Zone),
		IssuedOn:    date(s.Issued, s.Zone),
		RecordedAs:  fmt.Sprintf("%s, formula %d", m.ID, m.Formula),
		issued:      s.Issued,
	}
	if m.Verdict != "" {
		c.Decision = decisionRule(m)
	}
	if c.Tables, err = s.tables(); err != nil {
		return nil, fmt.Errorf("certificate of %s: %w", m.Serial, err)
	}
	if c.code, err = encode(c.QRText); err != nil {
		return nil, fmt.Errorf("certificate of %s: %w", m.Serial, err)
	}
	if m.Verdict != "" {
		if c.Scale, err = s.scale().Picture(); err != nil {
			return nil, fmt.Errorf("certificate of %s: %w", m.Serial, err)
		}
	}
	return c, nil
}

func (s Subject) facts(result r20.Result) []Fact {
	m := s.Measurement
	design := cmp.Or(m.Design, "none")
	if m.DesignRevision > 0 {
		design = fmt.Sprintf("%s, revision %d", m.Design, m.DesignRevision)
	}
	facts := []Fact{{"design", design}}
	if d := s.Design; d != nil {
		facts = append(facts, Fact{"target", words.Ohms(d.TargetOhms) + " at 20 °C"})
	}
	if m.Verdict != "" {
		facts = append(facts, Fact{"tolerance", words.Ohms(m.Tolerance.LowerOhms) +
			" to " + words.Ohms(m.Tolerance.UpperOhms) + " at 20 °C"})
	}
	if d := s.Design; d != nil && d.GaugeAWG > 0 {
		facts = append(facts, Fact{"wire", fmt.Sprintf("%d AWG copper", d.GaugeAWG)})
	}
	if d := s.Design; d != nil && d.Turns > 0 {
		facts = append(facts, Fact{"turns", fmt.Sprintf("%d by design", d.Turns)})
	}
	facts = append(facts,
		Fact{"measured", words.MinuteInZone(m.Time, orUTC(s.Zone))},
		Fact{"as the meter showed it", shown(m)},
		Fact{"referred to 20 °C", fmt.Sprintf("R20 = R / (1 + α·(t − 20 °C)), α = %.5g /K (IEC 60028)", m.AlphaPerKelvin)},
		Fact{"uncertainty", fmt.Sprintf("expanded, k = %.2f, about 95 %% coverage (JCGM 100); largest part: %s", m.CoverageFactor,
			largest(result))},
	)
	if text := copperAgainstProbe(m.Inputs); text != "" {
		facts = append(facts, Fact{"copper against probe", text})
	}
	for _, f := range []Fact{{"stage", m.Stage}, {"batch", m.Batch}, {"wire spool", m.Spool}, {"winder", m.Winder}, {"operator", m.Operator}} {
		if f.Value != "" {
			facts = append(facts, f)
		}
	}
	if a := s.Assembly; a != nil {
		facts = append(facts, Fact{"assembly", a.Serial + ", with coil " + a.Second.Serial})
	}
	return facts
}

// shown is what the meter showed. A mean of several readings has more digits than
// the meter; those below a hundredth of the uncertainty say nothing.
func shown(m record.Measurement) string {
	text := words.OhmsToStep(m.ResistanceOhms, max(m.Inputs.ResolutionOhms,
		m.ExpandedUncertaintyOhms/100)) +
		" at " + words.CelsiusLive(m.TemperatureCelsius)
	if n := m.Inputs.Readings; n > 1 {
		text += fmt.Sprintf(", mean of %d readings", n)
	}
	return text
}

// copperAgainstProbe says how much warmer than the probe the copper was taken to be;
// "" where that was not estimated.
func copperAgainstProbe(in r20.Inputs) string {
	if in.CopperExcessUncertaintyKelvin == 0 {
		return ""
	}
	within := uncertainty.CoverageFactor(0) * in.CopperExcessUncertaintyKelvin
	return fmt.Sprintf("estimated %s ± %s warmer, 95 %% coverage; from %s", words.KelvinWithin(in.CopperExcessKelvin, within),
		words.KelvinWithin(within, within), cmp.Or(in.CopperExcessOrigin, "what is known of such coils"))
}

// largest names the largest component of the uncertainty.
func largest(result r20.Result) string {
	c := result.Budget[0] // r20 always lists one at least
	return fmt.Sprintf("%s, %.0f %%", c.Source, 100*c.Share)
}

// remarks lists what a reader should know before trusting the number.
func (s Subject) remarks() []string {
	m := s.Measurement
	var remarks []string
	switch m.Status {
	case record.Forced:
		remarks = append(remarks, "Recorded because the operator insisted: "+cmp.Or(m.Reason, "no reason kept")+".")
	case record.Manual:
		remarks = append(remarks, "The reading was typed in by hand.")
	}
	return append(remarks, m.Notes...)
}

func (s Subject) instruments() []Fact {
	m := s.Measurement
	meter := fmt.Sprintf("accuracy ±(%g %% + %g Ω)", m.Inputs.MeterPercent, m.Inputs.MeterOhms)
	probe := fmt.Sprintf("accuracy ±%g K", m.Inputs.ProbeHalfWidthKelvin)
	if m.Inputs.ToldExpandedUncertaintyOhms != 0 { // then 0 means that nobody said
		meter, probe = "accuracy not told", "accuracy not told"
	} else if !m.Inputs.LeadsKnown() {
		meter += ", its leads not measured"
	}
	return []Fact{
		{"meter", called(m.Meter) + "; " + meter + "; " + s.calibration(s.Meter)},
		{"probe", called(m.Probe) + "; " + probe + "; " + s.calibration(s.Probe)},
	}
}

// calibration says how an instrument stood when the coil was measured.
func (s Subject) calibration(c *record.Calibration) string {
	if c == nil {
		return "no calibration recorded"
	}
	text := "calibrated " + date(c.Time, s.Zone)
	if c.Certificate != "" {
		text += ", certificate " + c.Certificate
	}
	switch {
	case c.DueAt.IsZero():
	case c.DueAt.Before(s.Measurement.Time):
		text += ", overdue since " + date(c.DueAt, s.Zone) + " when the coil was measured"
	default:
		text += ", next due " + date(c.DueAt, s.Zone)
	}
	return text
}

func (s Subject) scale() chart.Scale {
	m := s.Measurement
	scale := chart.Scale{Tolerance: m.Tolerance, R20Ohms: m.R20Ohms, ExpandedUncertaintyOhms: m.ExpandedUncertaintyOhms, Verdict: m.Verdict}
	if s.Design != nil {
		scale.TargetOhms = s.Design.TargetOhms
	}
	return scale
}

// tables says what a meter should read: of the coil alone, or of an assembly
// each way it can be connected.
func (s Subject) tables() ([]Table, error) {
	first := s.Measurement
	alone := func(m record.Measurement) func(float64) (Expected, error) {
		return func(celsius float64) (Expected, error) { return Bare(m.Inputs, celsius) }
	}
	type connection struct {
		title string
		bare  func(float64) (Expected, error)
	}
	connections := []connection{{"coil " + first.Serial, alone(first)}}
	if a := s.Assembly; a != nil {
		both := func(join func(a, b Expected) Expected) func(float64) (Expected, error) {
			return func(celsius float64) (Expected, error) {
				x, err := Bare(first.Inputs, celsius)
				if err != nil {
					return Expected{}, err
				}
				y, err := Bare(a.Second.Inputs, celsius)
				return join(x, y), err
			}
		}
		series := connection{"both in series", both(Series)}
		if a.Together != nil {
			series = connection{"both in series, as measured together", alone(*a.Together)}
		}
		connections = []connection{
			series,
			{"both in parallel", both(Parallel)},
			{"coil " + first.Serial + " alone", alone(first)},
			{"coil " + a.Second.Serial + " alone", alone(a.Second)},
		}
	}
	var tables []Table
	for _, c := range connections {
		t, err := newTable(c.title, c.bare)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", c.title, err)
		}
		tables = append(tables, t)
	}
	return tables, nil
}

// QR is the code as an SVG image for a page.
func (c *Certificate) QR() template.HTML {
	return c.code.svg("QR code: " + c.QRText)
}

// ScaleSVG is the tolerance scale for a page; "" without a tolerance.
func (c *Certificate) ScaleSVG() (template.HTML, error) {
	if c.Scale == nil {
		return "", nil
	}
	var b bytes.Buffer
	if err := c.Scale.WriteSVG(&b); err != nil {
		return "", err
	}
	return template.HTML(b.String()), nil // chart escapes every text
}
