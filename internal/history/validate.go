package history

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"coilkeep/internal/copper"
)

// Longest texts accepted, in characters.
const (
	maxName   = 64
	maxSerial = 40
	maxNote   = 2000
	maxDetail = 3 * maxNote // of a journal entry, which may quote a note
)

// ValidateDesign says which field of a design cannot be right, as a
// *FieldError; nil when it may be stored. Revision and CreatedAt are the
// history's to fill in and are not looked at.
func ValidateDesign(d Design) error {
	if err := validName("name", d.Name); err != nil {
		return err
	}
	if err := validNote("note", d.Note); err != nil {
		return err
	}
	if err := validBobbin(d.Bobbin); err != nil {
		return err
	}
	// A design is refused for what its measurements would be refused for.
	if err := copper.Alpha20(d.AlphaPerKelvin).Check(); err != nil {
		return invalid("alpha_per_kelvin", "must be the coefficient of a copper wire: %v", err)
	}
	for _, c := range []struct {
		field    string
		value    float64
		min, max float64
		unit     string
	}{
		{"target_ohms", d.TargetOhms, 0.001, 1e9, " Ω"},
		{"lower_ohms", d.LowerOhms, 0.001, 1e9, " Ω"},
		{"upper_ohms", d.UpperOhms, 0.001, 1e9, " Ω"},
		{"guard_factor", d.GuardFactor, 0, 1, ""},
		{"gauge_awg", float64(d.GaugeAWG), 0, 60, ""},
		{"turns", float64(d.Turns), 0, 1e6, ""},
		{"alpha_standard_uncertainty_per_kelvin", d.AlphaStandardUncertaintyPerKelvin, 0, d.AlphaPerKelvin / 10, " /K"},
		{"time_constant_seconds", d.TimeConstantSeconds, 0, 86400, " s"},
		{"time_constant_ratio", d.TimeConstantRatio, 0, 1, ""},
		{"quick_share", d.QuickShare, 0, 1, ""},
		{"quick_share_deviation", d.QuickShareDeviation, 0, 1, ""},
		{"wanted_uncertainty_percent", d.WantedUncertaintyPercent, 0, 50, " %"},
	} {
		if !(c.value >= c.min && c.value <= c.max) {
			return invalid(c.field, "must be %g to %g%s, not %g", c.min, c.max, c.unit, c.value)
		}
	}
	if d.LowerOhms >= d.UpperOhms {
		return invalid("lower_ohms", "must be less than upper_ohms, but %g is not less than %g", d.LowerOhms, d.UpperOhms)
	}
	if d.TargetOhms < d.LowerOhms || d.TargetOhms > d.UpperOhms {
		return invalid("target_ohms", "must lie within the tolerance %g to %g Ω, but is %g", d.LowerOhms, d.UpperOhms, d.TargetOhms)
	}
	return nil
}

func validBobbin(b *Bobbin) error {
	if b == nil {
		return nil
	}
	for _, c := range []struct {
		field string
		value float64
	}{
		{"bobbin.straight_mm", b.StraightMM},
		{"bobbin.core_radius_mm", b.CoreRadiusMM},
		{"bobbin.build_mm", b.BuildMM},
	} {
		if !(c.value >= 0 && c.value <= 1000) {
			return invalid(c.field, "must be 0 to 1000 mm, not %g", c.value)
		}
	}
	return nil
}

// ValidateSerial says what is wrong with a serial number, as a *FieldError:
// it is 1 to 40 printable characters with no space at either end.
func ValidateSerial(serial string) error { return validText("serial", serial, 1, maxSerial) }

func validName(field, text string) error { return validText(field, text, 1, maxName) }

// validLabel is for names that need not be told.
func validLabel(field, text string) error { return validText(field, text, 0, 4*maxName) }

func validText(field, text string, min, max int) error {
	n := utf8.RuneCountInString(text)
	switch {
	case n < min:
		return invalid(field, "must not be empty")
	case n > max:
		return invalid(field, "must be at most %d characters long, not %d", max, n)
	case !utf8.ValidString(text):
		return invalid(field, "must be UTF-8 text, not %q", text)
	case strings.TrimSpace(text) != text:
		return invalid(field, "must not begin or end with a space: %q", text)
	}
	for _, r := range text {
		if !unicode.IsPrint(r) {
			return invalid(field, "must be printable text, not %q", text)
		}
	}
	return nil
}

