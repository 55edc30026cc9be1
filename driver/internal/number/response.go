package number

import (
	"fmt"
	"regexp"
	"strings"

	"coilkeep/driver"
)

var responseStart = regexp.MustCompile(`^[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?`)

// Response reads one element of an IEEE 488.2 response: a number, perhaps with
// a unit behind it, or a word for overload or not-a-number. It reports false
// when the element is no value at all, such as a word in quotes.
func Response(element string, q driver.Quantity) (driver.Reading, bool) {
	element = strings.TrimSpace(plain(element))
	if strings.EqualFold(strings.TrimLeft(element, "+-"), "NAN") {
		return Reading(notNumberMark, 0, q), true
	}
	if n := overloadAt(element, q); n > 0 {
		return Overload(), true
	}
	digits := responseStart.FindString(element)
	if digits == "" {
		return driver.Reading{}, false
	}
	d, ok := ParseDecimal(digits)
	suffix := strings.TrimSpace(element[len(digits):])
	unit, n := unitAt(suffix, q)
	switch {
	case !ok || n < len(suffix):
		return Unreadable(fmt.Sprintf("%q is not one whole number", element)), true
	case n == 0:
		unit = BaseUnit(q)
	case unit.Quantity != q:
		return wrongUnit(unit.Text, q), true
	}
	return unit.read(d, q), true
}
