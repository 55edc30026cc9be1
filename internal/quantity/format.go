package quantity

import (
	"math"
	"strconv"
	"strings"
)

var prefixes = []string{"", "k", "M", "G", "T"}

// FormatOhms writes a resistance to the given resolution with the prefix people
// use: 6690 to 10 is "6.69 kΩ". No digit below the resolution is shown. With
// resolution 0 as many of six significant digits are shown as are not trailing
// zeros. A value that is not a positive finite number is "no value".
func FormatOhms(ohms, resolutionOhms float64) string {
	if !finitePositive(ohms) {
		return noValue
	}
	if finitePositive(resolutionOhms) {
		last := max(exponent10(resolutionOhms), lastDigit(ohms))
		prefix := prefixFor(ohms, last)
		return decimal(ohms, last, prefix) + " " + unit(prefix)
	}
	last := max(exponent10(ohms)-5, lastDigit(ohms))
	prefix := prefixFor(ohms, last)
	text := decimal(ohms, last, prefix)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text + " " + unit(prefix)
}

// FormatOhmsWithin writes a resistance with its expanded uncertainty, both to
// the same digit: "6.690 ± 0.042 kΩ". The uncertainty keeps two significant
// digits and is rounded to the nearest, but up where that would hide more than 1 %
// of it (JCGM 100:2008, 7.2.6, leaves the rounding to judgement: 10.47 becomes
// 11, 28.05 becomes 28). Without an uncertainty that a float64 could show it is FormatOhms.
func FormatOhmsWithin(ohms, expandedUncertaintyOhms float64) string {
	if !finitePositive(ohms) || !finitePositive(expandedUncertaintyOhms) || exponent10(expandedUncertaintyOhms) <= lastDigit(ohms) {
		return FormatOhms(ohms, 0)
	}
	uncertainty, last := roundUncertainty(expandedUncertaintyOhms)
	prefix := prefixFor(ohms, last)
	return decimal(ohms, last, prefix) + " ± " + decimal(uncertainty, last, prefix) + " " + unit(prefix)
}

// FormatCelsius writes a temperature to the given resolution in kelvin, or to
// 0.1 when the resolution is 0: "21.4 °C". A value that is not finite is "no
// value".
func FormatCelsius(celsius, resolutionKelvin float64) string {
	if math.IsNaN(celsius) || math.IsInf(celsius, 0) {
		return noValue
	}
	decimals := 1
	if finitePositive(resolutionKelvin) {
		decimals = max(0, -exponent10(resolutionKelvin))
	}
	text := strconv.FormatFloat(celsius, 'f', decimals, 64)
	if strings.Trim(text, "-0.") == "" { // −0.04 is shown as 0.0
		text = strings.TrimPrefix(text, "-")
	}
	return text + " °C"
}

// FormatChance writes a probability in percent, and never rounds doubt away.
func FormatChance(probability float64) string {
	switch {
	case probability > 0.999:
		return "more than 99.9 %"
	case probability < 0.001:
		return "less than 0.1 %"
	}
	return strconv.FormatFloat(100*probability, 'f', 1, 64) + " %"
}

const noValue = "no value"

// MeantOhms writes what a resistance below low or above high was meant to be
// when a k was forgotten or is too many: "6.69 kΩ" for 6.69. It is empty when
// neither would lie between them.
func MeantOhms(ohms, low, high float64) string {
	for _, factor := range []float64{1e3, 1e-3} {
		if meant := ohms * factor; meant >= low && meant <= high {
			return FormatOhms(meant, 0)
		}
	}
	return ""
}

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

// decimal writes v, scaled by a prefix, down to the digit 10^last.
func decimal(v float64, last, prefix int) string {
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

// FormatKelvin writes a difference of temperature in kelvin that is known within
// ±withinKelvin, with as many decimals as that leaves meaning.
func FormatKelvin(kelvin, withinKelvin float64) string {
	decimals := 1
	switch {
	case withinKelvin >= 10:
		decimals = 0
	case withinKelvin < 0.1:
		decimals = 2
	}
	text := strconv.FormatFloat(kelvin, 'f', decimals, 64)
	if zero := strconv.FormatFloat(0, 'f', decimals, 64); text == "-"+zero {
		text = zero
	}
	return strings.Replace(text, "-", "−", 1) + " K"
}
