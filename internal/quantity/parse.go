// Package quantity reads resistances and temperatures as people type them. Inside
// the program they are plain numbers in ohms and degrees Celsius; this is the one
// edge where kiloohms, fahrenheit and decimal commas exist. Package words writes
// them. What instruments send is not its business.
package quantity

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"coilkeep/internal/words"
)

// Resistances from minOhms up to maxOhms are taken.
const (
	minOhms = 1e-3
	maxOhms = 1e12
)

// Temperatures from absolute zero up to maxCelsius are taken; what range makes
// sense is for whoever uses them to say.
const (
	absoluteZeroCelsius = -273.15
	maxCelsius          = 1000.0
)

const (
	ohmsExample    = "type it like 6690, 6.69k or 6.69 kΩ"
	celsiusExample = "type it like 21.4, 21.4 °C or 70.5 °F"
)

// ParseOhms reads a positive resistance: a number with a decimal point or comma
// and perhaps an exponent, a prefix k, M, G or T and a unit Ω, ohm or R, each of
// which may be missing; or the letter in the place of the point, 6k69 (IEC
// 60062).
//
// Resolution is one step of the last digit typed, in ohms: 10 for 6.69k and 1
// for 6690. "6,690" is refused because it means 6690 to some and 6.690 to
// others, and so is a small m, which is milli and hardly ever meant. Errors
// quote the text and say what to type instead.
func ParseOhms(text string) (ohms, resolutionOhms float64, err error) {
	n, err := scan(text, "resistance", ohmsExample)
	if err != nil {
		return 0, 0, err
	}
	if n.suffix, err = n.takeLetterPoint(); err != nil {
		return 0, 0, err
	}
	exponent, err := n.ohmsExponent()
	if err != nil {
		return 0, 0, err
	}
	if n.ambiguousComma() && exponent == 0 {
		return 0, 0, n.problem("may mean %s or %s.%s", n.whole+n.fraction, n.whole, n.fraction)
	}
	if ohms, resolutionOhms, err = n.value(exponent); err != nil {
		return 0, 0, err
	}
	switch {
	case ohms <= 0:
		return 0, 0, n.problem("is not above zero")
	case ohms < minOhms:
		return 0, 0, n.problem("is less than %g Ω", minOhms)
	case ohms > maxOhms:
		return 0, 0, n.problem("is more than %g Ω", maxOhms)
	}
	return ohms, resolutionOhms, nil
}

// ParseCelsius reads a temperature and returns it in degrees Celsius: a number
// with a decimal point or comma and a unit °C, °F or K; without a unit it is
// Celsius. Resolution is one step of the last digit typed, in kelvin. Errors
// quote the text and say what to type instead.
func ParseCelsius(text string) (celsius, resolutionKelvin float64, err error) {
	n, err := scan(text, "temperature", celsiusExample)
	if err != nil {
		return 0, 0, err
	}
	value, resolution, err := n.value(0)
	if err != nil {
		return 0, 0, err
	}
	switch strings.ToLower(strings.ReplaceAll(n.suffix, " ", "")) {
	case "", "c", "°c", "ºc", "℃", "degc", "celsius":
		celsius, resolutionKelvin = value, resolution
	case "f", "°f", "ºf", "℉", "degf", "fahrenheit":
		celsius, resolutionKelvin = (value-32)/1.8, resolution/1.8
	case "k", "kelvin":
		celsius, resolutionKelvin = value+absoluteZeroCelsius, resolution
	default:
		return 0, 0, n.problem("has the unit %q, which is no temperature", n.suffix)
	}
	switch {
	case celsius < absoluteZeroCelsius:
		return 0, 0, n.problem("is below absolute zero")
	case celsius > maxCelsius:
		return 0, 0, n.problem("is above %g °C", maxCelsius)
	}
	return celsius, resolutionKelvin, nil
}

// number is a typed quantity in parts.
type number struct {
	text, kind, example string // for errors
	sign                string // "" or "-"
	whole, fraction     string // digits
	separator           string // "", "." or ","
	exponent            int
	suffix              string // what follows, without spaces around it
}

var numberPattern = regexp.MustCompile(`^([+−-]?)([0-9]*)(?:([.,])([0-9]*))?(?:[eE]([+-]?[0-9]{1,2}))?(.*)$`)

// Limits on what a person types; a longer text is a mistake or an attack.
const (
	maxTyped  = 40 // characters
	maxDigits = 15 // as many as a float64 holds
)

