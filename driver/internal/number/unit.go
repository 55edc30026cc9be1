package number

import (
	"fmt"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"coilkeep/driver"
)

// Unit is what stands behind a number.
type Unit struct {
	// Quantity is empty for a unit that is neither of resistance nor of
	// temperature.
	Quantity driver.Quantity
	// Text is the unit as written.
	Text string

	shift int  // power of ten of the SI prefix
	scale rune // 'C', 'F' or 'K' of a temperature
	// bare is true for an SI prefix alone, as in 6.69k.
	bare bool
}

// BaseUnit is the unit readings of q carry.
func BaseUnit(q driver.Quantity) Unit {
	return Unit{Quantity: q, Text: q.Unit(), scale: 'C'}
}

// ParseUnit reads the whole of text as a unit of q: "ohm", "kΩ", "k", "°C",
// "F", "K".
func ParseUnit(text string, q driver.Quantity) (Unit, error) {
	u, n := unitAt(text, q)
	if n == 0 || n != len(text) || u.Quantity != q {
		return Unit{}, fmt.Errorf("%q is not a unit of %s", text, q)
	}
	return u, nil
}

// IsUnit reports whether the whole of text is a unit, of q or of anything else.
// A prefix alone is none.
func IsUnit(text string, q driver.Quantity) bool {
	u, n := unitAt(plain(text), q)
	return n > 0 && n == len(plain(text)) && !u.bare
}

// of gives the value and the step of d in the base unit.
// Fahrenheit and kelvin: ISO 80000-5:2019, 5-1 and 5-2, and 9/5 °F to the kelvin.
func (u Unit) of(d Decimal) (value, step float64) {
	value, step = d.Value(u.shift), d.Step(u.shift)
	switch {
	case u.Quantity != driver.Temperature:
	case u.scale == 'F':
		value, step = (value-32)/1.8, step/1.8
	case u.scale == 'K':
		value -= 273.15
	}
	return value, step
}

// read makes the reading of d in this unit.
func (u Unit) read(d Decimal, q driver.Quantity) driver.Reading {
	value, step := u.of(d)
	return Reading(value, step, q)
}

// Both code points of the ohm sign and of the micro sign are in use.
var (
	ohmUnit  = regexp.MustCompile(`^([munkKMG\x{B5}\x{3BC}]?) ?(?:(?i:ohms?)|\x{2126}|\x{3A9})`)
	tempUnit = regexp.MustCompile(`^(?:(?:°|º|(?i:deg)\.?) ?)?(Celsius|CEL|Cel|Fahrenheit|[Kk]elvin|[CFK])|^(℃|℉)`)
	prefix   = regexp.MustCompile(`^[kKMG]`)
	// otherUnit names what a meter in another function shows.
	otherUnit = regexp.MustCompile(`^(?:(?:[munpkMG\x{B5}\x{3BC}] ?)?(?:VA|V|A|Hz|F|H|W|S|Pa)(?i:AC|DC)?|` +
		`%(?:RH)?|dB[mVu]?|(?i:rpm)|mm|[mun\x{B5}\x{3BC}]?s|min|h)`)
)

var shifts = map[string]int{
	"": 0, "n": -9, "u": -6, "\u00b5": -6, "\u03bc": -6, "m": -3, "k": 3, "K": 3, "M": 6, "G": 9,
}

// unitAt finds the unit that text begins with and how many bytes it takes; 0
// when there is none. Which quantity is wanted decides between kelvin and
// kilo, and between fahrenheit and farad.
func unitAt(text string, q driver.Quantity) (Unit, int) {
	finders := []func(string) (Unit, int){ohmAt, temperatureAt, otherAt}
	if q == driver.Resistance {
		finders = []func(string) (Unit, int){ohmAt, otherAt, prefixAt, temperatureAt}
	}
	for _, find := range finders {
		if u, n := find(text); n > 0 && endsWord(text, n) {
			u.Text = text[:n]
			return u, n
		}
	}
	return Unit{}, 0
}

func ohmAt(text string) (Unit, int) {
	m := ohmUnit.FindStringSubmatchIndex(text)
	if m == nil {
		return Unit{}, 0
	}
	return Unit{Quantity: driver.Resistance, shift: shifts[text[m[2]:m[3]]]}, m[1]
}

func prefixAt(text string) (Unit, int) {
	p := prefix.FindString(text)
	return Unit{Quantity: driver.Resistance, shift: shifts[p], bare: true}, len(p)
}

func temperatureAt(text string) (Unit, int) {
	m := tempUnit.FindStringSubmatch(text)
	if m == nil {
		return Unit{}, 0
	}
	u := Unit{Quantity: driver.Temperature, scale: 'C'}
	switch {
	case m[2] == "℉":
		u.scale = 'F'
	case m[1] != "":
		u.scale = rune(strings.ToUpper(m[1])[0])
	}
	return u, len(m[0])
}

func otherAt(text string) (Unit, int) {
	return Unit{}, len(otherUnit.FindString(text))
}

// endsWord reports whether the first n bytes of text are followed by no
// letter, so that the C of "CH2" is no unit; a single letter before "=" or ":"
// is a label.
func endsWord(text string, n int) bool {
	next, _ := utf8.DecodeRuneInString(text[n:])
	return !unicode.IsLetter(next) && (n > 1 || next != '=' && next != ':')
}
