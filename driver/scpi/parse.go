package scpi

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"unicode"

	"coilkeep/driver"
	"coilkeep/driver/internal/lines"
	"coilkeep/driver/internal/number"
)

// Parse maps the answer to a query, without its line end, to a reading of q;
// Time is left to the caller. Numbers are in the forms NR1, NR2 and NR3 of IEEE
// 488.2-1992, 8.7.2 to 8.7.4; ±9.9E37 is an overload and 9.91E37 is
// not-a-number (SCPI-1999 vol. 1, 7.2.1). An answer with several items is
// Unreadable.
func Parse(line []byte, q driver.Quantity) driver.Reading {
	r := parse(line, q)
	r.Raw = lines.Raw(line)
	return r
}

func parse(line []byte, q driver.Quantity) driver.Reading {
	text, err := lines.Text(line)
	if err != nil {
		return number.Unreadable(err.Error())
	}
	// Items of one response are parted by commas, responses by semicolons. A
	// second item, whatever it is, makes it doubtful what was answered: the
	// entry 0,"No error" of an empty error queue has one number, too.
	elements := strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ';' })
	if len(elements) > 1 {
		return number.Unreadable(fmt.Sprintf("%d items in one answer; set the query so that it asks for one", len(elements)))
	}
	if len(elements) == 1 {
		if r, ok := number.Response(elements[0], q); ok {
			return r
		}
	}
	return number.Unreadable("no number in the answer")
}

// ParseIdentity reads an answer to *IDN? (IEEE 488.2-1992, 10.14): maker, model,
// serial number and firmware, parted by commas. A "0" in one of the last two
// means that it is not known. Answers with two or three fields are met, too,
// and accepted; one that does not begin with a letter is not.
func ParseIdentity(text string) (driver.Identity, error) {
	fields := strings.SplitN(text, ",", 4)
	if len(fields) < 2 || !startsWithLetter(fields[0]) || number.IsOverload(strings.TrimSpace(fields[0])) {
		return driver.Identity{}, fmt.Errorf("%q is not an identity (maker, model, serial number, firmware)", text)
	}
	field := func(n int) string {
		if n >= len(fields) || n >= 2 && strings.TrimSpace(fields[n]) == "0" {
			return ""
		}
		return strings.TrimSpace(fields[n])
	}
	return driver.Identity{Manufacturer: field(0), Model: field(1), Serial: field(2), Firmware: field(3), Raw: text}, nil
}

func startsWithLetter(text string) bool {
	for _, r := range text {
		return unicode.IsLetter(r)
	}
	return false
}

// QueueEntry is one entry of the error queue (SCPI-1999 vol. 2, 21.8).
type QueueEntry struct {
	// Code is negative for the errors SCPI defines, positive for the
	// instrument's own, and 0 for an empty queue.
	Code int
	Text string
}

func (e QueueEntry) String() string { return fmt.Sprintf("%d,%q", e.Code, e.Text) }

var speaksOfRemote = regexp.MustCompile(`(?i)\b(?:local|remote)\b`)

// WantsRemote reports whether the instrument refuses what it was sent until it
// is put into remote mode: -201 is "Invalid while in local" and -203 is "Command
// protected" (SCPI-1999 vol. 2, 21.8.10, from memory); an error of the
// instrument's own may say so in words.
func (e QueueEntry) WantsRemote() bool {
	return e.Code == -201 || e.Code == -203 || e.Code != 0 && speaksOfRemote.MatchString(e.Text)
}

var queueEntry = regexp.MustCompile(`^([+-]?\d{1,5})\s*,\s*"((?:[^"]|"")*)"$`)

// ParseQueueEntry reads an answer to SYSTem:ERRor?.
func ParseQueueEntry(text string) (QueueEntry, error) {
	m := queueEntry.FindStringSubmatch(strings.TrimSpace(text))
	if m == nil {
		return QueueEntry{}, fmt.Errorf("%q is not an entry of an error queue (-113,\"Undefined header\")", text)
	}
	code, err := strconv.Atoi(m[1])
	if err != nil {
		return QueueEntry{}, fmt.Errorf("code of the error queue's entry %q: %w", text, err)
	}
	return QueueEntry{Code: code, Text: strings.ReplaceAll(m[2], `""`, `"`)}, nil
}

// functions are the names of measurement functions (SCPI-1999 vol. 2, SENSe:
// FUNCtion), short and long, and what they measure; an empty quantity is one
// that is never asked for here.
var functions = map[string]driver.Quantity{
	"RES": driver.Resistance, "RESISTANCE": driver.Resistance,
	"FRES": driver.Resistance, "FRESISTANCE": driver.Resistance,
	"TEMP": driver.Temperature, "TEMPERATURE": driver.Temperature,
	"VOLT": "", "VOLTAGE": "", "CURR": "", "CURRENT": "", "FREQ": "", "FREQUENCY": "", "PER": "", "PERIOD": "",
	"CAP": "", "CAPACITANCE": "", "IND": "", "INDUCTANCE": "", "CONT": "", "CONTINUITY": "", "DIOD": "", "DIODE": "", "POW": "", "POWER": "",
}

// ParseFunction reads an answer to FUNCtion? or CONFigure? and returns what the
// instrument is set to measure; empty when that is something else than
// resistance or temperature. It reports false when the answer does not tell.
func ParseFunction(text string) (driver.Quantity, bool) {
	text = strings.ToUpper(strings.Trim(strings.TrimSpace(text), `"'`))
	name, _, _ := strings.Cut(strings.TrimPrefix(strings.TrimPrefix(text, ":"), "SENS:"), " ")
	name, _, _ = strings.Cut(name, ":")
	name, _, _ = strings.Cut(name, ",")
	q, known := functions[name]
	return q, known
}
