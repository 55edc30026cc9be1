package lines

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// singleByte are the signs behind numbers in the two single-byte character
// sets met in instruments: code page 437 and Latin-1.
var singleByte = map[byte]rune{
	0xEA: '\u03a9', // cp437 omega
	0xF8: '°',      // cp437
	0xE6: '\u00b5', // cp437 micro
	0xB0: '°',      // Latin-1
	0xB5: '\u00b5', // Latin-1 micro
}

// Text decodes a line: UTF-8, or else code page 437 or Latin-1 as far as they
// are met in instruments. A byte 02h before and 03h after the text (STX and
// ETX of ISO 646) are taken off. It returns an error for noise: a NUL, which is
// also how a byte with a parity error arrives, another control character, or a
// byte of no known character set. Leaving such bytes out would join the halves
// of a damaged number.
func Text(line []byte) (string, error) {
	text := strings.TrimSuffix(strings.TrimPrefix(string(line), "\x02"), "\x03")
	if !utf8.ValidString(text) {
		var b strings.Builder
		for _, c := range []byte(text) {
			r, known := singleByte[c]
			switch {
			case c < utf8.RuneSelf:
				b.WriteByte(c)
			case known:
				b.WriteRune(r)
			default:
				return "", fmt.Errorf("noise: byte %#02x; see to baud rate and frame", c)
			}
		}
		text = b.String()
	}
	for _, r := range text {
		switch {
		case r == 0:
			return "", errors.New("a NUL byte: damaged on the way, or the frame's parity is wrong")
		case unicode.IsControl(r) && r != '\t':
			return "", fmt.Errorf("noise: control character %#02x; see to baud rate and frame", r)
		}
	}
	return strings.TrimRight(text, " \t"), nil
}

// Raw shows a line as driver.Reading.Raw wants it: not printable bytes escaped
// as in a Go string literal, at most 4 KiB.
func Raw(line []byte) string {
	var b []byte
	for len(line) > 0 {
		r, n := utf8.DecodeRune(line)
		before := len(b)
		switch {
		case r == utf8.RuneError && n == 1:
			b = fmt.Appendf(b, `\x%02x`, line[0])
		case r == '"':
			b = append(b, '"')
		default:
			quoted := strconv.QuoteRune(r)
			if r == '\'' {
				quoted = `'''`
			}
			b = append(b, quoted[1:len(quoted)-1]...)
		}
		if len(b) > MaxBytes {
			return string(b[:before])
		}
		line = line[n:]
	}
	return string(b)
}
