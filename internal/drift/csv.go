package drift

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"coilkeep/internal/nearest"
)

// csvColumns are the columns [ReadCSV] knows, in the order it names them.
var csvColumns = []string{"sequence", "time", "serial", "r20_ohms", "expanded_uncertainty_ohms", "spool", "winder", "operator", "temperature_celsius", "check_standard_ohms"}

// ignoredColumns are others of an export of measurements, which may stay in.
var ignoredColumns = []string{"id", "bench", "design", "design_revision", "resistance_ohms", "verdict", "conformity_probability", "reason", "meter", "probe", "stage", "alpha_per_kelvin"}

// alsoRead are columns of an export that are used where they are there.
var alsoRead = []string{"batch", "coverage_factor", "status"}

// csvStatuses are those of measurements; the last two say that one does not count.
var csvStatuses = []string{"recorded", "forced", "manual", "void", "superseded"}

// ReadCSV reads coils from CSV with a line of column names, of which only
// r20_ohms must be there; a cell may be empty but for that one. Numbers have
// decimal points, times are RFC 3339. It takes exports of measurements as they
// are: rows with the status void or superseded are left out, forced ones are
// marked. Rows go in the order of winding, batch by batch by their sequence, or
// by their time where no sequence is told. Errors name the line and the column,
// and wrap [ErrInput] but for those of r.
func ReadCSV(r io.Reader) ([]Coil, error) {
	in, err := csvReader(r)
	if err != nil {
		return nil, err
	}
	names, err := in.Read()
	if errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("the file is empty: %w; its first line names the columns", ErrInput)
	}
	if err != nil {
		return nil, fmt.Errorf("line of column names: %w", csvQuoteError(err))
	}
	columns, err := csvHeader(names)
	if err != nil {
		return nil, err
	}
	in.ReuseRecord = true
	var coils []Coil
	lastOf := map[string]Coil{} // the one before, by batch
	for {
		record, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, csvQuoteError(err)
		}
		if strings.TrimSpace(strings.Join(record, "")) == "" {
			continue // spreadsheets add rows of nothing but commas
		}
		line, _ := in.FieldPos(0)
		coil, keep, err := csvCoil(columns, record)
		if err != nil {
			return nil, fmt.Errorf("line %d, %w", line, err)
		}
		if !keep {
			continue
		}
		before, follows := lastOf[coil.Batch]
		if follows {
			if err := coil.checkAfter(before); err != nil {
				return nil, fmt.Errorf("line %d, %w", line, err)
			}
		}
		coils = append(coils, coil)
		if coil.Time.IsZero() {
			coil.Time = before.Time // the next one is not wound before this either
		}
		lastOf[coil.Batch] = coil
	}
	if len(coils) == 0 {
		return nil, fmt.Errorf("no coils in the file: %w", ErrInput)
	}
	return coils, nil
}

// csvReader takes lines apart, after the mark with which spreadsheets begin UTF-8.
func csvReader(r io.Reader) (*csv.Reader, error) {
	const mark = "\ufeff"
	text := bufio.NewReader(r)
	first, err := text.Peek(len(mark))
	if err == nil && string(first) == mark {
		_, err = text.Discard(len(mark))
	}
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	in := csv.NewReader(text)
	in.TrimLeadingSpace = true
	in.FieldsPerRecord = -1 // csvCoil counts the cells, to say how to mend a line
	return in, nil
}

// csvQuoteError says how to mend a line that cannot be taken apart.
func csvQuoteError(err error) error {
	var parse *csv.ParseError
	if !errors.As(err, &parse) {
		return err
	}
	return fmt.Errorf("line %d: a quote that does not stand around a whole cell: %w; quotes come in pairs, and one within a quoted cell is written twice", parse.StartLine, ErrInput)
}

// checkAfter sees that c may stand in the next row of its batch after before.
func (c Coil) checkAfter(before Coil) error {
	switch {
	case (c.Sequence == 0) != (before.Sequence == 0):
		return fmt.Errorf("column sequence: some coils of a batch have a number and some have none: %w; fill in all or none", ErrInput)
	case c.Sequence != 0 && c.Sequence <= before.Sequence:
		return fmt.Errorf("column sequence: coil %d comes after coil %d: %w; each coil stands there once (of one stage), in the order of winding, and coils of several batches need the column batch", c.Sequence, before.Sequence, ErrInput)
	case c.Sequence == 0 && !c.Time.IsZero() && c.Time.Before(before.Time):
		return fmt.Errorf("column time: %s comes after %s: %w; rows go in the order of winding, and coils of several batches need the column batch; where the time is not that of winding, tell the order by the column sequence", c.Time.Format(time.RFC3339), before.Time.Format(time.RFC3339), ErrInput)
	}
	return nil
}

