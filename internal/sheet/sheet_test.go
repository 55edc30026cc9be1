package sheet

import (
	"errors"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"
	"time"
)

var columns = Columns{Known: []string{"serial", "r20_ohms", "time", "sequence"}, Others: []string{"bench"}, Needed: []string{"r20_ohms"}}

// first reads the first line behind the names.
func first(text string) (*Row, error) {
	table, err := NewReader(strings.NewReader(text), columns)
	if err != nil {
		return nil, err
	}
	return table.Next()
}

func TestReader(t *testing.T) {
	t.Parallel()
	for name, text := range map[string]string{
		"plain":                 "serial,r20_ohms\nHN-1,6690.5\n",
		"another order":         "r20_ohms,serial\n6690.5,HN-1\n",
		"mark, CRLF and quotes": "\ufeff\"Serial\", \"R20_ohms\"\r\n\"HN-1\", 6690.5\r\n",
		"lines of nothing":      "\nserial,r20_ohms\n\n,\n  ,\n,,,,\nHN-1 ,6690.5\n",
		"a space without break": "serial,r20_ohms\u00a0\nHN-1,\u00a06690.5\n",
		"a column more":         "bench,serial,r20_ohms\n,HN-1,+6.6905E+03\n",
		"no last line end":      "serial,r20_ohms\nHN-1,6690.50",
	} {
		row, err := first(text)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		serial, ohms := row.Plain("serial"), row.Number("r20_ohms")
		if row.Err() != nil || serial != "HN-1" || ohms != 6690.5 {
			t.Errorf("%s: got %q, %g, %v", name, serial, ohms, row.Err())
		}
		if row.Has("time") || row.Text("time") != "" || !row.Time("time").IsZero() || row.Number("sequence") != 0 ||
			row.Count("sequence", 1) != 0 || row.Err() != nil {
			t.Errorf("%s: a column that is not there holds something, or is missed: %v", name, row.Err())
		}
	}
}

func TestReaderRefuses(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ text, says string }{
		"nothing":     {"", "the file is empty; its first line names the columns"},
		"only a mark": {"\ufeff", "the file is empty"},
		"no column":   {"serial\nHN-1\n", "line 1: no column r20_ohms; the first line names the columns, and r20_ohms must be among them"},
		"unknown column": {"r20_ohm\n6690\n", `line 1: column "r20_ohm" is not known; did you mean r20_ohms?; the columns are serial, ` +
			`r20_ohms, time, sequence`},
		"no column near": {"r20_ohms,colour\n6690,red\n", `column "colour" is not known; the columns are serial`},
		"column twice":   {"r20_ohms,R20_Ohms\n1,2\n", "column r20_ohms comes twice; keep one"},
		"semicolons": {"sequence;r20_ohms\n1;6690,5\n", "line 1: the columns are not parted by commas; save the table with commas " +
			"between the cells and points in the numbers"},
		"tabs":           {"\nr20_ohms\tserial\n6690\tA\n", "line 2: the columns are not parted by commas"},
		"other encoding": {"\xff\xfer\x002\x000\x00", "the name of column 1 is no text; save the table as CSV in UTF-8"},
		"no text at all": {"r20;\xe9\x10\x0e\n6690\n", "the name of column 1 is no text"},
		"quoted names":   {"r20\"ohms\n6690\n", "line 1: a quote that does not stand around a whole cell"},
		"bare comma": {"sequence,r20_ohms\n1,6690,5\n", "line 2: cells: 3, and columns: 2; numbers take a decimal point (6690.5), a " +
			"text with a comma stands in quotes"},
		"short line": {"r20_ohms,serial\n\n6690\n", "line 3: cells: 1, and columns: 2"},
		"open quote": {"r20_ohms,serial\n6690,\"A\n6691,B\n", "line 2: a quote that does not stand around a whole cell; quotes come in " +
			"pairs"},
		"quote inside":    {"r20_ohms,serial\n6690,A\"B\n", "line 2: a quote"},
		"quote on line 3": {"r20_ohms,serial\n\n6690,A\"B\n", "line 3: a quote"},
	} {
		_, err := first(c.text)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: got %v, want an error that says %q", name, err, c.says)
		}
		if fault := (*Fault)(nil); !errors.As(err, &fault) {
			t.Errorf("%s: %v is no fault", name, err)
		}
	}
}

// A file that cannot be read to its end is no short file, and no faulty one.
func TestReaderFails(t *testing.T) {
	t.Parallel()
	lost := errors.New("the stick was pulled")
	for _, text := range []string{"", "r2", "r20_ohms\n", "r20_ohms\n66"} {
		table, err := NewReader(io.MultiReader(strings.NewReader(text), iotest.ErrReader(lost)), columns)
		if err == nil {
			_, err = table.Next()
		}
		if fault := (*Fault)(nil); !errors.Is(err, lost) || errors.As(err, &fault) {
			t.Errorf("after %q: got %v, want %v", text, err, lost)
		}
	}
}

