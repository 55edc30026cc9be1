package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"coilkeep/internal/r20"
	"coilkeep/internal/words"
)

// Expected is what a faultless meter should read: the likely value, and from
// what to what the reading may lie with 95 % confidence in the coil and anywhere
// within the tolerance of a control. All in ohms.
type Expected struct {
	Ohms, LowOhms, HighOhms float64
}

// Bare returns what a coil has at a temperature, from r20.At, whose errors it
// returns.
func Bare(coil r20.Inputs, celsius float64) (Expected, error) {
	p, err := r20.At(coil, celsius)
	if err != nil {
		return Expected{}, err
	}
	return Expected{
		Ohms:     p.ResistanceOhms,
		LowOhms:  p.ResistanceOhms - p.ExpandedUncertaintyOhms,
		HighOhms: p.ResistanceOhms + p.ExpandedUncertaintyOhms,
	}, nil
}

// Series is two resistances one after the other. What was measured with one
// meter and one probe is off the same way, so that the limits add up (JCGM
// 100:2008, 5.2.2, note 1: correlation +1) instead of partly cancelling.
func Series(a, b Expected) Expected {
	return Expected{Ohms: a.Ohms + b.Ohms, LowOhms: a.LowOhms + b.LowOhms, HighOhms: a.HighOhms + b.HighOhms}
}

// Parallel is two resistances side by side, 1/(1/a + 1/b). It rises with both, so
// that its limits are those of both at their lower and at their upper limits.
func Parallel(a, b Expected) Expected {
	return Expected{
		Ohms:     parallel(a.Ohms, b.Ohms),
		LowOhms:  parallel(a.LowOhms, b.LowOhms),
		HighOhms: parallel(a.HighOhms, b.HighOhms),
	}
}

func parallel(a, b float64) float64 { return a * b / (a + b) }

// ControlToleranceRatio is how far a volume control may be from its nominal
// resistance: ±20 % is what makers of panel controls commonly allow.
const ControlToleranceRatio = 0.2

// Control is a volume control of a nominal resistance, turned fully up, so that
// the whole of it lies across the coil.
func Control(nominalOhms float64) Expected {
	return Expected{
		Ohms:     nominalOhms,
		LowOhms:  nominalOhms * (1 - ControlToleranceRatio),
		HighOhms: nominalOhms * (1 + ControlToleranceRatio),
	}
}

// Controls are the nominal resistances that tables give readings through.
func Controls() []float64 { return []float64{500e3, 250e3} }

// Celsius are the temperatures tables give readings at.
func Celsius() []float64 { return []float64{10, 15, 20, 25, 30, 35} }

// Table says what a meter should read at several temperatures: first at the bare
// leads, then through each of Controls.
type Table struct {
	// Title says how the coils are connected.
	Title   string
	Columns []string
	Rows    []Row
}

// Row is one temperature of a Table.
type Row struct {
	Celsius  float64
	Readings []Reading // one for each of Columns
}

// Reading is what a meter should read, as number and as text.
type Reading struct {
	Expected
	// Value is the likely reading with no more digits than its limits support,
	// "6.690 kΩ"; Range the limits in the same unit, "6.671 to 6.709".
	Value, Range string
}

// Temperature is the row's temperature for people.
func (r Row) Temperature() string { return words.CelsiusToStep(r.Celsius, 1) }

// newTable builds a table from what has no control across it.
func newTable(title string, bare func(celsius float64) (Expected, error)) (Table, error) {
	t := Table{Title: title, Columns: []string{"bare leads"}}
	for _, control := range Controls() {
		t.Columns = append(t.Columns, "through "+words.Ohms(control)+" control")
	}
	for _, celsius := range Celsius() {
		coil, err := bare(celsius)
		if err != nil {
			return Table{}, fmt.Errorf("expected reading at %g °C: %w", celsius, err)
		}
		row := Row{Celsius: celsius, Readings: []Reading{{Expected: coil}}}
		for _, control := range Controls() {
			row.Readings = append(row.Readings, Reading{Expected: Parallel(coil, Control(control))})
		}
		t.Rows = append(t.Rows, row)
	}
	t.write()
	return t, nil
}

// write fills in the texts, all of a column with as many digits as its narrowest
// limits support.
func (t *Table) write() {
	for k := range t.Columns {
		resolution := math.Inf(1)
		for _, row := range t.Rows {
			resolution = min(resolution, row.Readings[k].resolution())
		}
		for _, row := range t.Rows {
			r := &row.Readings[k]
			r.Value = words.OhmsToStep(r.Ohms, resolution)
			r.Range = r.limits(r.Value)
		}
	}
}

// limits writes the limits in the unit and to the digit of value, rounded outward
// so that they never promise too much.
func (e Expected) limits(value string) string {
	number, unit, _ := strings.Cut(value, " ")
	size := map[string]float64{"Ω": 1, "kΩ": 1e3, "MΩ": 1e6, "GΩ": 1e9}[unit]
	_, fraction, _ := strings.Cut(number, ".")
	step := math.Pow10(-len(fraction))
	write := func(v float64) string { return strconv.FormatFloat(v*step, 'f', len(fraction), 64) }
	// A hair of slack, so that a limit which is a round number stays one.
	const slack = 1e-6
	return write(math.Floor(e.LowOhms/size/step+slack)) + " to " + write(math.Ceil(e.HighOhms/size/step-slack))
}

// resolution is the decimal place below which digits say nothing: the limits lie
// 2 to 20 of it to either side. 0 when there is no doubt at all.
func (e Expected) resolution() float64 {
	half := (e.HighOhms - e.LowOhms) / 2
	if !(half > 0) {
		return 0
	}
	return math.Pow10(int(math.Floor(math.Log10(half / 2))))
}
