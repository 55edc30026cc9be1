package drift

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"coilkeep/internal/nearest"
)

// csvColumns are the columns [ReadCSV] knows, in the order it names them.
var csvColumns = []string{"sequence", "time", "serial", "r20_ohms", "expanded_uncertainty_ohms", "spool", "winder", "operator", "temperature_celsius", "check_standard_ohms"}

// ignoredColumns are others of an export of measurements, which may stay in.
var ignoredColumns = []string{"id", "bench", "design", "design_revision", "resistance_ohms", "verdict", "conformity_probability", "reason", "meter", "probe", "stage", "alpha_per_kelvin"}

// alsoRead are columns of an export that are used where they are there.
var alsoRead = []string{"batch", "coverage_factor", "status"}

// ReadCSV reads coils from CSV with a line of column names, of which only
// r20_ohms must be there; a cell may be empty but for that one. Numbers have
// decimal points, times are RFC 3339. It takes exports of measurements as they
// are: rows with the status void or superseded are left out, forced ones are
// marked. Rows go in the order of winding. Errors name the line and the column.
func ReadCSV(r io.Reader) ([]Coil, error) {
	in := csv.NewReader(r)
	in.TrimLeadingSpace = true
	names, err := in.Read()
	if errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("the file is empty: %w; its first line names the columns", ErrInput)
	}
	if err != nil {
		return nil, fmt.Errorf("line of column names: %w", err)
	}
	columns, err := csvHeader(names)
	if err != nil {
		return nil, err
	}
	in.ReuseRecord = true
	var coils []Coil
	lastOf := map[string]int{} // sequence, by batch
	for {
		record, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("%w; every line has as many cells as the first", err)
		}
		line, _ := in.FieldPos(0)
		coil, keep, err := csvCoil(columns, record)
		if err != nil {
			return nil, fmt.Errorf("line %d, %w", line, err)
		}
		if !keep {
			continue
		}
		if last := lastOf[coil.Batch]; coil.Sequence != 0 && coil.Sequence <= last {
			return nil, fmt.Errorf("line %d, column sequence: coil %d comes after coil %d: %w; each coil stands there once (of one stage), in the order of winding, and coils of several batches need the column batch", line, coil.Sequence, last, ErrInput)
		}
		lastOf[coil.Batch] = max(lastOf[coil.Batch], coil.Sequence)
		coils = append(coils, coil)
	}
	if len(coils) == 0 {
		return nil, fmt.Errorf("no coils in the file: %w", ErrInput)
	}
	return coils, nil
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
		name = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(name, "\ufeff")))
		if !known[name] {
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
	keep = true
	for i, column := range columns {
		// The reader lends its memory until the next line.
		cell := strings.Clone(strings.TrimSpace(record[i]))
		if cell == "" && column != "r20_ohms" {
			continue
		}
		switch column {
		case "sequence":
			c.Sequence, err = strconv.Atoi(cell)
			if err == nil && c.Sequence < 1 {
				err = fmt.Errorf("%w; it counts from 1", ErrInput)
			}
		case "time":
			c.Time, err = time.Parse(time.RFC3339, cell)
		case "serial":
			c.Serial = cell
		case "r20_ohms":
			c.R20Ohms, err = csvNumber(cell)
		case "expanded_uncertainty_ohms":
			c.ExpandedUncertaintyOhms, err = csvNumber(cell)
		case "coverage_factor":
			c.CoverageFactor, err = csvNumber(cell)
		case "batch":
			c.Batch = cell
		case "spool":
			c.Spool = cell
		case "winder":
			c.Winder = cell
		case "operator":
			c.Operator = cell
		case "temperature_celsius":
			c.TemperatureCelsius, err = csvOptional(cell)
		case "check_standard_ohms":
			c.CheckStandardOhms, err = csvOptional(cell)
		case "status":
			keep = cell != "void" && cell != "superseded"
			if cell == "forced" {
				c.Doubtful = cell
			}
		}
		if err != nil {
			return Coil{}, false, fmt.Errorf("column %s, %q: %w", column, cell, plainNumberError(err))
		}
	}
	if err := c.check(); err != nil {
		return Coil{}, false, err
	}
	return c, keep, nil
}

func csvNumber(cell string) (float64, error) {
	v, err := strconv.ParseFloat(cell, 64)
	if err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
		return 0, fmt.Errorf("%w; not a number to reckon with", ErrInput)
	}
	return v, err
}

func csvOptional(cell string) (*float64, error) {
	v, err := csvNumber(cell)
	return &v, err
}

// plainNumberError says what a cell should look like.
func plainNumberError(err error) error {
	var number *strconv.NumError
	var moment *time.ParseError
	switch {
	case errors.As(err, &number):
		return fmt.Errorf("%w; write a number like 6690.5", ErrInput)
	case errors.As(err, &moment):
		return fmt.Errorf("%w; write a time like 2026-01-31T15:04:00Z", ErrInput)
	}
	return err
}
