package history

import (
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/nearest"
)

// typedCoil is one row of a CSV file, not yet computed.
type typedCoil struct {
	line int
	// m holds what the row says of the coil. Its Status and Reason are those
	// of the file, its Sequence the number there, 0 when none was told, and its
	// DesignRevision 0 when it is to be the latest.
	m             Measurement
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

// neededColumns must be there; a design and a bench may be told otherwise.
var neededColumns = []string{"serial", "time", "resistance_ohms", "temperature_celsius"}

// readTyped reads coils from CSV with the columns of an export in any order,
// and how many rows it left out because they are void or superseded there. It
// refuses rows that are impossible by themselves or with one another; errors
// name line and column.
func readTyped(r io.Reader, o CSVOptions) (coils []typedCoil, leftOut int, err error) {
	in := csv.NewReader(r)
	in.TrimLeadingSpace = true
	names, err := in.Read()
	if errors.Is(err, io.EOF) {
		return nil, 0, errors.New("the file is empty; its first line names the columns")
	}
	if err != nil {
		return nil, 0, fmt.Errorf("line of column names: %w", err)
	}
	columns, err := csvHeader(names)
	if err != nil {
		return nil, 0, err
	}
	for {
		record, err := in.Read()
		if errors.Is(err, io.EOF) {
			return coils, leftOut, checkTogether(coils)
		}
		if err != nil {
			return nil, 0, fmt.Errorf("%w; every line has as many cells as the first, and quotes come in pairs", err)
		}
		line, _ := in.FieldPos(0)
		row := csvRow{columns: columns, cells: record}
		switch status := Status(row.text("status")); {
		case row.blank():
		case status == Void || status == Superseded:
			leftOut++
		default:
			coil := row.coil(line, o)
			if row.err != nil {
				return nil, 0, fmt.Errorf("line %d, %w", line, row.err)
			}
			coils = append(coils, coil)
		}
	}
}

// csvHeader returns the place of each column.
func csvHeader(names []string) (map[string]int, error) {
	known := make([]string, len(csvColumns))
	for i, column := range csvColumns {
		known[i] = column.name
	}
	places := map[string]int{}
	for i, name := range names {
		name = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(name, "\ufeff")))
		if len(names) == 1 && strings.ContainsAny(name, ";\t") {
			return nil, errors.New("line of column names: the columns are not parted by commas; save the table with commas between the cells and points in the numbers")
		}
		if !slices.Contains(known, name) {
			hint := ""
			if near, ok := nearest.Word(name, known); ok {
				hint = "; did you mean " + near + "?"
			}
			return nil, fmt.Errorf("column %q is not known%s; the columns are %s", name, hint, strings.Join(known, ", "))
		}
		if _, twice := places[name]; twice {
			return nil, fmt.Errorf("column %s comes twice; keep one", name)
		}
		places[name] = i
	}
	for _, name := range neededColumns {
		if _, ok := places[name]; !ok {
			return nil, fmt.Errorf("no column %s; the first line names the columns, and %s must be among them", name, strings.Join(neededColumns, ", "))
		}
	}
	return places, nil
}

// csvRow reads the cells of one line and keeps the first fault.
type csvRow struct {
	columns map[string]int
	cells   []string
	err     error
}

func (r *csvRow) fail(column, format string, args ...any) {
	if r.err == nil {
		r.err = fmt.Errorf("column %s: %s", column, fmt.Sprintf(format, args...))
	}
}

// blank is true for a line of nothing but commas, as spreadsheets add them.
func (r *csvRow) blank() bool {
	return !slices.ContainsFunc(r.cells, func(cell string) bool { return strings.TrimSpace(cell) != "" })
}

func (r *csvRow) text(column string) string {
	i, ok := r.columns[column]
	if !ok {
		return ""
	}
	return unguarded(strings.TrimSpace(r.cells[i]))
}

func (r *csvRow) needed(column string) string {
	text := r.text(column)
	if text == "" {
		r.fail(column, "is empty; every coil needs one")
	}
	return text
}

// neededOr takes otherwise for an empty cell.
func (r *csvRow) neededOr(column, otherwise string) string {
	text := cmp.Or(r.text(column), otherwise)
	if text == "" {
		r.fail(column, "there is none; fill in the column, or say --%s for all rows without one", column)
	}
	return text
}

// maxExponent is beyond any number of a workshop.
const maxExponent = 30

func (r *csvRow) number(column string) csvNumber {
	text := r.text(column)
	if text == "" {
		return csvNumber{}
	}
	const example = "write a plain number like 6690.5, without unit, with a decimal point"
	mantissa, power, hasPower := strings.Cut(strings.ToLower(text), "e")
	exponent := 0
	value, err := strconv.ParseFloat(text, 64)
	if err == nil && hasPower {
		exponent, err = strconv.Atoi(power)
	}
	// ParseFloat also takes inf, nan, hexadecimal and underscores.
	if err != nil || strings.Trim(mantissa, "+-.0123456789") != "" || exponent < -maxExponent || exponent > maxExponent {
		r.fail(column, "%q is not a number; %s", text, example)
		return csvNumber{}
	}
	_, fraction, _ := strings.Cut(mantissa, ".")
	return csvNumber{text, value, math.Pow10(exponent - len(fraction))}
}

