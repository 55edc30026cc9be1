// Package number turns the text of an instrument's answer into a value in ohms
// or degrees Celsius, or says why it is none. All drivers that read text share
// it, so an overload word or a unit means the same everywhere.
//
// It is pure: text in, reading out. Where a text may mean two numbers it gives
// none. What a coil or a room can be is left to others; only what no resistor
// and no thermometer can be is refused here.
package number

import (
	"regexp"
	"strconv"
	"strings"
)

// Decimal is a number as written, kept in decimal so that a prefix moves the
// point without a rounding of its own.
type Decimal struct {
	mantissa string // sign and digits, no point
	exponent int    // of ten, belongs to the last digit of mantissa
}

// response is the union of the three response forms of IEEE 488.2-1992: NR1
// (8.7.2), NR2 (8.7.3) and NR3 (8.7.4). A point has digits on both sides, so
// the beginning or the end of a cut number does not pass for a whole one.
var response = regexp.MustCompile(`^([+-]?)(\d+)(?:\.(\d+))?(?:[eE]([+-]?\d{1,3}))?$`)

// ParseDecimal reads the whole of text as one number in a response form of
// IEEE 488.2. It reports false for anything else, and for a number beyond the
// range of a float64.
func ParseDecimal(text string) (Decimal, bool) {
	m := response.FindStringSubmatch(text)
	if m == nil {
		return Decimal{}, false
	}
	exponent := 0
	if m[4] != "" {
		var err error
		if exponent, err = strconv.Atoi(m[4]); err != nil {
			return Decimal{}, false
		}
	}
	d := Decimal{mantissa: m[1] + m[2] + m[3], exponent: exponent - len(m[3])}
	if _, err := d.float(0); err != nil {
		return Decimal{}, false
	}
	return d, true
}

// Value is the number times ten to the power of shift, correctly rounded.
func (d Decimal) Value(shift int) float64 {
	v, _ := d.float(shift) // out of range is ±Inf, which Classify names
	return v
}

// Step is the size of one step of the last digit, times ten to the power of
// shift.
func (d Decimal) Step(shift int) float64 {
	v, _ := Decimal{mantissa: "1", exponent: d.exponent}.float(shift)
	return v
}

func (d Decimal) float(shift int) (float64, error) {
	return strconv.ParseFloat(d.mantissa+"e"+strconv.Itoa(d.exponent+shift), 64)
}

// withPoint turns a decimal comma into a point; text with anything but one
// comma and no point is returned as it is.
func withPoint(text string) string {
	if strings.Count(text, ",") == 1 && !strings.Contains(text, ".") {
		return strings.Replace(text, ",", ".", 1)
	}
	return text
}
