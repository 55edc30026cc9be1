package line

import (
	"fmt"
	"regexp"
	"slices"

	"coilkeep/driver"
	"coilkeep/driver/internal/lines"
	"coilkeep/driver/internal/number"
)

// Parser maps one line to a reading. Make one with [NewParser].
type Parser struct {
	quantity driver.Quantity
	bare     number.Unit
	pattern  *regexp.Regexp // nil for the tolerant default
}

// NewParser returns a parser of lines with a value of q. The pattern is a
// regular expression (RE2) with a group named value and, where the line shows
// them, groups named prefix and unit; empty means the tolerant default. A value
// without a unit is in unit; empty means the base unit of q. Errors wrap
// driver.ErrSettings.
func NewParser(q driver.Quantity, pattern, unit string) (*Parser, error) {
	p := &Parser{quantity: q, bare: number.BaseUnit(q)}
	if unit != "" {
		var err error
		if p.bare, err = number.ParseUnit(unit, q); err != nil {
			return nil, fmt.Errorf("%w: unit: %w; try %s", driver.ErrSettings, err, unitExamples(q))
		}
	}
	if pattern == "" {
		return p, nil
	}
	var err error
	if p.pattern, err = regexp.Compile(pattern); err != nil {
		return nil, fmt.Errorf("%w: pattern: %w", driver.ErrSettings, err)
	}
	for _, name := range p.pattern.SubexpNames() {
		if name != "" && !slices.Contains([]string{"value", "unit", "prefix"}, name) {
			return nil, fmt.Errorf("%w: pattern: the group %q has no meaning; value, prefix and unit have", driver.ErrSettings, name)
		}
	}
	if p.pattern.SubexpIndex("value") < 0 {
		return nil, fmt.Errorf("%w: pattern: no group named value; write (?P<value>…) around the number", driver.ErrSettings)
	}
	return p, nil
}

func unitExamples(q driver.Quantity) string {
	if q == driver.Temperature {
		return `"C", "F" or "K"`
	}
	return `"ohm", "kohm" or "Mohm"`
}

// Parse maps a line, without its end, to a reading; Time is left to the caller.
// The second result reports whether the line showed a unit.
func (p *Parser) Parse(line []byte) (driver.Reading, bool) {
	reading, unit := p.parse(line)
	reading.Raw = lines.Raw(line)
	return reading, unit
}

func (p *Parser) parse(line []byte) (driver.Reading, bool) {
	text, err := lines.Text(line)
	if err != nil {
		return number.Unreadable(err.Error()), false
	}
	if p.pattern == nil {
		return number.Find(text, p.quantity, p.bare)
	}
	matches := p.pattern.FindAllStringSubmatchIndex(text, 2)
	switch len(matches) {
	case 0:
		return number.Unreadable("the line does not match the pattern"), false
	case 2:
		return number.Unreadable("the line matches the pattern twice: two lines run together, or the pattern is too wide"), false
	}
	value, start, end := p.group(text, matches[0], "value")
	if cut := p.cutsNumber(text, start, end); cut != "" {
		return number.Unreadable(fmt.Sprintf("the pattern takes %q out of a longer number%s", value, cut)), false
	}
	prefix, _, _ := p.group(text, matches[0], "prefix")
	unit, _, _ := p.group(text, matches[0], "unit")
	return number.FromParts(value, prefix, unit, p.quantity, p.bare)
}

// group is the text of a named group and where it stands; empty when the
// pattern has no such group or it took no part.
func (p *Parser) group(text string, match []int, name string) (found string, start, end int) {
	i := p.pattern.SubexpIndex(name)
	if i < 0 || match[2*i] < 0 {
		return "", 0, 0
	}
	return text[match[2*i]:match[2*i+1]], match[2*i], match[2*i+1]
}

var (
	numberBefore = regexp.MustCompile(`\d[.,']?$`)
	numberAfter  = regexp.MustCompile(`^[.,']?\d`)
)

// cutsNumber reports whether text[start:end] has digits on with it outside,
// and then how to mend the pattern. A comma beside it is that of a longer
// number unless the pattern asks for that comma: the author of `,(?P<value>`
// has said what the comma is, the author of `.(?P<value>` has not.
func (p *Parser) cutsNumber(text string, start, end int) string {
	if start >= end {
		return ""
	}
	cut := func(at int) string {
		switch {
		case text[at] != ',':
			return "; let the group value take the whole of it"
		case p.asksFor(text, at, start, end):
			return ""
		}
		return "; if the comma parts two fields, write it into the pattern beside the group value"
	}
	if numberBefore.MatchString(text[:start]) {
		if mend := cut(start - 1); mend != "" {
			return mend
		}
	}
	if numberAfter.MatchString(text[end:]) {
		return cut(end)
	}
	return ""
}

// asksFor reports whether the pattern no longer finds the same value when the
// character at a place is another.
func (p *Parser) asksFor(text string, at, start, end int) bool {
	other := text[:at] + "\x1f" + text[at+1:]
	match := p.pattern.FindStringSubmatchIndex(other)
	if match == nil {
		return true
	}
	_, otherStart, otherEnd := p.group(other, match, "value")
	return otherStart != start || otherEnd != end
}
