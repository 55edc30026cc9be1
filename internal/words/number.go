package words

import (
	"math"
	"strconv"
	"strings"
)

// Minus sets the hyphens of a text that stand for a minus as minus signs: those
// before a digit and not within a word. "-1.4 % (-1.7 to -1.1)" becomes
// "−1.4 % (−1.7 to −1.1)"; "HN-0042" and "2026-03-14" stay.
func Minus(text string) string {
	if !strings.Contains(text, "-") {
		return text
	}
	var b strings.Builder
	for i := range len(text) {
		begins := i == 0 || strings.IndexByte(" \t\n\f\r(", text[i-1]) >= 0
		if begins && text[i] == '-' && i+1 < len(text) && '0' <= text[i+1] && text[i+1] <= '9' {
			b.WriteString("−")
			continue
		}
		b.WriteByte(text[i])
	}
	return b.String()
}

// Plain writes a number in full, as it would be typed and as CSV has it: the
// fewest digits that give the very same number again, no exponent, and a hyphen
// for a minus. 7024.5 is "7024.5", 1e-7 "0.0000001".
func Plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// Fixed writes a number with so many decimals: Fixed(−1.26, 1) is "−1.3". An
// exact half goes to the even digit.
func Fixed(v float64, decimals int) string {
	return Minus(unsignedZero(strconv.FormatFloat(v, 'f', decimals, 64)))
}

// Signed is Fixed with a plus for what is above zero, and for zero: "+1.3",
// "−1.3", "+0.0".
func Signed(v float64, decimals int) string {
	text := Fixed(v, decimals)
	if strings.HasPrefix(text, "−") || math.IsNaN(v) || math.IsInf(v, 0) {
		return text
	}
	return "+" + text
}

// Significant writes a number with so many significant digits, without exponent:
// Significant(6690, 5) is "6690.0", Significant(0.0123, 2) "0.012". Digits before
// the point are never replaced by zeros: Significant(1234, 2) is "1234".
func Significant(v float64, digits int) string {
	before := 1
	if v != 0 {
		before = int(math.Floor(math.Log10(math.Abs(v)))) + 1
	}
	return Fixed(v, max(0, digits-before))
}

// AtMost writes a number with at most so many significant digits: AtMost(6690, 6)
// is "6690", AtMost(0.5, 3) "0.5".
func AtMost(v float64, digits int) string { return trimZeros(Significant(v, digits)) }

// trimZeros takes the zeros off the end of a decimal fraction.
func trimZeros(text string) string {
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}

// unsignedZero takes the sign off what was rounded to zero: −0.04 is shown as
// "0.0".
func unsignedZero(text string) string {
	if strings.Trim(text, "-0.") == "" {
		return strings.TrimPrefix(text, "-")
	}
	return text
}