func (r *csvRow) neededNumber(column string) csvNumber {
	n := r.number(column)
	if !n.told() {
		r.fail(column, "is empty; every coil needs one")
	}
	return n
}

// count reads a whole number from least on; 0 when the cell is empty.
func (r *csvRow) count(column string, least int) int {
	text := r.text(column)
	if text == "" {
		return 0
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < least || n > math.MaxInt32 {
		r.fail(column, "%q will not do; write a whole number, at least %d", text, least)
		return 0
	}
	return n
}

func (r *csvRow) time() time.Time {
	text := r.needed("time")
	at, err := time.Parse(time.RFC3339, text)
	// Years beyond these are not whole microseconds in 64 bits.
	if err != nil || at.Year() < 1900 || at.Year() > 9999 {
		r.fail("time", "%q will not do; write a time with its zone, like 2026-01-31T15:04:00Z or 2026-01-31T16:04:00+01:00", text)
		return time.Time{}
	}
	return fromMicros(at.UnixMicro())
}

func (r *csvRow) coil(line int, o CSVOptions) typedCoil {
	c := typedCoil{line: line,
		ohms: r.neededNumber("resistance_ohms"), celsius: r.neededNumber("temperature_celsius"),
		alpha: r.number("alpha_per_kelvin"), toldU: r.number("expanded_uncertainty_ohms"), toldK: r.number("coverage_factor"),
		r20Ohms: r.number("r20_ohms"), probability: r.number("conformity_probability"),
	}
	c.m = Measurement{
		ID: r.text("id"), Time: r.time(), Bench: r.neededOr("bench", o.Bench), Batch: r.text("batch"), Sequence: r.count("sequence", 0),
		Design: r.neededOr("design", o.Design), DesignRevision: r.count("design_revision", 1), Serial: r.needed("serial"),
		ResistanceOhms: c.ohms.value, TemperatureCelsius: c.celsius.value,
		Verdict: conformity.Verdict(r.text("verdict")), Status: Status(r.text("status")), Reason: r.text("reason"),
		Spool: r.text("spool"), Winder: r.text("winder"), Operator: r.text("operator"),
		Meter: r.text("meter"), Probe: r.text("probe"), Stage: r.text("stage"),
	}
	if c.m.Stage == "" {
		c.m.Stage = StageWound
	}
	r.check(&c)
	return c
}

// check sees that the cells of a row go together.
func (r *csvRow) check(c *typedCoil) {
	switch {
	case c.toldU.told() && !c.toldK.told():
		r.fail("coverage_factor", "is empty beside an expanded uncertainty; write the k it was made with, mostly 2")
	case c.toldK.told() && !c.toldU.told():
		r.fail("expanded_uncertainty_ohms", "is empty beside a coverage factor; write both or neither")
	}
	switch {
	case c.m.Batch == "" && c.m.Sequence != 0:
		r.fail("sequence", "%d is a place in a batch, but there is no batch; fill in both or neither", c.m.Sequence)
	case c.m.Batch != "" && c.m.Sequence == 0 && r.text("sequence") != "":
		r.fail("sequence", "0 is no place in a batch; coils are counted from 1")
	}
	if !slices.Contains([]Status{"", Recorded, Forced, Manual}, c.m.Status) {
		r.fail("status", "%q is not known; write %s, %s, %s, %s or %s, or nothing", c.m.Status, Recorded, Forced, Manual, Void, Superseded)
	}
	if err := ValidateStage(c.m.Stage); err != nil {
		r.fail("stage", "%s", strings.TrimPrefix(err.Error(), "stage: "))
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
			return fmt.Errorf("line %d, column serial: coil %s, %s, stands in line %d already; keep the row that counts, and give the other the status %s",
				c.line, m.Serial, m.Stage, before, Superseded)
		}
		ids[m.ID], stages[stage] = c.line, c.line
		if m.Batch == "" {
			continue
		}
		if numbered, seen := told[m.Batch]; seen && numbered != (m.Sequence != 0) {
			return fmt.Errorf("line %d, column sequence: some coils of batch %s have a number and some have none; fill in all or none", c.line, m.Batch)
		}
		told[m.Batch] = m.Sequence != 0
		if m.Sequence == 0 {
			continue
		}
		at, of := place{m.Batch, strconv.Itoa(m.Sequence)}, place{m.Batch, m.Serial}
		if other, taken := serialAt[at]; taken && other != m.Serial {
			return fmt.Errorf("line %d, column sequence: %d of batch %s is coil %s already; each coil has a number of its own", c.line, m.Sequence, m.Batch, other)
		}
		if other, taken := numberOf[of]; taken && other != m.Sequence {
			return fmt.Errorf("line %d, column sequence: coil %s is number %d of batch %s already; a coil has one number", c.line, m.Serial, other, m.Batch)
		}
		serialAt[at], numberOf[of] = m.Serial, m.Sequence
	}
	return nil
}
