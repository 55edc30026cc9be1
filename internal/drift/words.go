package drift

import (
	"fmt"
	"math"
	"strings"
)

// coilName is a coil for people: its number and, where there is one, the serial
// that stands on its label.
func coilName(sequence int, serial string) string {
	if serial != "" {
		return fmt.Sprintf("coil %d (%s)", sequence, serial)
	}
	return fmt.Sprintf("coil %d", sequence)
}

// signedPercent writes a ratio as people read it, with its sign: "+1.2 %". What rounds
// to nothing has none.
func signedPercent(ratio float64) string {
	p, digits := 100*ratio, 2
	switch {
	case math.Abs(p) < 0.005:
		return "0.00 %"
	case math.Abs(p) >= 10:
		digits = 0
	case math.Abs(p) >= 0.995:
		digits = 1
	}
	return fmt.Sprintf("%+.*f %%", digits, p)
}

// percentPerCoil writes a small ratio whose direction a word tells: "0.012 %".
func percentPerCoil(ratio float64) string { return fmt.Sprintf("%.3f %%", 100*ratio) }

// percentInterval writes an interval without repeating its unit: "0.9 to 1.5".
func percentInterval(low, high float64) string {
	digits := 2
	if math.Max(math.Abs(low), math.Abs(high)) >= 0.00995 {
		digits = 1
	}
	// Adding 0 takes the sign off what rounded to -0.
	round := func(ratio float64) float64 { return math.Round(100*ratio*math.Pow10(digits))/math.Pow10(digits) + 0 }
	return fmt.Sprintf("%.*f to %.*f", digits, round(low), digits, round(high))
}

// shortenNote is a note in so many letters that a sentence can hold it.
func shortenNote(note string) string {
	const most = 48
	note = strings.Join(strings.Fields(note), " ")
	letters := []rune(note)
	if len(letters) <= most {
		return note
	}
	return strings.TrimSpace(string(letters[:most-1])) + "…"
}

// bySign is the word for what falls or for what rises.
func bySign(slope float64, falls, rises string) string {
	if slope < 0 {
		return falls
	}
	return rises
}

// rootOrZero of a variance that may be a rounding below zero.
func rootOrZero(v float64) float64 { return math.Sqrt(math.Max(0, v)) }