func TestRowFaults(t *testing.T) {
	t.Parallel()
	number := func(r *Row) { r.Number("r20_ohms") }
	count := func(r *Row) { r.Count("sequence", 1) }
	at := func(r *Row) { r.Time("time") }
	plain := func(r *Row) { r.Plain("serial") }
	for name, c := range map[string]struct {
		column, cell string
		ask          func(*Row)
		says         string
	}{
		"decimal comma": {"r20_ohms", `"6690,5"`, number, `"6690,5" is not a number; write a plain number like 6690.5, without unit, ` +
			`with a decimal point`},
		"prefix":           {"r20_ohms", "6.69k", number, "is not a number"},
		"unit":             {"r20_ohms", "6690 Ω", number, "is not a number"},
		"infinite":         {"r20_ohms", "+Inf", number, "is not a number"},
		"none":             {"r20_ohms", "NaN", number, "is not a number"},
		"beyond a number":  {"r20_ohms", "1e400", number, "is not a number"},
		"beyond a shop":    {"r20_ohms", "1e31", number, "is not a number"},
		"hexadecimal":      {"r20_ohms", "0x1p12", number, "is not a number"},
		"underscore":       {"r20_ohms", "2_1", number, "is not a number"},
		"underscore power": {"r20_ohms", "1e0_1", number, "is not a number"},
		"two signs":        {"r20_ohms", "+-5", number, "is not a number"},
		"needed":           {"r20_ohms", "", func(r *Row) { r.Needed("r20_ohms") }, "is empty; every line needs one"},
		"zero":             {"sequence", "0", count, `"0" will not do; write a whole number, at least 1`},
		"broken":           {"sequence", "1.0", count, "write a whole number"},
		"huge":             {"sequence", "99999999999999999999", count, "write a whole number"},
		"more than 31 bit": {"sequence", "2147483648", count, "write a whole number"},
		"word":             {"time", "yesterday", at, "write a time with its zone, like 2026-01-31T15:04:00Z"},
		"no zone":          {"time", "2019-05-02 16:20", at, "write a time with its zone"},
		"ancient":          {"time", "0001-01-01T00:00:00Z", at, "write a time with its zone"},
		"escape":           {"serial", "\x1b[31mred", plain, `"\x1b[31mred" will not do; write plain text in UTF-8, without control characters`},
		"two lines":        {"serial", "\"W\n2\"", plain, `"W\n2" will not do`},
		"zero byte":        {"serial", "HN\x00-1", plain, "write plain text"},
		"not UTF-8":        {"serial", "Fr\xfchling", plain, "write plain text"},
	} {
		// The needed column stands in front where it is not the one under test.
		head, cells := "r20_ohms,"+c.column, "6690,"+c.cell
		if c.column == "r20_ohms" {
			head, cells = "serial,r20_ohms", "HN-1,"+c.cell
		}
		row, err := first(head + "\n" + cells + "\n")
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		c.ask(row)
		err = row.Err()
		if want := "line 2, column " + c.column + ": "; err == nil || !strings.HasPrefix(err.Error(), want) ||
			!strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: got %v, want %s…%s", name, err, want, c.says)
		}
		row.Fail("serial", "another")
		if row.Err() != err {
			t.Errorf("%s: a second fault hides the first: %v", name, row.Err())
		}
	}
}

// A text that a spreadsheet would run gets an apostrophe, and comes back as it
// was. The leading characters are those of OWASP, "CSV Injection".
func TestGuard(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"=cmd|' /C calc'!A0": "'=cmd|' /C calc'!A0",
		"+1":                 "'+1",
		"-1":                 "'-1",
		"@SUM(A1)":           "'@SUM(A1)",
		"\t=1":               "'\t=1",
		"\r=1":               "'\r=1",
		"\n=1":               "'\n=1",
		"HN-1":               "HN-1",
		"'=1":                "''=1",
		"'tis":               "'tis",
		"Ω=1":                "Ω=1",
		"":                   "",
	} {
		if got := Guard(text); got != want {
			t.Errorf("%q became %q, want %q", text, got, want)
		}
		if back := unguarded(Guard(text)); back != text {
			t.Errorf("%q came back as %q", text, back)
		}
	}
}

// What is read is what its text says, and keeps to the bounds that are told.
func FuzzReader(f *testing.F) {
	f.Add("serial,r20_ohms,time,sequence\nHN-1,6690.5,2026-01-31T15:04:00Z,1\n,,,\n'=1,6e3,,2\n")
	f.Add("\ufeffr20_ohms\r\n\"6690\"\r\n")
	f.Add("r20_ohms;serial\n")
	f.Fuzz(func(t *testing.T, text string) {
		table, err := NewReader(strings.NewReader(text), columns)
		for err == nil {
			var row *Row
			if row, err = table.Next(); err != nil {
				break
			}
			v, n, at, serial := row.Number("r20_ohms"), row.Count("sequence", 1), row.Time("time"), row.Plain("serial")
			if row.Err() != nil {
				continue
			}
			if cell := row.Text("r20_ohms"); cell != "" {
				if again, err := strconv.ParseFloat(cell, 64); err != nil || again != v || math.IsInf(v, 0) || math.IsNaN(v) {
					t.Errorf("%q was read as %g", cell, v)
				}
			}
			if n < 0 || !at.IsZero() && (at.Year() < 1900 || at.After(time.Date(10000, 1, 1, 0, 0, 0, 0, at.Location()))) || !Printable(serial) {
				t.Errorf("read %d, %v, %q", n, at, serial)
			}
		}
		if fault := (*Fault)(nil); !errors.Is(err, io.EOF) && !errors.As(err, &fault) {
			t.Errorf("%v is no fault", err)
		}
	})
}
