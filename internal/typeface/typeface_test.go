package typeface_test

import (
	"errors"
	"testing"

	"golang.org/x/image/font"

	"coilkeep/internal/typeface"
)

func TestCheck(t *testing.T) {
	for _, c := range []struct {
		name, text string
		missing    rune
	}{
		{"signs of the trade", "6.690 ± 0.031 kΩ at 20 °C, α = 0.00393 /K, ≤ ≥ − – — · × μ µ √ “”", 0},
		{"the ohm sign proper", "6690 Ω", 0},
		{"west, east and north", "Ærø Łódź Čačak Größe Ελλάς Київ", 0},
		{"two lines", "one\ntwo", 0},
		{"none", "", 0},
		{"ideograph", "工房 North", '工'},
		{"outside the first plane", "🎸", '🎸'},
		{"control character", "a\x07", '\a'},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			err := typeface.Check(c.text)
			var missing *typeface.MissingError
			switch {
			case c.missing == 0 && err != nil:
				t.Errorf("Check(%q) = %v, want nil", c.text, err)
			case c.missing != 0 && !errors.As(err, &missing):
				t.Errorf("Check(%q) = %v, want a MissingError", c.text, err)
			case c.missing != 0 && missing.Character != c.missing:
				t.Errorf("Check(%q) misses %q, want %q", c.text, missing.Character, c.missing)
			}
		})
	}
}

// The face that draws and the widths that lay out agree.
func TestWidthIsThatOfTheFace(t *testing.T) {
	t.Parallel()
	for _, isBold := range []bool{false, true} {
		face, err := typeface.Face(isBold, 40)
		if err != nil {
			t.Fatal(err)
		}
		const text = "R20 6.690 ± 0.031 kΩ"
		got, want := typeface.Width(text, isBold, 40), float64(font.MeasureString(face, text))/64
		// Kerning is drawn but not laid out; digits have none.
		if got < want-0.5 || got > want*1.03 {
			t.Errorf("Width(bold %t) = %g, the face draws it %g wide", isBold, got, want)
		}
	}
}

// A hyphen is a third of an em wide in these fonts' soft hyphen, and not as wide as
// the minus sign of a number; all else keeps its width.
func TestHyphenIsNoMinus(t *testing.T) {
	t.Parallel()
	for _, bold := range []bool{false, true} {
		hyphen, minus, soft := typeface.Width("-", bold, 1000), typeface.Width("−", bold, 1000), typeface.Width("\u00ad", bold, 1000)
		if hyphen != soft || hyphen > 0.7*minus {
			t.Errorf("bold %v: the hyphen is %.0f wide, the minus %.0f, the soft hyphen %.0f", bold, hyphen, minus, soft)
		}
	}
	if got := typeface.Width("0", false, 1000); got < 556 || got > 557 { // Go Regular
		t.Errorf("a digit is %.1f wide, want 556.2", got)
	}
}
