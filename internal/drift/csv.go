package drift

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"coilkeep/internal/sheet"
)

// csvColumns are the columns [ReadCSV] knows, in the order it names them; the
// others are those of an export of measurements, which may stay in. Of them
// batch, coverage_factor and status are used.
var csvColumns = sheet.Columns{
	Known: []string{"sequence", "time", "serial", "r20_ohms", "expanded_uncertainty_ohms", "spool", "winder", "operator",
		"temperature_celsius", "check_standard_ohms"},
	Needed: []string{"r20_ohms"},
	Others: []string{"batch", "coverage_factor", "status",
		"id", "bench", "design", "design_revision", "resistance_ohms", "verdict", "conformity_probability", "reason",
		"meter", "probe", "stage", "alpha_per_kelvin"},
}

// csvStatuses are those of measurements; the last two say that one does not count.
var csvStatuses = []string{"recorded", "forced", "manual", "void", "superseded"}

// ReadCSV reads coils from CSV with a line of column names, of which only
// r20_ohms must be there; a cell may be empty but for that one. Numbers have
// decimal points, times are RFC 3339. It takes exports of measurements as they
// are: rows with the status void or superseded are left out, forced ones are
// marked. Rows go in the order of winding, batch by batch by their sequence, or
// by their time where no sequence is told; a coil that was measured again later goes
// where the row left out has its number. Errors name the line and the column,
// and wrap [ErrInput] but for those of r.
func ReadCSV(r io.Reader) ([]Coil, error) {
	coils, err := readCSV(r)
	var fault *sheet.Fault
	if errors.As(err, &fault) {
		return nil, fmt.Errorf("%w: %w", ErrInput, err)
	}
	return coils, err
}

func readCSV(r io.Reader) ([]Coil, error) {
	in, err := sheet.NewReader(r, csvColumns)
	if err != nil {
		return nil, err
	}
	coils := csvOrder{places: map[csvPlace]int{}, lastOf: map[string]Coil{}}
	for {
		row, err := in.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		status := csvStatus(row)
		if status == "void" || status == "superseded" {
			coils.keepPlace(row)
			continue // whatever else is in it
		}
		coil := csvCoil(row, status)
		if err := row.Err(); err != nil {
			return nil, err
		}
		if err := coil.check(); err != nil {
			return nil, fmt.Errorf("line %d, %w", row.Line, err)
		}
		if coils.placeCoil(coil, row); row.Err() != nil {
			return nil, row.Err()
		}
	}
	found := coils.coilsInOrder()
	if len(found) == 0 {
		return nil, &sheet.Fault{Problem: "no coils in the file"}
	}
	return found, nil
}

// csvStatus reads the status of a measurement, empty when none is told.
func csvStatus(row *sheet.Row) string {
	status := strings.ToLower(row.Text("status"))
	if status != "" && !slices.Contains(csvStatuses, status) {
		row.Fail("status", "%q is not known; a status is one of %s, or empty", status, strings.Join(csvStatuses, ", "))
	}
	return status
}

// csvCoil reads one coil.
func csvCoil(row *sheet.Row, status string) Coil {
	c := Coil{
		Sequence: csvSequence(row), Time: row.Time("time"), Serial: row.Plain("serial"), Batch: row.Plain("batch"),
		ExpandedUncertaintyOhms: row.Number("expanded_uncertainty_ohms"), CoverageFactor: row.Number("coverage_factor"),
		Spool: row.Plain("spool"), Winder: row.Plain("winder"), Operator: row.Plain("operator"),
		TemperatureCelsius: csvNumberOrNil(row, "temperature_celsius"),
	}
	if check := csvNumberOrNil(row, "check_standard_ohms"); check != nil {
		c.CheckStandardOhms = []float64{*check}
	}
	row.Needed("r20_ohms")
	c.R20Ohms = row.Number("r20_ohms")
	if status == "forced" {
		c.Doubtful = status
	}
	return c
}

// csvSequence reads the number of a coil, from 1. An export writes 0 for coils
// of no batch.
func csvSequence(row *sheet.Row) int {
	if row.Text("sequence") == "0" && row.Has("batch") && row.Text("batch") == "" {
		return 0
	}
	return row.Count("sequence", 1)
}

func csvNumberOrNil(row *sheet.Row, column string) *float64 {
	if row.Text(column) == "" {
		return nil
	}
	v := row.Number(column)
	return &v
}
