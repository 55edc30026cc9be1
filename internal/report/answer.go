package report

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"coilkeep/internal/chart"
	"coilkeep/internal/compare"
	"coilkeep/internal/copper"
	"coilkeep/internal/r20"
	"coilkeep/internal/uncertainty"
	"coilkeep/internal/words"
)

// Complaint is what an answer to a buyer is made from.
type Complaint struct {
	Workshop Workshop
	// Input and Result belong together; see compare.Compare.
	Input  compare.Input
	Result compare.Result
	// Letter is what is said to the buyer; empty takes Result.Answer.
	Letter string
	// Issued is the date of the document.
	Issued time.Time
	// Zone is the time zone of the workshop; nil is UTC.
	Zone *time.Location
}

// Answer is an answer to a buyer with every word in its place. Make one with
// NewAnswer.
type Answer struct {
	Workshop Workshop
	Heading  string
	Letter   string
	Facts    []Fact
	Picture  *chart.Picture
	// Table says what a meter like theirs should show.
	TableTitle string
	Table      []AnswerRow
	Cautions   []string
	IssuedOn   string
	Formula    string

	issued time.Time
}

// AnswerRow is what a meter should show at one temperature of the copper.
type AnswerRow struct{ Temperature, Value, Range string }

// ErrNoAnswer is wrapped by the error for a comparison nobody can be handed an
// answer from; the rest of the text says why.
var ErrNoAnswer = errors.New("no answer from this comparison")

// maxLetterRunes is how much of a letter is set.
const maxLetterRunes = 8000

// NewAnswer puts an answer together. It returns an error that wraps ErrNoAnswer
// for a result without readings, a letter too long to be one, or a record that
// cannot be drawn.
func NewAnswer(c Complaint) (*Answer, error) {
	r := c.Result
	if r.Reading < 0 || r.Reading >= len(c.Input.Theirs) || len(r.Settings) != len(c.Input.Theirs) || len(r.Table) == 0 {
		return nil, fmt.Errorf("%w: its result is not of its readings", ErrNoAnswer)
	}
	letter := strings.TrimSpace(cmp.Or(c.Letter, r.Answer))
	if n := len([]rune(letter)); n > maxLetterRunes {
		return nil, fmt.Errorf("%w: the letter has %d characters; shorten it to %d", ErrNoAnswer, n, maxLetterRunes)
	}
	picture, err := PictureOf(chart.View{Size: chart.Size{Width: 390, Height: 262}}, c.Input, r)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrNoAnswer, err)
	}
	theirs := c.Input.Theirs[r.Reading]
	a := &Answer{
		Workshop: c.Workshop, Heading: "About the resistance of a coil", Letter: letter, Picture: picture,
		TableTitle: "What your meter should show", Cautions: answerCautions(),
		IssuedOn: date(c.Issued, c.Zone), Formula: fmt.Sprintf("comparison by formula %d", r.Formula), issued: c.Issued,
		Facts: []Fact{
			{"our record, at 20 °C", words.OhmsWithin(c.Input.Ours.R20Ohms, c.Input.Ours.ExpandedUncertaintyOhms)},
			{"your reading", words.OhmsToStep(r.TheirsOhms, theirs.ResolutionOhms)},
			{"expected there", expectedThere(r.Setting)},
		},
	}
	if c.Input.Ours.Serial != "" {
		a.Heading = "About the resistance of coil " + c.Input.Ours.Serial
	}
	if theirs.Clips == compare.Jack {
		a.TableTitle += " at the jack"
	}
	for _, row := range r.Table {
		a.Table = append(a.Table, answerRow(row, r.StepOhms()))
	}
	return a, nil
}

// expectedThere is from what to what a perfect meter would have shown.
func expectedThere(s compare.Setting) string {
	return words.OhmsToStep(s.ExpectedLowOhms, s.StepOhms()) + " to " + words.OhmsToStep(s.ExpectedHighOhms, s.StepOhms())
}

// answerRow writes a row in the steps of the expected range, as the page does.
func answerRow(row compare.TableRow, stepOhms float64) AnswerRow {
	ohms := func(v float64) string { return words.OhmsToStep(v, stepOhms) }
	low, unit, _ := strings.Cut(ohms(row.LowOhms), " ")
	high, highUnit, _ := strings.Cut(ohms(row.HighOhms), " ")
	if unit != highUnit {
		low += " " + unit
		high += " " + highUnit
	}
	return AnswerRow{Temperature: words.CelsiusToStep(row.Celsius, 1), Value: ohms(row.Ohms), Range: low + " to " + high}
}

