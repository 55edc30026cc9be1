package history

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/record"
	"coilkeep/internal/sheet"
)

// typedCoil is one row of a CSV file, not yet computed.
type typedCoil struct {
	line int
	// m holds what the row says of the coil. Its Status and Reason are those
	// of the file, its Sequence the number there, 0 when none was told, and its
	// DesignRevision 0 when it is to be the latest.
	m             record.Measurement
	ohms, celsius csvNumber
	alpha         csvNumber
	toldU, toldK  csvNumber
	r20Ohms       csvNumber
	probability   csvNumber
}

// csvNumber is a number as it stands in a cell; text is empty when none does.
type csvNumber struct {
	text        string
	value, step float64 // step is one of its last digit
}

func (n csvNumber) told() bool { return n.text != "" }

// displayDigits is as many as a bench meter shows; a number with more of them
// is a mean (common practice, no source).
const displayDigits = 8

// resolution is one step of the display the number was read from, 0 when it
// was reckoned rather than read.
func (n csvNumber) resolution() float64 {
	mantissa, _, _ := strings.Cut(strings.ToLower(n.text), "e")
	digits := strings.TrimLeft(strings.ReplaceAll(mantissa, ".", ""), "+-0")
	if len(digits) > displayDigits {
		return 0
	}
	return n.step
}

// agrees is true for a number that is n to the digits of n.
func (n csvNumber) agrees(computed float64) bool {
	return math.Abs(computed-n.value) <= n.step/2+ratioTolerance*math.Abs(computed)
}

// readTyped reads coils from CSV with the columns of an export in any order,
// and how many rows it left out because they are void or superseded there. It
// refuses rows that are impossible by themselves or with one another; errors
// name line and column.
func readTyped(r io.Reader, o CSVOptions) (coils []typedCoil, leftOut int, err error) {
	// A design and a bench may be told otherwise.
	columns := sheet.Columns{Needed: []string{"serial", "time", "resistance_ohms", "temperature_celsius"}}
	for _, column := range csvColumns {
		columns.Known = append(columns.Known, column.name)
	}
	in, err := sheet.NewReader(r, columns)
	if err != nil {
		return nil, 0, err
	}
	for {
		next, err := in.Next()
		if errors.Is(err, io.EOF) {
			return coils, leftOut, checkTogether(coils)
		}
		if err != nil {
			return nil, 0, err
		}
		row := csvRow{next}
		if status := row.status(); status == record.Void || status == record.Superseded {
			leftOut++
			continue
		}
		coil := row.coil(o)
		if err := row.Err(); err != nil {
			return nil, 0, err
		}
		coils = append(coils, coil)
	}
}

// csvRow is one line of a table of typed coils.
type csvRow struct{ *sheet.Row }

// neededOr takes otherwise for an empty cell.
func (r csvRow) neededOr(column, otherwise string) string {
	text := cmp.Or(r.Text(column), otherwise)
	if text == "" {
		r.Fail(column, "there is none; fill in the column, or say --%s for all rows without one", column)
	}
	return text
}

func (r csvRow) status() record.Status { return record.Status(strings.ToLower(r.Text("status"))) }

func (r csvRow) number(column string) csvNumber {
	value := r.Number(column)
	if r.Err() != nil {
		return csvNumber{}
	}
	text := r.Text(column)
	mantissa, power, _ := strings.Cut(strings.ToLower(text), "e")
	_, fraction, _ := strings.Cut(mantissa, ".")
	exponent, _ := strconv.Atoi(power) // the number was read, so this is 0 where there is none
	return csvNumber{text, value, math.Pow10(exponent - len(fraction))}
}

func (r csvRow) neededNumber(column string) csvNumber {
	r.Needed(column)
	return r.number(column)
}

func (r csvRow) time(zone *time.Location) time.Time {
	r.Needed("time")
	return fromMicros(r.TimeIn("time", zone).UnixMicro())
}