// csvHeader checks the column names and returns them trimmed.
func csvHeader(names []string) ([]string, error) {
	known := map[string]bool{}
	var all []string
	for _, set := range [][]string{csvColumns, alsoRead, ignoredColumns} {
		for _, name := range set {
			known[name] = true
			all = append(all, name)
		}
	}
	seen := map[string]bool{}
	columns := make([]string, len(names))
	for i, name := range names {
		name = strings.TrimSpace(name)
		if !printable(strings.ReplaceAll(name, "\t", "")) {
			return nil, fmt.Errorf("line of column names: column %d is no text: %w; save the table as CSV in UTF-8", i+1, ErrInput)
		}
		name = strings.ToLower(name)
		switch {
		case strings.ContainsAny(name, ";\t"):
			return nil, fmt.Errorf("line of column names: %q: %w; columns are separated by commas: save the table with commas between the cells and points in the numbers", name, ErrInput)
		case !known[name]:
			hint := ""
			if near, ok := nearest.Word(name, all); ok {
				hint = "; did you mean " + near + "?"
			}
			return nil, fmt.Errorf("column %q: %w%s; the columns are %s", name, ErrInput, hint, strings.Join(csvColumns, ", "))
		}
		if seen[name] {
			return nil, fmt.Errorf("column %q comes twice: %w", name, ErrInput)
		}
		seen[name], columns[i] = true, name
	}
	if !seen["r20_ohms"] {
		return nil, fmt.Errorf("no column r20_ohms: %w; the first line names the columns", ErrInput)
	}
	return columns, nil
}

func csvCoil(columns, record []string) (c Coil, keep bool, err error) {
	if len(record) != len(columns) {
		return Coil{}, false, fmt.Errorf("number of cells: %d, and of columns %d: %w; numbers take a decimal point (6690.5), a text with a comma stands in quotes, and an empty cell keeps its comma", len(record), len(columns), ErrInput)
	}
	keep = true
	for i, column := range columns {
		// The reader lends its memory until the next line.
		cell := strings.Clone(strings.TrimSpace(record[i]))
		if cell == "" && column != "r20_ohms" {
			continue
		}
		switch column {
		case "sequence":
			// An export writes 0 for coils of no batch.
			if at := slices.Index(columns, "batch"); cell != "0" || at < 0 || strings.TrimSpace(record[at]) != "" {
				c.Sequence, err = csvSequence(cell)
			}
		case "time":
			c.Time, err = csvTime(cell)
		case "serial":
			c.Serial, err = csvText(cell)
		case "r20_ohms":
			c.R20Ohms, err = csvNumber(cell)
		case "expanded_uncertainty_ohms":
			c.ExpandedUncertaintyOhms, err = csvNumber(cell)
		case "coverage_factor":
			c.CoverageFactor, err = csvNumber(cell)
		case "batch":
			c.Batch, err = csvText(cell)
		case "spool":
			c.Spool, err = csvText(cell)
		case "winder":
			c.Winder, err = csvText(cell)
		case "operator":
			c.Operator, err = csvText(cell)
		case "temperature_celsius":
			c.TemperatureCelsius, err = csvOptional(cell)
		case "check_standard_ohms":
			c.CheckStandardOhms, err = csvOptional(cell)
		case "status":
			c.Doubtful, keep, err = csvStatus(cell)
		}
		if err != nil {
			return Coil{}, false, fmt.Errorf("column %s, %q: %w", column, cell, err)
		}
	}
	if err := c.check(); err != nil {
		return Coil{}, false, err
	}
	return c, keep, nil
}

// csvText takes what can be printed anywhere, in a terminal too.
func csvText(cell string) (string, error) {
	if !printable(cell) {
		return "", fmt.Errorf("%w; write plain text in UTF-8, without control characters", ErrInput)
	}
	return cell, nil
}

func printable(text string) bool {
	return utf8.ValidString(text) && !strings.ContainsFunc(text, func(r rune) bool { return !unicode.IsPrint(r) })
}

// csvStatus says what is doubtful about a measurement, and whether it counts.
func csvStatus(cell string) (doubtful string, keep bool, err error) {
	status := strings.ToLower(cell)
	if !slices.Contains(csvStatuses, status) {
		return "", false, fmt.Errorf("%w; a status is one of %s, or empty", ErrInput, strings.Join(csvStatuses, ", "))
	}
	if status == "forced" {
		doubtful = status
	}
	return doubtful, status != "void" && status != "superseded", nil
}

func csvSequence(cell string) (int, error) {
	n, err := strconv.ParseInt(cell, 10, 32)
	if err != nil || n < 1 {
		return 0, fmt.Errorf("%w; write a whole number from 1, at most %d", ErrInput, math.MaxInt32)
	}
	return int(n), nil
}

func csvTime(cell string) (time.Time, error) {
	at, err := time.Parse(time.RFC3339, cell)
	if err != nil {
		return time.Time{}, fmt.Errorf("%w; write a time like 2026-01-31T15:04:00Z", ErrInput)
	}
	return at, nil
}

// csvNumber reads a number as spreadsheets write it. ParseFloat takes more:
// hexadecimal, underscores between digits, inf and nan.
func csvNumber(cell string) (float64, error) {
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil || strings.Trim(cell, "+-.0123456789eE") != "" {
		return 0, fmt.Errorf("%w; write a number like 6690.5", ErrInput)
	}
	return v, nil
}

func csvOptional(cell string) (*float64, error) {
	v, err := csvNumber(cell)
	return &v, err
}