// answerCautions says how nobody gets hurt, and neither does the coil.
func answerCautions() []string {
	return []string{
		"Unplug the instrument from the amplifier before you measure or open anything. Valve amplifiers hold dangerous voltage even when " +
			"they are switched off and unplugged: leave anything inside one to a qualified person.",
		"Measure at the ends of the leads and never touch the winding: the wire is finer than a hair. If you are not sure of your " +
			"soldering, ask somebody who is.",
	}
}

// PictureOf draws the readings against what the coil has at every temperature.
// One that was not taken at the coil alone is shown as what the coil must have
// had.
func PictureOf(view chart.View, in compare.Input, r compare.Result) (*chart.Picture, error) {
	c := chart.Comparison{View: view, Ours: inputsOf(in.Ours)}
	for i, setting := range r.Settings {
		if theirs, ok := onTheCoil(c.Ours, in.Theirs[i], setting); ok {
			c.Theirs = append(c.Theirs, theirs)
		}
	}
	c.FromCelsius, c.ToCelsius = 10, 35
	for _, celsius := range pictured(c, r) {
		c.FromCelsius = max(copper.MinCelsius, min(c.FromCelsius, celsius-2))
		c.ToCelsius = min(copper.MaxCelsius, max(c.ToCelsius, celsius+2))
	}
	return c.Picture()
}

// pictured are the temperatures a picture has to show.
func pictured(c chart.Comparison, r compare.Result) []float64 {
	list := []float64{c.Ours.TemperatureCelsius}
	for _, t := range c.Theirs {
		if t.Celsius != nil {
			list = append(list, *t.Celsius-t.HalfWidthKelvin, *t.Celsius+t.HalfWidthKelvin)
		}
	}
	// An implied temperature far from where people live explains nothing and
	// would squeeze the rest.
	const coldest, hottest = -20, 60
	if t := r.ImpliedCelsius; t != nil && *t > coldest && *t < hottest {
		list = append(list, *t)
	}
	return list
}

// onTheCoil is a reading as a resistance of the coil; ok is false when no coil
// reads so.
func onTheCoil(ours r20.Inputs, reading compare.Reading, s compare.Setting) (theirs chart.Theirs, ok bool) {
	theirs = chart.Theirs{Ohms: s.TheirsOhms, HalfWidthOhms: s.TheirsExpandedUncertaintyOhms, Celsius: reading.TemperatureCelsius}
	if reading.TemperatureCelsius != nil {
		theirs.HalfWidthKelvin = compare.ThermometerKelvin
		if reading.TemperatureUncertaintyKelvin != nil {
			theirs.HalfWidthKelvin = *reading.TemperatureUncertaintyKelvin
		}
	}
	alone := reading.Clips != compare.Jack && reading.Hands != compare.HandsOn && (reading.Wiring == "" || reading.Wiring == compare.Single)
	if !alone {
		if s.At20 == nil {
			return theirs, false
		}
		ratio := s.At20.TheirsOhms * (1 + ours.AlphaPerKelvin*(s.AtCelsius-copper.ReferenceCelsius)) / theirs.Ohms
		theirs.Ohms *= ratio
		theirs.HalfWidthOhms *= ratio
	}
	return theirs, theirs.HalfWidthOhms < theirs.Ohms
}

// inputsOf is what a record was computed from, or inputs that give a record
// nobody computed here.
func inputsOf(record compare.Record) r20.Inputs {
	if record.Measured != nil {
		return *record.Measured
	}
	in := r20.Inputs{
		ResistanceOhms: record.R20Ohms, Readings: 1, TemperatureCelsius: copper.ReferenceCelsius,
		// Limits of error are rectangular: half their width is √3 standard ones.
		MeterOhms:      record.ExpandedUncertaintyOhms / uncertainty.CoverageFactor(0) * math.Sqrt(3),
		AlphaPerKelvin: record.AlphaPerKelvin, AlphaStandardUncertaintyPerKelvin: record.AlphaStandardUncertaintyPerKelvin,
	}
	if in.AlphaPerKelvin == 0 {
		in.AlphaPerKelvin = float64(copper.Standard)
	}
	if in.AlphaStandardUncertaintyPerKelvin == 0 {
		in.AlphaStandardUncertaintyPerKelvin = copper.StandardUncertaintyPerKelvin
	}
	return in
}