func (r csvRow) coil(o CSVOptions) typedCoil {
	c := typedCoil{line: r.Line,
		ohms: r.neededNumber("resistance_ohms"), celsius: r.neededNumber("temperature_celsius"),
		alpha: r.number("alpha_per_kelvin"), toldU: r.number("expanded_uncertainty_ohms"), toldK: r.number("coverage_factor"),
		r20Ohms: r.number("r20_ohms"), probability: r.number("conformity_probability"),
	}
	c.m = record.Measurement{
		ID: r.Text("id"), Time: r.time(o.Zone), Bench: r.neededOr("bench", o.Bench), Batch: r.Text("batch"), Sequence: r.Count("sequence", 0),
		Design: r.neededOr("design", o.Design), DesignRevision: r.Count("design_revision", 1), Serial: r.Needed("serial"),
		ResistanceOhms: c.ohms.value, TemperatureCelsius: c.celsius.value,
		Verdict: conformity.Verdict(r.Text("verdict")), Status: r.status(), Reason: r.Text("reason"),
		Spool: r.Text("spool"), Winder: r.Text("winder"), Operator: r.Text("operator"),
		Meter: r.Text("meter"), Probe: r.Text("probe"), Stage: r.Text("stage"),
	}
	if c.m.Stage == "" {
		c.m.Stage = record.StageWound
	}
	r.check(&c)
	return c
}

// check sees that the cells of a row go together.
func (r csvRow) check(c *typedCoil) {
	switch {
	case c.toldU.told() && !c.toldK.told():
		r.Fail("coverage_factor", "is empty beside an expanded uncertainty; write the k it was made with, mostly 2")
	case c.toldK.told() && !c.toldU.told():
		r.Fail("expanded_uncertainty_ohms", "is empty beside a coverage factor; write both or neither")
	}
	switch {
	case c.m.Batch == "" && c.m.Sequence != 0:
		r.Fail("sequence", "%d is a place in a batch, but there is no batch; fill in both or neither", c.m.Sequence)
	case c.m.Batch != "" && c.m.Sequence == 0 && r.Text("sequence") != "":
		r.Fail("sequence", "0 is no place in a batch; coils are counted from 1")
	}
	if !slices.Contains([]record.Status{"", record.Recorded, record.Forced, record.Manual}, c.m.Status) {
		r.Fail("status", "%q is not known; write %s, %s, %s, %s or %s, or nothing", c.m.Status, record.Recorded, record.Forced, record.Manual,
			record.Void, record.Superseded)
	}
	if err := record.ValidateStage(c.m.Stage); err != nil {
		r.Fail("stage", "%s", strings.TrimPrefix(err.Error(), "stage: "))
	}
}

// checkTogether finds rows that contradict each other.
func checkTogether(coils []typedCoil) error {
	ids, stages := map[string]int{}, map[[2]string]int{}
	type place struct{ batch, what string }
	serialAt, numberOf, told := map[place]string{}, map[place]int{}, map[string]bool{}
	for _, c := range coils {
		m := c.m
		if before, twice := ids[m.ID]; twice && m.ID != "" {
			return fmt.Errorf("line %d, column id: %s stands in line %d already; an id belongs to one row", c.line, m.ID, before)
		}
		stage := [2]string{m.Serial, m.Stage}
		if before, twice := stages[stage]; twice {
			return fmt.Errorf("line %d, column serial: coil %s, %s, stands in line %d already; keep the row that counts, and give the other "+
				"the status %s",
				c.line, m.Serial, m.Stage, before, record.Superseded)
		}
		ids[m.ID], stages[stage] = c.line, c.line
		if m.Batch == "" {
			continue
		}
		if numbered, seen := told[m.Batch]; seen && numbered != (m.Sequence != 0) {
			return fmt.Errorf("line %d, column sequence: some coils of batch %s have a number and some have none; fill in all or none", c.line,
				m.Batch)
		}
		told[m.Batch] = m.Sequence != 0
		if m.Sequence == 0 {
			continue
		}
		at, of := place{m.Batch, strconv.Itoa(m.Sequence)}, place{m.Batch, m.Serial}
		if other, taken := serialAt[at]; taken && other != m.Serial {
			return fmt.Errorf("line %d, column sequence: %d of batch %s is coil %s already; each coil has a number of its own", c.line, m.Sequence,
				m.Batch, other)
		}
		if other, taken := numberOf[of]; taken && other != m.Sequence {
			return fmt.Errorf("line %d, column sequence: coil %s is number %d of batch %s already; a coil has one number", c.line, m.Serial, other,
				m.Batch)
		}
		serialAt[at], numberOf[of] = m.Serial, m.Sequence
	}
	return nil
}
