package words

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// prefixes of the unit, each a thousand times the one before.
var prefixes = []string{"", "k", "M", "G", "T"}

// Ohms writes a resistance with the prefix people use and as many of six
// significant digits as are not trailing zeros: 6690 is "6.69 kΩ", 6690.5
// "6.6905 kΩ". It is for values that were written down, such as a target. A value
// that is not a positive finite number is "no value".
func Ohms(ohms float64) string {
	if !finitePositive(ohms) {
		return noValue
	}
	last := max(exponent10(ohms)-5, lastDigit(ohms))
	prefix := prefixFor(ohms, last)
	return trimZeros(scaled(ohms, last, prefix)) + " " + unit(prefix)
}

// OhmsToStep writes a resistance to the digit of a step: 6690 to 10 is "6.69 kΩ",
// to 1 "6.690 kΩ". No digit below the step is shown. Without a step it is Ohms.
func OhmsToStep(ohms, stepOhms float64) string {
	if !finitePositive(ohms) || !finitePositive(stepOhms) {
		return Ohms(ohms)
	}
	last := max(exponent10(stepOhms), lastDigit(ohms))
	prefix := prefixFor(ohms, last)
	return scaled(ohms, last, prefix) + " " + unit(prefix)
}

// OhmsWithin writes a resistance with its expanded uncertainty, both to
// the same digit: "6.690 ± 0.042 kΩ". The uncertainty keeps two significant
// digits and is rounded to the nearest, but up where that would hide more than 1 %
// of it (JCGM 100:2008, 7.2.6, leaves the rounding to judgement: 10.47 becomes
// 11, 28.05 becomes 28). Without an uncertainty that a float64 could show it is Ohms.
func OhmsWithin(ohms, expandedUncertaintyOhms float64) string {
	if !finitePositive(ohms) || !finitePositive(expandedUncertaintyOhms) || exponent10(expandedUncertaintyOhms) <= lastDigit(ohms) {
		return Ohms(ohms)
	}
	uncertainty, last := roundUncertainty(expandedUncertaintyOhms)
	prefix := prefixFor(ohms, last)
	return scaled(ohms, last, prefix) + " ± " + scaled(uncertainty, last, prefix) + " " + unit(prefix)
}

// OhmsPieces are the parts of OhmsWithin, for a page that sets the value larger
// than the rest. Within is empty without an uncertainty.
type OhmsPieces struct{ Value, Within, Unit string }

// OhmsInPieces takes OhmsWithin apart: "6.690", "0.042" and "kΩ".
func OhmsInPieces(ohms, expandedUncertaintyOhms float64) OhmsPieces {
	text := OhmsWithin(ohms, expandedUncertaintyOhms)
	space := strings.LastIndex(text, " ")
	value, within, _ := strings.Cut(text[:space], " ± ")
	return OhmsPieces{value, within, text[space+1:]}
}

// OhmsInLetters is OhmsWithin in plain letters, for what every reader of a QR code
// shows: "6.690 +- 0.042 kohm".
func OhmsInLetters(ohms, expandedUncertaintyOhms float64) string {
	return strings.NewReplacer("±", "+-", "Ω", "ohm").Replace(OhmsWithin(ohms, expandedUncertaintyOhms))
}

// OhmsRoughly writes a resistance that is known to a percent or so, to three
// significant digits: "6.69 kΩ", "480 kΩ".
func OhmsRoughly(ohms float64) string {
	return OhmsToStep(ohms, math.Pow(10, math.Floor(math.Log10(ohms))-2))
}

// OhmsLive writes what a meter shows at the moment with five significant digits:
// "6.6900 kΩ", "100.12 Ω". A reading has no uncertainty of its own. The script of
// the pages does the same: ohms in numbers.js.
func OhmsLive(ohms float64) string {
	if ohms < 1000 {
		return Significant(ohms, 5) + " Ω"
	}
	if ohms < 1e6 {
		return Significant(ohms/1e3, 5) + " kΩ"
	}
	return Significant(ohms/1e6, 5) + " MΩ"
}

// OhmsSpread writes a width such as a standard deviation or an uncertainty, always
// in ohms, to two significant digits, or whole: "4.2 Ω", "124 Ω".
func OhmsSpread(ohms float64) string { return Significant(ohms, 2) + " Ω" }

// OhmsInPassing writes a resistance in a sentence at the bench, in four digits
// above a kiloohm and three below: "6.69 kΩ", "0.3 Ω", "0 Ω".
func OhmsInPassing(ohms float64) string {
	if ohms >= 1000 {
		return fmt.Sprintf("%.4g kΩ", ohms/1000)
	}
	return fmt.Sprintf("%.3g Ω", ohms)
}

const noValue = "no value"

// lastDigit returns the power of ten of the last of the 15 digits a float64
// holds of v, but no less than that of a picohm.
func lastDigit(v float64) int { return max(exponent10(v)-14, -12) }

// roundUncertainty returns u to two significant digits and the power of ten of
// the second.
func roundUncertainty(u float64) (rounded float64, last int) {
	last = exponent10(u) - 1
	steps := u / math.Pow10(last)
	whole := math.Round(steps)
	if whole < 0.99*steps {
		whole++
	}
	if whole == 100 {
		whole, last = 10, last+1
	}
	return whole * math.Pow10(last), last
}

// prefixFor returns the index of the prefix that leaves 1 to 999 before the
// point once v is rounded to 10^last, or a greater one if the last digit would
// otherwise be to the left of the point and be followed by zeros that were
// never measured.
func prefixFor(v float64, last int) int {
	step := math.Pow10(last)
	rounded := math.Round(v/step) * step
	prefix := 0
	for prefix < len(prefixes)-1 && (rounded >= 1000*math.Pow10(3*prefix) || last > 3*prefix) {
		prefix++
	}
	return prefix
}

// scaled writes v in units of a prefix, down to the digit 10^last.
func scaled(v float64, last, prefix int) string {
	return strconv.FormatFloat(v/math.Pow10(3*prefix), 'f', max(0, 3*prefix-last), 64)
}

func unit(prefix int) string { return prefixes[prefix] + "Ω" }

// exponent10 returns the power of ten of the first digit of v, which is positive
// and finite. The logarithm alone is a hair off at powers of ten.
func exponent10(v float64) int {
	exponent := int(math.Floor(math.Log10(v)))
	switch {
	case v >= math.Pow10(exponent+1):
		exponent++
	case v < math.Pow10(exponent):
		exponent--
	}
	return exponent
}

func finitePositive(v float64) bool { return v > 0 && !math.IsInf(v, 0) }