// scan splits a typed quantity. The suffix may hold anything but another number.
func scan(text, kind, example string) (number, error) {
	trimmed := strings.TrimSpace(strings.ReplaceAll(text, "\u00a0", " "))
	n := number{text: trimmed, kind: kind, example: example}
	switch {
	case trimmed == "":
		return n, fmt.Errorf("no %s given: %s", kind, example)
	case utf8.RuneCountInString(trimmed) > maxTyped:
		n.text = string([]rune(trimmed)[:maxTyped]) + "…"
		return n, n.problem("is too long")
	case !utf8.ValidString(trimmed):
		return n, n.problem("is not text")
	}
	parts := numberPattern.FindStringSubmatch(trimmed)
	if parts == nil || parts[2]+parts[4] == "" {
		return n, n.problem("is not a number")
	}
	if parts[1] == "-" || parts[1] == "−" {
		n.sign = "-"
	}
	n.whole, n.separator, n.fraction = parts[2], parts[3], parts[4]
	if len(strings.TrimLeft(n.whole+n.fraction, "0")) > maxDigits {
		return n, n.problem("has more than %d digits", maxDigits)
	}
	if parts[5] != "" {
		exponent, err := strconv.Atoi(parts[5])
		if err != nil {
			return n, n.problem("has an exponent that is not a number")
		}
		n.exponent = exponent
	}
	n.suffix = strings.TrimSpace(parts[6])
	if first, _ := utf8.DecodeRuneInString(n.suffix); strings.ContainsRune(".,'’_0123456789", first) {
		return n, n.problem("is not one number; leave out separators between thousands")
	}
	return n, nil
}

var letterPointPattern = regexp.MustCompile(`^([RkKMGT])([0-9]+)(.*)$`)

// takeLetterPoint moves digits after a letter in the place of the point, as in
// 6k69, to the fraction, and returns the suffix that is left.
func (n *number) takeLetterPoint() (suffix string, err error) {
	parts := letterPointPattern.FindStringSubmatch(n.suffix)
	if parts == nil {
		return n.suffix, nil
	}
	if n.separator != "" || n.exponent != 0 || n.whole == "" {
		return "", n.problem("has digits on both sides of %q and a point or exponent besides", parts[1])
	}
	if len(strings.TrimLeft(n.whole+parts[2], "0")) > maxDigits {
		return "", n.problem("has more than %d digits", maxDigits)
	}
	n.fraction = parts[2]
	return parts[1] + strings.TrimSpace(parts[3]), nil
}

// ambiguousComma reports a comma that may part thousands: 1 to 3 digits before
// it, not beginning with 0, and exactly 3 after.
func (n number) ambiguousComma() bool {
	return n.separator == "," && len(n.fraction) == 3 && len(n.whole) >= 1 && len(n.whole) <= 3 && n.whole[0] != '0'
}

// ohmsExponent reads prefix and unit.
func (n number) ohmsExponent() (int, error) {
	prefix := n.suffix
	for _, unit := range []string{"ohms", "ohm", "Ω", "R"} {
		// EqualFold takes both code points of Ω, U+03A9 and U+2126.
		if head, ok := cutSuffixFold(n.suffix, unit); ok {
			prefix = strings.TrimSpace(head)
			break
		}
	}
	switch prefix {
	case "":
		return 0, nil
	case "k", "K", "kilo", "kil": // kilohm, megohm and gigohm drop a vowel
		return 3, nil
	case "M", "mega", "meg":
		return 6, nil
	case "G", "giga", "gig":
		return 9, nil
	case "T":
		return 12, nil
	case "m":
		return 0, n.problem("has a small m, which means milli; for megohms write M")
	}
	return 0, n.problem("has the unit %q, which is no resistance", n.suffix)
}

// cutSuffixFold is strings.CutSuffix without regard to case.
func cutSuffixFold(s, suffix string) (before string, found bool) {
	runes, length := []rune(s), utf8.RuneCountInString(suffix)
	if len(runes) < length || !strings.EqualFold(string(runes[len(runes)-length:]), suffix) {
		return s, false
	}
	return string(runes[:len(runes)-length]), true
}

// value returns the number times ten to the exponent, and one step of its last
// digit. Both are the decimal text rounded once.
func (n number) value(exponent int) (value, resolution float64, err error) {
	last := strconv.Itoa(n.exponent + exponent - len(n.fraction))
	if value, err = strconv.ParseFloat(n.sign+n.whole+n.fraction+"e"+last, 64); err != nil {
		return 0, 0, n.problem("is not a number a computer holds")
	}
	if resolution, err = strconv.ParseFloat("1e"+last, 64); err != nil {
		return 0, 0, n.problem("has a last digit no computer holds")
	}
	return value, resolution, nil
}

// problem makes an error that quotes what was typed.
func (n number) problem(format string, args ...any) error {
	return fmt.Errorf("%s %q %s: %s", n.kind, n.text, fmt.Sprintf(format, args...), n.example)
}

// MeantOhms writes what a resistance below low or above high was meant to be
// when a k was forgotten or is too many: "6.69 kΩ" for 6.69. It is empty when
// neither would lie between them.
func MeantOhms(ohms, low, high float64) string {
	for _, factor := range []float64{1e3, 1e-3} {
		if meant := ohms * factor; meant >= low && meant <= high {
			return words.Ohms(meant)
		}
	}
	return ""
}
