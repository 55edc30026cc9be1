package record

import (
	"math"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Longest texts accepted, in characters.
const (
	MaxName   = 64
	maxSerial = 40
	maxNote   = 2000
	MaxDetail = 3 * maxNote // of a journal entry, which may quote a note
)

// ValidateLabel is for names that need not be told.
func ValidateLabel(field, text string) error { return ValidateText(field, text, 0, 4*MaxName) }

// ValidateText checks one line of text: printable, without a space at either
// end, from min to max characters long. The error is a *FieldError.
func ValidateText(field, text string, min, max int) error {
	n := utf8.RuneCountInString(text)
	switch {
	case n < min:
		return Invalid(field, "must not be empty")
	case n > max:
		return Invalid(field, "must be at most %d characters long, not %d", max, n)
	case !utf8.ValidString(text):
		return Invalid(field, "must be UTF-8 text, not %q", text)
	case strings.TrimSpace(text) != text:
		return Invalid(field, "must not begin or end with a space: %q", text)
	}
	for _, r := range text {
		if !unicode.IsPrint(r) {
			return Invalid(field, "must be printable text, not %q", text)
		}
	}
	return nil
}

// ValidateReason says whether a reason can be kept: some words, not too many.
// The error is a *FieldError.
func ValidateReason(text string) error {
	if text == "" {
		return Invalid("reason", "must say why")
	}
	return ValidateNote("reason", text)
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
	return strings.TrimSpace(string(runes[:min(len(runes), 4*MaxName)]))
}

// ValidateNote checks a text of several lines that a person wrote. The error is a
// *FieldError.
func ValidateNote(field, text string) error { return ValidateLines(field, text, maxNote) }

// ValidateLines is validText for several lines.
func ValidateLines(field, text string, max int) error {
	if n := utf8.RuneCountInString(text); n > max {
		return Invalid(field, "must be at most %d characters long, not %d", max, n)
	}
	if !utf8.ValidString(text) {
		return Invalid(field, "must be UTF-8 text")
	}
	for _, r := range text {
		if !unicode.IsPrint(r) && r != '\n' && r != '\t' {
			return Invalid(field, "must be printable text, but holds %q", r)
		}
	}
	return nil
}

// AllValid checks labels given as field, text pairs and returns the first fault.
func AllValid(check func(field, text string) error, pairs ...string) error {
	for i := 0; i+1 < len(pairs); i += 2 {
		if err := check(pairs[i], pairs[i+1]); err != nil {
			return err
		}
	}
	return nil
}

// ValidateNumber checks that a number is finite. The error is a *FieldError.
func ValidateNumber(field string, value float64) error {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return Invalid(field, "must be a finite number, not %g", value)
	}
	return nil
}

// TimeLayout is RFC 3339 in UTC to the microsecond.
const TimeLayout = "2006-01-02T15:04:05.000000Z07:00"

// ValidateName checks a name that must be told. The error is a *FieldError.
func ValidateName(field, text string) error { return ValidateText(field, text, 1, MaxName) }