// ValidateStage says whether a stage is one of those there are. The error is a
// *FieldError.
func ValidateStage(text string) error {
	if !slices.Contains(stages, text) {
		return invalid("stage", "must be one of %s, not %q", strings.Join(stages, ", "), text)
	}
	return nil
}

// ValidateReason says whether a reason can be kept: some words, not too many.
// The error is a *FieldError.
func ValidateReason(text string) error {
	if text == "" {
		return invalid("reason", "must say why")
	}
	return validNote("reason", text)
}

// Label makes a name that can be kept of whatever an instrument says of itself:
// printable, without spaces around it, cut where it is too long.
func Label(text string) string {
	printable := strings.Map(func(r rune) rune {
		if r == utf8.RuneError || !unicode.IsPrint(r) {
			return ' '
		}
		return r
	}, text)
	runes := []rune(strings.TrimSpace(printable))
	return strings.TrimSpace(string(runes[:min(len(runes), 4*maxName)]))
}

func validNote(field, text string) error { return validLines(field, text, maxNote) }

// validLines is validText for several lines.
func validLines(field, text string, max int) error {
	if n := utf8.RuneCountInString(text); n > max {
		return invalid(field, "must be at most %d characters long, not %d", max, n)
	}
	if !utf8.ValidString(text) {
		return invalid(field, "must be UTF-8 text")
	}
	for _, r := range text {
		if !unicode.IsPrint(r) && r != '\n' && r != '\t' {
			return invalid(field, "must be printable text, but holds %q", r)
		}
	}
	return nil
}

// allValid checks labels given as field, text pairs and returns the first fault.
func allValid(check func(field, text string) error, pairs ...string) error {
	for i := 0; i+1 < len(pairs); i += 2 {
		if err := check(pairs[i], pairs[i+1]); err != nil {
			return err
		}
	}
	return nil
}

func validNumber(field string, value float64) error {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return invalid(field, "must be a finite number, not %g", value)
	}
	return nil
}

// serialPattern is a checked pattern for serial numbers, such as HN-%04d.
type serialPattern struct {
	prefix, suffix string
	width          int // digits, zeros in front; more when the number needs them
}

// maxSerialDigits keeps the numbers within what a person would read and an
// int64 can hold.
const maxSerialDigits = 15

// ValidateSerialPattern says what is wrong with a pattern for serial numbers,
// as a *FieldError: it is plain text around exactly one %0Nd, N from 1 to 15,
// such as HN-%04d. %% stands for a percent sign.
func ValidateSerialPattern(pattern string) error {
	_, err := parseSerialPattern(pattern)
	return err
}

func parseSerialPattern(pattern string) (serialPattern, error) {
	bad := invalid("serials", "must hold exactly one number such as %%04d, for example HN-%%04d, not %q", pattern)
	var p serialPattern
	text := &p.prefix
	for rest := pattern; rest != ""; {
		before, after, found := strings.Cut(rest, "%")
		*text += before
		if !found {
			break
		}
		if after, literal := strings.CutPrefix(after, "%"); literal {
			*text += "%"
			rest = after
			continue
		}
		verb, tail, found := strings.Cut(after, "d")
		width, err := strconv.ParseUint(verb, 10, 8)
		if !found || err != nil || verb[0] != '0' || p.width != 0 || width < 1 || width > maxSerialDigits {
			return serialPattern{}, bad
		}
		p.width, text, rest = int(width), &p.suffix, tail
	}
	if p.width == 0 {
		return serialPattern{}, bad
	}
	if err := ValidateSerial(p.format(1)); err != nil {
		return serialPattern{}, invalid("serials", "makes a serial number that is refused: %v", err)
	}
	return p, nil
}

func (p serialPattern) format(number uint64) string {
	return fmt.Sprintf("%s%0*d%s", p.prefix, p.width, number, p.suffix)
}

// parse returns the number a serial was made of, when the pattern made it or
// would but for capitals.
func (p serialPattern) parse(serial string) (uint64, bool) {
	digits, hasPrefix := strings.CutPrefix(inCapitals(serial), inCapitals(p.prefix))
	digits, hasSuffix := strings.CutSuffix(digits, inCapitals(p.suffix))
	if !hasPrefix || !hasSuffix || len(digits) > maxSerialDigits {
		return 0, false
	}
	number, err := strconv.ParseUint(digits, 10, 64)
	return number, err == nil && inCapitals(p.format(number)) == inCapitals(serial)
}
