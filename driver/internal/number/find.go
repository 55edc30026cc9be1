package number

import (
	"fmt"
	"math"
	"strings"

	"coilkeep/driver"
)

// setPattern is the way out of every line that says too much.
const setPattern = "set pattern = '…(?P<value>…)…', which names the value; coilkeep check proposes one"

// Find looks for the one value of q in a line of any layout. A number with a
// unit of q is preferred to one without, so that a sequence number or a second
// channel is not taken for it; dates and clocks are passed over, and a number
// glued to a letter (CH1) is a label. Without any unit on the line there must
// be one number only, and it is in bare. More than one candidate, or a text
// that may be one number or two, is Unreadable; a value in a unit of something
// else is Impossible.
//
// A comma between digits is a decimal comma when a unit follows, as in
// "6,69 kΩ". Where it may as well part thousands ("6,690 Ω") or two values
// ("6690,21") the line is Unreadable. A comma that can only part fields, as in
// "CH1,22.60,degC" and "000123,+6.75E+03,OHM,0", does so. A unit in a field of
// its own belongs to the number before it only if every other number on the
// line looks like a counter or a status, and that one does not.
//
// The second result reports whether the value was followed by a unit, not just
// by an SI prefix.
func Find(text string, q driver.Quantity, bare Unit) (driver.Reading, bool) {
	found, err := scan(partFields(text), q, parted)
	if err != nil {
		return Unreadable(err.Error()), false
	}
	c, bad := choose(found, q)
	if bad != nil {
		return *bad, false
	}
	return c.read(q, bare), c.hasUnit && !c.unit.bare
}

// Typed reads text as a person typed it: one number, perhaps with a unit or an
// SI prefix, and nothing else. Without a unit it is in the base unit of q. A
// single decimal comma is understood, except where it may part thousands.
func Typed(text string, q driver.Quantity) (driver.Reading, error) {
	text = strings.TrimSpace(plain(text))
	found, err := scan(text, q, decimal)
	if err != nil {
		return driver.Reading{}, err
	}
	values := found.candidates
	if len(values) != 1 || values[0].overload || values[0].start != 0 || values[0].end != len(text) {
		return driver.Reading{}, fmt.Errorf("it must be one number, with a unit or without")
	}
	c := values[0]
	if c.hasUnit && c.unit.Quantity != q {
		return driver.Reading{}, fmt.Errorf("%s is not a unit of %s", c.unit.Text, q)
	}
	unit := c.unit
	if !c.hasUnit {
		unit = BaseUnit(q)
	}
	value, step := unit.of(c.number)
	switch {
	case q == driver.Resistance && math.Abs(value) > HighestOhms:
		return driver.Reading{}, fmt.Errorf("no resistance is that large")
	case q == driver.Temperature && (value < lowestCelsius || value > highestCelsius):
		return driver.Reading{}, fmt.Errorf("no thermometer here shows that")
	}
	return driver.Reading{Value: value, Resolution: step, Status: driver.OK}, nil
}

// FromParts makes the reading of a value that a pattern has cut out, with its
// prefix and unit where the pattern names them. A value in bare stands without
// both. A decimal comma is understood.
func FromParts(value, prefix, unit string, q driver.Quantity, bare Unit) (driver.Reading, bool) {
	u, explicit := bare, false
	if text := strings.TrimSpace(prefix) + strings.TrimSpace(plain(unit)); text != "" {
		var err error
		if u, err = ParseUnit(text, q); err != nil {
			return wrongUnit(text, q), false
		}
		explicit = !u.bare
	}
	if IsOverload(strings.TrimSpace(value)) {
		return Overload(), explicit
	}
	d, ok := ParseDecimal(withPoint(strings.ReplaceAll(plain(value), " ", "")))
	if !ok {
		return Unreadable(fmt.Sprintf("the pattern's value %q is not a number", value)), false
	}
	return u.read(d, q), explicit
}

// choose picks the candidate that is the value of q, or says why there is none.
func choose(found line, q driver.Quantity) (candidate, *driver.Reading) {
	var wanted, plain, other []candidate
	for _, c := range found.candidates {
		switch {
		case !c.hasUnit:
			plain = append(plain, c)
		case c.unit.Quantity == q:
			wanted = append(wanted, c)
		default:
			other = append(other, c)
		}
	}
	bad := func(r driver.Reading) (candidate, *driver.Reading) { return candidate{}, &r }
	switch {
	case len(wanted) > 1:
		return bad(Unreadable(fmt.Sprintf("%d values in %s on one line: two lines run together, or more channels than one; %s", len(wanted),
			q.Unit(), setPattern)))
	case len(wanted) == 1 && !wanted[0].overload && anyOverload(plain):
		return bad(Unreadable("a value and an overload mark on one line; " + setPattern))
	case len(wanted) == 1 && found.belongsElsewhere(wanted[0]):
		return bad(Unreadable(fmt.Sprintf("the unit %s may belong to another number of the line; %s", strings.TrimSpace(wanted[0].unit.Text),
			setPattern)))
	case len(wanted) == 1:
		return wanted[0], nil
	case len(other) > 0:
		return bad(wrongUnit(other[0].unit.Text, q))
	case len(plain) == 0:
		return bad(Unreadable("no number on the line"))
	case len(plain) > 1:
		return bad(Unreadable("more numbers than one on the line and none with a unit; " + setPattern))
	case found.orphanUnit != "":
		return bad(Unreadable(fmt.Sprintf("the unit %s does not follow the number; %s", found.orphanUnit, setPattern)))
	}
	return plain[0], nil
}

// belongsElsewhere reports whether the unit of c, which stands apart from it,
// may as well be that of another number on the line.
func (l line) belongsElsewhere(c candidate) bool {
	if !c.apart {
		return false
	}
	if last := l.candidates[len(l.candidates)-1]; l.unitFirst && !last.hasUnit && !last.labelled {
		return true
	}
	if c.across && c.padded {
		return true
	}
	for _, other := range l.candidates {
		first := other.start < c.start
		switch {
		case other.hasUnit, other.labelled, first && other.padded:
		case first && other.counter && c.counter && c.digits > 1: // "12;6690;OHM"
		case c.padded && !other.counter:
			return true
		case c.across && (c.counter || !other.counter):
			return true
		}
	}
	return false
}

func anyOverload(cs []candidate) bool {
	for _, c := range cs {
		if c.overload {
			return true
		}
	}
	return false
}

func wrongUnit(unit string, q driver.Quantity) driver.Reading {
	return Impossible(fmt.Sprintf("the instrument shows %s, not %s: it is in another function", strings.TrimSpace(unit), q.Unit()))
}

// read makes the reading of a chosen candidate.
func (c candidate) read(q driver.Quantity, bare Unit) driver.Reading {
	if c.overload {
		return Overload()
	}
	unit := c.unit
	if !c.hasUnit {
		unit = bare
	}
	return unit.read(c.number, q)
}
