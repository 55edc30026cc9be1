package number

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"coilkeep/driver"
)

// candidate is a number or an overload mark on a line, with the unit behind it.
type candidate struct {
	overload   bool
	number     Decimal
	unit       Unit
	hasUnit    bool
	start, end int
	// apart is true when something stands between the number and its unit, and
	// across when that is a comma, a semicolon or a tab.
	apart, across bool
	// behindComma is true when it is a comma.
	behindComma bool
	// counter is true for digits alone, as a sequence number or a status has;
	// padded when they begin with a zero as well. digits is how many there are.
	counter, padded bool
	digits          int
	// labelled is true behind = or :.
	labelled bool
}

// line is what scan finds on a line.
type line struct {
	candidates []candidate
	// orphanUnit is a unit that follows no number, as in a heading; empty when
	// there is none.
	orphanUnit string
	// unitFirst is true when a unit of any kind stands before the first number,
	// as where every number follows its unit.
	unitFirst bool
}

// Forms of a line's pieces, each at the beginning of a text.
var (
	// ISO 8601 dates and clocks, and the two common written dates.
	clock = regexp.MustCompile(`^(?:\d{4}-\d{2}-\d{2}(?:[T ]\d{2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?(?:Z|[+-]\d{2}:?\d{2})?)?` +
		`|\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?|\d{1,2}([./])\d{1,2}[./]\d{2,4})`)
	// run is everything that belongs to a number, well formed or not.
	run  = regexp.MustCompile(`^(?:([+-])( *))?([.,']*\d[\d.,']*(?:[eE][+-]?\d+)?)`)
	mark = regexp.MustCompile(`^(?i)[+-]?(?:[.]?[O0]\.?[LF][.]?|OFL|OV[A-Z]*|INF(?:INITY)?|OPEN|∞)`)
	dark = regexp.MustCompile(`^-[-.]+-`)
	// shortInteger is what may stand before a space that parts thousands; four
	// characters and the space decide it.
	shortInteger = regexp.MustCompile(`(?:^|[^\d.,])\d{1,3} $`)
	threeDigits  = regexp.MustCompile(`^\d{3}(?:\D|$)`)
	moreNumber   = regexp.MustCompile(`^(?:[\d:+-]|[.,']\d)`)
	// cutUnit is the beginning of "ohm".
	cutUnit   = regexp.MustCompile(`^[munkKMG]?(?i:oh?)$`)
	thousands = regexp.MustCompile(`^[1-9]\d{0,2},\d{3}$`)
	// labelsNext follows a unit that is the name of the next value, as in
	// "%RH=45 degC=22.6".
	labelsNext = regexp.MustCompile(`^ *[=:] *[+-]?\d`)
)

// commaRule says what a comma between digits means where no unit follows.
type commaRule bool

const (
	parted  commaRule = false // it may part two values, so it means nothing
	decimal commaRule = true
)

var sameMeaning = strings.NewReplacer("\u00a0", " ", "\u202f", " ", "\u2009", " ", "\t", " ", "\u2212", "-")

// plain folds the spellings that mean the same: spaces, minus signs.
func plain(text string) string { return sameMeaning.Replace(text) }

// scan finds the numbers, overload marks and units of text. The error says why
// the line cannot be read in one way only.
func scan(text string, q driver.Quantity, rule commaRule) (line, error) {
	text = plain(text)
	var found line
	for at := 0; at < len(text); {
		rest := window(text[at:])
		if n := len(clock.FindString(rest)); n > 0 && endsNumber(text[at+n:]) {
			at += n
			continue
		}
		if n := overloadAt(rest, q); n > 0 {
			c := candidate{overload: true, start: at, end: at + n}
			if err := c.takeUnit(text, q); err != nil {
				return line{}, err
			}
			found.candidates = append(found.candidates, c)
			at = c.end
			continue
		}
		if m := run.FindStringSubmatch(rest); m != nil {
			c, err := numberAt(text, at, m, q, rule)
			if err != nil {
				return line{}, err
			}
			found.candidates = append(found.candidates, c)
			at = c.end
			continue
		}
		if u, n := unitAt(rest, q); n > 0 && !u.bare {
			found.unitFirst = found.unitFirst || len(found.candidates) == 0 && headsField(text, at, n, q)
			if u.Quantity != "" && n > 1 {
				found.orphanUnit = u.Text
				at += n
				continue
			}
		}
		at += skip(text[at:])
	}
	return found, nil
}

// headsField reports whether the n bytes at a place of text are all of a field
// that is followed by another. A letter alone may be the name of a channel, so
// it counts only where commas or semicolons part fields, or if it is a unit of
// temperature where one is looked for.
func headsField(text string, at, n int, q driver.Quantity) bool {
	before, after := strings.TrimRight(text[:at], " "), text[at+n:]
	if n == 1 && !(q == driver.Temperature && strings.Contains("CFK", text[at:at+1])) {
		after = strings.TrimLeft(after, " ")
		return (before == "" || strings.ContainsAny(before[len(before)-1:], fieldEnds)) && after != "" &&
			strings.ContainsAny(after[:1], fieldEnds)
	}
	return (before == "" || before != text[:at] || strings.ContainsAny(before[len(before)-1:], fieldEnds)) &&
		after != "" && strings.ContainsAny(after[:1], " "+fieldEnds)
}

// window is as much of text as a number or a unit can take. A number that fills
// it is refused, because more digits follow; the expressions above cost more on
// a longer text.
func window(text string) string { return text[:min(len(text), 64)] }

