package sheet

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// Row is one line of a table, good until the next is read. It keeps the first
// fault of what was asked of it; an answer that has one is empty.
type Row struct {
	Line   int
	places map[string]int
	cells  []string
	fault  error
}

// Err returns the first fault, a [*Fault], or nil.
func (r *Row) Err() error { return r.fault }

// Fail notes what is wrong with a column, and how to mend it.
func (r *Row) Fail(column, format string, args ...any) {
	if r.fault == nil {
		r.fault = &Fault{r.Line, column, fmt.Sprintf(format, args...)}
	}
}

// Has is true for a table with that column.
func (r *Row) Has(column string) bool {
	_, ok := r.places[column]
	return ok
}

// Text returns a cell without the space around it and without the apostrophe of
// [Guard]; it is empty where the table lacks the column.
func (r *Row) Text(column string) string {
	i, ok := r.places[column]
	if !ok {
		return ""
	}
	return unguarded(strings.TrimSpace(r.cells[i]))
}

// Plain is Text that can be printed anywhere.
func (r *Row) Plain(column string) string {
	text := r.Text(column)
	if !Printable(text) {
		r.Fail(column, "%q will not do; write plain text in UTF-8, without control characters", text)
		return ""
	}
	return text
}

// Needed is Text that may not be empty.
func (r *Row) Needed(column string) string {
	text := r.Text(column)
	if text == "" {
		r.Fail(column, "is empty; every line needs one")
	}
	return text
}

// maxExponent is beyond any number of a workshop.
const maxExponent = 30

// Number reads a number as spreadsheets write it, 0 when the cell is empty.
// ParseFloat takes more: inf, nan, hexadecimal and underscores.
func (r *Row) Number(column string) float64 {
	text := r.Text(column)
	if text == "" {
		return 0
	}
	mantissa, power, hasPower := strings.Cut(strings.ToLower(text), "e")
	exponent := 0
	value, err := strconv.ParseFloat(text, 64)
	if err == nil && hasPower {
		exponent, err = strconv.Atoi(power)
	}
	if err != nil || strings.Trim(mantissa, "+-.0123456789") != "" || exponent < -maxExponent || exponent > maxExponent {
		r.Fail(column, "%q is not a number; write a plain number like 6690.5, without unit, with a decimal point", text)
		return 0
	}
	return value
}

// Count reads a whole number from least on, 0 when the cell is empty.
func (r *Row) Count(column string, least int) int {
	text := r.Text(column)
	if text == "" {
		return 0
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < least || n > math.MaxInt32 {
		r.Fail(column, "%q will not do; write a whole number, at least %d", text, least)
		return 0
	}
	return n
}

// Time reads an RFC 3339 time, the zero time when the cell is empty.
func (r *Row) Time(column string) time.Time { return r.TimeIn(column, nil) }

// zoneless are the times that spreadsheets write.
var zoneless = []string{"2006-01-02 15:04", "2006-01-02 15:04:05", "2006-01-02T15:04", "2006-01-02T15:04:05"}

// TimeIn is [Row.Time], and takes a time without a zone as one in that zone; nil
// takes none. A time that a zone skips, when its clocks go forward, is refused.
func (r *Row) TimeIn(column string, zone *time.Location) time.Time {
	text := r.Text(column)
	if text == "" {
		return time.Time{}
	}
	at, err := time.Parse(time.RFC3339, text)
	for _, layout := range zoneless {
		if err == nil || zone == nil {
			break
		}
		// Where the clocks of a zone skip a time, it is read as another one.
		if at, err = time.ParseInLocation(layout, text, zone); err == nil && !sameClock(at, layout, text) {
			r.Fail(column, "%q is no time in the zone %s: its clocks skip it", text, zone)
			return time.Time{}
		}
	}
	// Years beyond these are not whole microseconds in 64 bits.
	if err != nil || at.Year() < 1900 || at.Year() > 9999 {
		r.Fail(column, "%q will not do; write a time with its zone, like 2026-01-31T15:04:00Z or 2026-01-31T16:04:00+01:00", text)
		return time.Time{}
	}
	return at
}

// sameClock says whether a clock that shows at showed what text says.
func sameClock(at time.Time, layout, text string) bool {
	told, err := time.Parse(layout, text)
	return err == nil && told.Hour() == at.Hour() && told.Minute() == at.Minute()
}
