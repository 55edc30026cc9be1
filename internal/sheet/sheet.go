// Package sheet reads tables that people keep in spreadsheets and save as CSV:
// a line of column names, then one line for each thing. Columns stand in any
// order, and what is wrong is told with its line and column.
package sheet

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"coilkeep/internal/nearest"
)

// Fault is what is wrong with a table, where, and how to mend it. Errors of the
// reader beneath are no faults.
type Fault struct {
	Line    int    // 0 for the table as a whole
	Column  string // empty for a line as a whole
	Problem string
}

func (f *Fault) Error() string {
	switch {
	case f.Line == 0:
		return f.Problem
	case f.Column == "":
		return fmt.Sprintf("line %d: %s", f.Line, f.Problem)
	default:
		return fmt.Sprintf("line %d, column %s: %s", f.Line, f.Column, f.Problem)
	}
}

// Columns is what a table may hold, in lower case.
type Columns struct {
	// Known are the columns that are named when somebody writes another.
	Known []string
	// Others may be there too.
	Others []string
	// Needed must be there; they are among Known.
	Needed []string
}

// Reader reads a table line by line.
type Reader struct {
	lines  *csv.Reader
	places map[string]int
}

// NewReader reads the line of column names. It passes over the byte order mark
// with which spreadsheets begin UTF-8.
func NewReader(r io.Reader, columns Columns) (*Reader, error) {
	const mark = "\ufeff"
	text := bufio.NewReader(r)
	first, err := text.Peek(len(mark))
	if err == nil && string(first) == mark {
		_, err = text.Discard(len(mark))
	}
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	lines := csv.NewReader(text)
	lines.TrimLeadingSpace = true
	lines.FieldsPerRecord = -1 // Next counts the cells, to say how to mend a line
	names, err := lines.Read()
	if errors.Is(err, io.EOF) {
		return nil, &Fault{Problem: "the file is empty; its first line names the columns"}
	}
	if err != nil {
		return nil, unquoted(err)
	}
	places, err := columns.places(names)
	if err != nil {
		line, _ := lines.FieldPos(0)
		return nil, &Fault{Line: line, Problem: err.Error()}
	}
	lines.ReuseRecord = true
	return &Reader{lines, places}, nil
}

// places returns where each column stands.
func (c Columns) places(names []string) (map[string]int, error) {
	all := slices.Concat(c.Known, c.Others)
	places := map[string]int{}
	for i, name := range names {
		name = strings.ToLower(strings.TrimSpace(name))
		if !Printable(strings.ReplaceAll(name, "\t", "")) {
			return nil, fmt.Errorf("the name of column %d is no text; save the table as CSV in UTF-8", i+1)
		}
		if strings.ContainsAny(name, ";\t") {
			return nil, errors.New("the columns are not parted by commas; save the table with commas between the cells and points in the numbers")
		}
		if !slices.Contains(all, name) {
			hint := ""
			if near, ok := nearest.Word(name, all); ok {
				hint = "; did you mean " + near + "?"
			}
			return nil, fmt.Errorf("column %q is not known%s; the columns are %s", name, hint, strings.Join(c.Known, ", "))
		}
		if _, twice := places[name]; twice {
			return nil, fmt.Errorf("column %s comes twice; keep one", name)
		}
		places[name] = i
	}
	for _, name := range c.Needed {
		if _, ok := places[name]; !ok {
			return nil, fmt.Errorf("no column %s; the first line names the columns, and %s must be among them", name, strings.Join(c.Needed, ", "))
		}
	}
	return places, nil
}

// Next returns the next line that holds anything, and io.EOF behind the last.
// Spreadsheets add lines of nothing but commas.
func (t *Reader) Next() (*Row, error) {
	for {
		cells, err := t.lines.Read()
		if errors.Is(err, io.EOF) {
			return nil, err
		}
		if err != nil {
			return nil, unquoted(err)
		}
		if strings.TrimSpace(strings.Join(cells, "")) == "" {
			continue
		}
		line, _ := t.lines.FieldPos(0)
		if len(cells) != len(t.places) {
			return nil, &Fault{Line: line, Problem: fmt.Sprintf("cells: %d, and columns: %d; numbers take a decimal point (6690.5), "+
				"a text with a comma stands in quotes, and an empty cell keeps its comma", len(cells), len(t.places))}
		}
		return &Row{Line: line, places: t.places, cells: cells}, nil
	}
}

// unquoted says how to mend a line that cannot be taken apart.
func unquoted(err error) error {
	var parse *csv.ParseError
	if !errors.As(err, &parse) {
		return err
	}
	return &Fault{Line: parse.StartLine, Problem: "a quote that does not stand around a whole cell; quotes come in pairs, and one within " +
		"a quoted cell is written twice"}
}

// Guard puts an apostrophe before a text that a spreadsheet would take for a
// formula (OWASP, "CSV Injection"), and before one that looks as if it had been
// guarded already, so that [Row.Text] finds every text again.
func Guard(text string) string {
	if formula(strings.TrimLeft(text, "'")) {
		return "'" + text
	}
	return text
}

// unguarded takes away the apostrophe that Guard put before a text.
func unguarded(text string) string {
	if bare, ok := strings.CutPrefix(text, "'"); ok && formula(strings.TrimLeft(bare, "'")) {
		return bare
	}
	return text
}

func formula(text string) bool {
	return text != "" && strings.ContainsRune("=+-@\t\r\n", rune(text[0]))
}

// Printable is true for text that can be printed anywhere, in a terminal too.
func Printable(text string) bool {
	return utf8.ValidString(text) && !strings.ContainsFunc(text, func(r rune) bool { return !unicode.IsPrint(r) })
}