// wordAt is the word that text begins with: a letter, and then letters, digits
// and points.
func wordAt(text string) string {
	for i, r := range text {
		if !(unicode.IsLetter(r) || r == '_' || i > 0 && (unicode.IsDigit(r) || r == '.')) {
			return text[:i]
		}
	}
	return text
}

// skip is how many bytes of a text hold no value: a word with the digits glued
// to it, a number sign with its number, or one character.
func skip(text string) int {
	if n := len(wordAt(text)); n > 0 {
		return n
	}
	if text[0] == '#' {
		digits := strings.TrimLeft(text[1:], "0123456789")
		return len(text) - len(digits)
	}
	_, n := utf8.DecodeRuneInString(text)
	return n
}

// overloadAt is the length of the overload mark text begins with, or 0.
func overloadAt(text string, q driver.Quantity) int {
	for _, form := range []*regexp.Regexp{dark, mark} {
		m := form.FindString(text)
		if m == "" || !IsOverload(m) {
			continue
		}
		next, _ := utf8.DecodeRuneInString(text[len(m):])
		if _, unit := unitAt(text[len(m):], q); unit > 0 || !isWord(next) {
			return len(m)
		}
	}
	return 0
}

// numberAt reads the number that run has found at a place of text.
func numberAt(text string, at int, m []string, q driver.Quantity, rule commaRule) (candidate, error) {
	sign, gap, body := m[1], m[2], m[3]
	trimmed := strings.TrimRight(body, ".,'")
	c := candidate{start: at, end: at + len(sign) + len(gap) + len(trimmed)}
	before := strings.TrimRight(text[:at], " ")
	c.labelled = strings.HasSuffix(before, "=") || strings.HasSuffix(before, ":")
	c.counter = sign == "" && strings.Trim(trimmed, "0123456789") == ""
	c.digits = len(trimmed)
	c.padded = c.counter && c.digits > 1 && trimmed[0] == '0'
	switch {
	case sign == "" && shortInteger.MatchString(text[max(0, at-5):at]) && threeDigits.MatchString(trimmed):
		return c, fmt.Errorf("a space between digits: one number or two; %s", setPattern)
	case sign == "-" && !beginsNumber(text[:at], gap != ""):
		return c, fmt.Errorf("minus sign or dash; %s", setPattern)
	case strings.Count(text[at:c.end], ",")+strings.Count(body[len(trimmed):], ",") > 1:
		return c, fmt.Errorf("commas between digits: one number or more; %s", setPattern)
	}
	var ok bool
	if c.number, ok = ParseDecimal(sign + withPoint(trimmed)); !ok {
		return c, notWhole(body)
	}
	if len(trimmed) == len(body) && !endsNumber(text[c.end:]) {
		return c, errors.New("numbers run together; " + setPattern)
	}
	if err := c.takeUnit(text, q); err != nil {
		return c, err
	}
	if strings.Contains(trimmed, ",") {
		return c, c.checkComma(trimmed, rule)
	}
	return c, nil
}

func notWhole(body string) error {
	if strings.Contains(body, ",") {
		return fmt.Errorf("%q is not one whole number; %s", body, setPattern)
	}
	return fmt.Errorf("%q is not one whole number", body)
}

// checkComma refuses a comma that may be no decimal comma.
func (c candidate) checkComma(text string, rule commaRule) error {
	prefixed := c.hasUnit && (c.unit.shift != 0 || c.unit.Quantity == driver.Temperature)
	switch {
	case c.behindComma:
		return fmt.Errorf("commas between digits: one number or more; %s", setPattern)
	case !prefixed && thousands.MatchString(text):
		return fmt.Errorf("%q: decimal comma or thousands; %s", text, setPattern)
	case !c.hasUnit && rule == parted:
		return fmt.Errorf("%q: decimal comma or two values; %s", text, setPattern)
	}
	return nil
}

// takeUnit takes the unit behind a candidate, if there is one. The error names
// what is glued to the number and is no unit.
func (c *candidate) takeUnit(text string, q driver.Quantity) error {
	rest := window(text[c.end:])
	trimmed := strings.TrimLeft(rest, " .,"+fieldEnds)
	apart := len(rest) - len(trimmed)
	u, n := unitAt(trimmed, q)
	if n == 0 {
		if glued := wordAt(rest); glued != "" {
			return fmt.Errorf("%q is glued to the number and is no unit", glued)
		}
		if cut := wordAt(trimmed); cutUnit.MatchString(cut) {
			return fmt.Errorf("the unit is cut: %q", cut)
		}
		return nil
	}
	if next, _ := utf8.DecodeRuneInString(trimmed[n:]); isWord(next) {
		return errors.New("lines run together: a number is glued to a unit")
	}
	if apart > 0 && labelsNext.MatchString(trimmed[n:]) {
		return nil
	}
	c.unit, c.hasUnit, c.end = u, true, c.end+apart+n
	c.apart, c.across = apart > 0, strings.ContainsAny(rest[:apart], ","+fieldEnds)
	c.behindComma = strings.ContainsAny(rest[:apart], ","+fieldMark)
	return nil
}

// beginsNumber reports whether a minus sign after text can only be a sign. With
// a space behind it, it must not follow a space.
func beginsNumber(text string, gap bool) bool {
	before := text
	if gap {
		before = strings.TrimRight(text, " ")
	}
	return before == "" || strings.ContainsRune("=:", rune(before[len(before)-1])) ||
		!gap && strings.ContainsRune(" ,([{\"<>|"+fieldEnds, rune(before[len(before)-1]))
}

// endsNumber reports whether a number may end before text.
func endsNumber(text string) bool {
	return !moreNumber.MatchString(text)
}

func isWord(r rune) bool {
	return unicode.IsDigit(r) || unicode.IsLetter(r) || r == '_'
}
