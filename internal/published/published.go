// Package published reads the published reference tables under testdata for the
// tests of other packages. It never lets an empty or misread table pass for a
// check that succeeded. Nothing but tests imports it.
package published

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"testing"
)

// Row is one row of a table: its cells by column name.
type Row struct {
	tb    testing.TB
	where string
	cells map[string]string
}

// Text returns the cell of a column, which may be empty. A column the table
// does not have fails the test.
func (r Row) Text(column string) string {
	r.tb.Helper()
	cell, ok := r.cells[column]
	if !ok {
		r.tb.Fatalf("%s: no column %q", r.where, column)
	}
	return cell
}

// Number returns the number in a column; an empty cell fails the test.
func (r Row) Number(column string) float64 {
	r.tb.Helper()
	v, err := strconv.ParseFloat(r.Text(column), 64)
	if err != nil {
		r.tb.Fatalf("%s, column %q: %v", r.where, column, err)
	}
	return v
}

// Table reads testdata/name, a CSV file with one line of column names. A table
// without rows fails the test.
func Table(tb testing.TB, name string) []Row {
	tb.Helper()
	f, err := os.Open(path(tb, name))
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		tb.Fatalf("%s: %v", name, err)
	}
	if len(records) < 2 {
		tb.Fatalf("%s: no rows", name)
	}
	rows := make([]Row, 0, len(records)-1)
	for i, record := range records[1:] {
		cells := make(map[string]string, len(record))
		for j, column := range records[0] {
			cells[column] = record[j]
		}
		rows = append(rows, Row{tb, name + " row " + strconv.Itoa(i+1), cells})
	}
	return rows
}

// JSON reads testdata/name into v, a pointer to a struct or a list. A file of
// which nothing comes into it fails the test.
func JSON(tb testing.TB, name string, v any) {
	tb.Helper()
	data, err := os.ReadFile(path(tb, name))
	if err != nil {
		tb.Fatal(err)
	}
	if err := json.Unmarshal(data, v); err != nil {
		tb.Fatalf("%s: %v", name, err)
	}
	read := reflect.ValueOf(v).Elem()
	if read.IsZero() || (read.Kind() == reflect.Slice || read.Kind() == reflect.Map) && read.Len() == 0 {
		tb.Fatalf("%s: nothing in it is what is looked for", name)
	}
}

// path finds testdata beside go.mod, above the folder the test runs in.
func path(tb testing.TB, name string) string {
	tb.Helper()
	dir, err := os.Getwd()
	if err != nil {
		tb.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return filepath.Join(dir, "testdata", name)
		}
		parent := filepath.Dir(dir)
		if parent == dir {
			tb.Fatal("no go.mod above the folder of the test")
		}
		dir = parent
	}
}
