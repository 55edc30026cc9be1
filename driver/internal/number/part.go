package number

import (
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// What stands around a comma, each at the end or the beginning of a text.
var (
	// numberAtEnd is a number with its exponent. It begins after no letter and
	// no point, so that the digits of CH1 are none.
	numberAtEnd = regexp.MustCompile(`(?:^|[^\pL\d_.,'])([+-]?[\d.,']*\d(?:[eE][+-]?\d+)?)$`)
	// labelAtEnd is a word that ends in digits, such as CH1.
	labelAtEnd    = regexp.MustCompile(`\pL[\pL_]*(\d+)$`)
	clockAtEnd    = regexp.MustCompile(`(?:^|[^\d:])\d{1,2}:\d{2}(?::\d{2})?$`)
	dateAtEnd     = regexp.MustCompile(`(?:^|[^\d.-])(?:\d{4}-\d{2}-\d{2}|\d{1,2}[./]\d{1,2}[./]\d{4})$`)
	numberAtStart = regexp.MustCompile(`^(\d[\d.]*(?:[eE][+-]?\d+)?)(,\d[\d.,]*)?`)
	// european is a whole number with points between its thousands.
	european = regexp.MustCompile(`^[+-]?[1-9]\d{0,2}(?:\.\d{3})+$`)
	upTo999  = regexp.MustCompile(`^[+-]?[1-9]\d{0,2}$`)
	group    = regexp.MustCompile(`^\d{3}(?:\.|$)`)
)

// fieldMark stands for a comma that can only part two fields. It is a control
// character, which no line of an instrument holds (ISO 646, unit separator).
const fieldMark = "\x1f"

// fieldEnds are the characters that part fields for certain.
const fieldEnds = ";" + fieldMark

// partFields writes fieldMark for each comma of text that can only part two
// fields, and a semicolon for each tab. The commas it leaves may belong to a
// number.
func partFields(text string) string {
	text = strings.ReplaceAll(text, "\t", ";")
	if !strings.Contains(text, ",") {
		return text
	}
	parted, sure := []byte(text), false
	var unsure []int // commas that part fields if another comma of the line surely does
	for i, c := range parted {
		if c != ',' {
			continue
		}
		switch parts, likely := partsAt(text, i); {
		case parts:
			parted[i] = fieldMark[0]
			next := text[i+1:]
			sure = sure || next != "" && next[0] != ' ' // else it may be that of a sentence
		case likely:
			unsure = append(unsure, i)
		}
	}
	for _, i := range unsure {
		if sure {
			parted[i] = fieldMark[0]
		}
	}
	return string(parted)
}

// partsAt reports whether the comma at i can only part two fields. The second
// result is true where this is so once another comma of the line does: nobody
// writes a decimal point, thousands with commas glued to a label, and fields
// parted by commas, all on one line.
func partsAt(text string, i int) (sure, likely bool) {
	before, after := text[:i], text[i+1:]
	next := numberAtStart.FindStringSubmatch(window(after))
	if next == nil {
		return true, false
	}
	behind := next[1]
	before = before[max(0, len(before)-64):]
	if clockAtEnd.MatchString(before) {
		// Digits alone may be the fraction of a second.
		return strings.ContainsAny(behind, ".eE") || strings.Count(before, ":") < 2, false
	}
	if dateAtEnd.MatchString(before) {
		return true, false
	}
	if m := numberAtEnd.FindStringSubmatch(before); m != nil {
		all := strings.Split(m[1], ",")
		return pointShows(all[len(all)-1], behind), false
	}
	if m := labelAtEnd.FindStringSubmatch(before); m != nil {
		sure = pointShows(m[1], behind)
		return sure, !sure && strings.Contains(behind, ".")
	}
	last, _ := utf8.DecodeLastRuneInString(before)
	return unicode.IsLetter(last) || endsField(before, last), false
}

// endsField reports whether a field may end with a sign that is no letter and
// no digit. The commas a line begins with may be the rest of a cut number.
func endsField(before string, last rune) bool {
	return strings.ContainsRune("%°\")];,-", last) && strings.TrimLeft(before, ",; ") != ""
}

// pointShows reports whether the comma between two texts of digits cannot
// belong to one number, because a decimal point or an exponent beside it says
// that it is no decimal comma, and it does not part thousands.
func pointShows(left, right string) bool {
	switch {
	case strings.ContainsAny(left, "eE"):
		return true
	case strings.Contains(left, "."):
		return strings.Contains(right, ".") || !european.MatchString(left)
	case strings.Contains(right, "."):
		return !(upTo999.MatchString(left) && group.MatchString(right))
	}
	return false
}
