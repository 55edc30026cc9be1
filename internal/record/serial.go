package record

import (
	"fmt"
	"strconv"
	"strings"
)

// ValidateSerial says what is wrong with a serial number, as a *FieldError:
// it is 1 to 40 printable characters with no space at either end.
func ValidateSerial(serial string) error { return ValidateText("serial", serial, 1, maxSerial) }

// SerialPattern is a checked pattern for serial numbers, such as HN-%04d.
type SerialPattern struct {
	Prefix, Suffix string
	Width          int // digits, zeros in front; more when the number needs them
}

func (p SerialPattern) Format(number uint64) string {
	return fmt.Sprintf("%s%0*d%s", p.Prefix, p.Width, number, p.Suffix)
}

// parse returns the number a serial was made of, when the pattern made it or
// would but for capitals.
func (p SerialPattern) Number(serial string) (uint64, bool) {
	digits, hasPrefix := strings.CutPrefix(InCapitals(serial), InCapitals(p.Prefix))
	digits, hasSuffix := strings.CutSuffix(digits, InCapitals(p.Suffix))
	if !hasPrefix || !hasSuffix || len(digits) > MaxSerialDigits {
		return 0, false
	}
	number, err := strconv.ParseUint(digits, 10, 64)
	return number, err == nil && InCapitals(p.Format(number)) == InCapitals(serial)
}

// MaxSerialDigits keeps the numbers within what a person would read and an
// int64 can hold.
const MaxSerialDigits = 15

// ValidateSerialPattern says what is wrong with a pattern for serial numbers,
// as a *FieldError: it is plain text around exactly one %0Nd, N from 1 to 15,
// such as HN-%04d. %% stands for a percent sign.
func ValidateSerialPattern(pattern string) error {
	_, err := ParseSerialPattern(pattern)
	return err
}

// ParseSerialPattern reads a pattern that [ValidateSerialPattern] describes, and
// has its errors.
func ParseSerialPattern(pattern string) (SerialPattern, error) {
	bad := Invalid("serials", "must hold exactly one number such as %%04d, for example HN-%%04d, not %q", pattern)
	var p SerialPattern
	text := &p.Prefix
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
		if !found || err != nil || verb[0] != '0' || p.Width != 0 || width < 1 || width > MaxSerialDigits {
			return SerialPattern{}, bad
		}
		p.Width, text, rest = int(width), &p.Suffix, tail
	}
	if p.Width == 0 {
		return SerialPattern{}, bad
	}
	if err := ValidateSerial(p.Format(1)); err != nil {
		return SerialPattern{}, Invalid("serials", "makes a serial number that is refused: %v", err)
	}
	return p, nil
}

// InCapitals is a serial number with the letters A to Z as capitals.
func InCapitals(serial string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' {
			return r - 'a' + 'A'
		}
		return r
	}, serial)
}

// SpelledAlike is the *FieldError for a serial number that differs from that of
// a known coil by capitals only.
func SpelledAlike(known string) error {
	return Invalid("serial", "%s exists: write it so, or choose another", known)
}

// SerialNumber is the number that a pattern made a serial number of, or would have
// made it of but for capitals; made is false when it is of another form.
func SerialNumber(pattern, serial string) (number uint64, made bool) {
	p, err := ParseSerialPattern(pattern)
	if err != nil {
		return 0, false
	}
	return p.Number(serial)
}

// farSerial is how far beyond the next number of a pattern a new one may be
// before it is remarked upon.
const farSerial = 10

// RemarkOnSerial says what is unusual in the serial number of a new coil where
// the pattern would give next; empty when nothing is. It is no fault: a person
// may number as they like.
func RemarkOnSerial(pattern, next, serial string) string {
	p, err := ParseSerialPattern(pattern)
	if err != nil || serial == next {
		return ""
	}
	expected, known := p.Number(next)
	number, made := p.Number(serial)
	switch {
	case !known:
		return ""
	case !made:
		return fmt.Sprintf("%s is of another form than %s, so the count stays at %s", serial, pattern, next)
	case number > expected+farSerial:
		return fmt.Sprintf("%s is %d beyond %s, and the count will go on from %s", serial, number-expected, next, p.Format(number+1))
	}
	return ""
}
