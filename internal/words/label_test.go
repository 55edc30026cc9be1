package words_test

import (
	"strings"
	"testing"

	"coilkeep/internal/words"
)

func TestSerialRead(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"HN-0042":     "HN-0042",
		"  HN-0042\n": "HN-0042",
		"HN-0042 R20 6.690 +- 0.018 kohm 2026-03-14":     "HN-0042",
		"HN-0042 R20 6.690 +- 0.018 kohm 2026-03-14\r\n": "HN-0042",
		// A scanner with capitals locked; what a page shows.
		"HN-0042 R20 6.690 +- 0.018 KOHM 2026-03-14": "HN-0042",
		"hn-0042 r20 150.2 +- 0.3 ohm 2026-03-14":    "hn-0042",
		"HN-0042 R20 6.690 ± 0.018 kΩ":               "HN-0042",
		"HN-0042 R20 6.69 kohm 2026-03-14":           "HN-0042",
		// A serial number with spaces, or one that looks like the rest of a label.
		"Long Meadow 7 R20 1.2345 +- 0.0020 Mohm 2026-03-14":                     "Long Meadow 7",
		"A R20 1 +- 1 ohm 2026-01-01 R20 6.690 +- 0.018 kohm 2026-03-14":         "A R20 1 +- 1 ohm 2026-01-01",
		"Heron Lane Coils\nCertificate of resistance\nHN-0042\n6.690 ± 0.018 kΩ": "HN-0042",
		"see below\nHN-0042 R20 6.690 +- 0.018 kohm 2026-03-14\nin tolerance":    "HN-0042",
		"HN-0042 R20 about seven":   "HN-0042 R20 about seven",
		"R20":                       "R20",
		"":                          "",
		"Certificate of resistance": "Certificate of resistance",
	} {
		if got := words.SerialRead(text); got != want {
			t.Errorf("%q: got %q, want %q", text, got, want)
		}
	}
}

// What is written on a label is read from it, whatever the coil is called.
func FuzzSerialRead(f *testing.F) {
	f.Add("HN-0042", 6690.0, 18.0)
	f.Add("A R20 5 ohm", 0.5, 0.0)
	f.Fuzz(func(t *testing.T, serial string, ohms, within float64) {
		if serial == "" || strings.TrimSpace(serial) != serial || strings.ContainsAny(serial, "\n\r") || !(ohms > 0.001 && ohms < 1e9) ||
			!(within >= 0 && within < ohms) || strings.ToValidUTF8(serial, "") != serial {
			t.Skip()
		}
		if label := words.LabelText(serial, ohms, within, "2026-03-14"); words.SerialRead(label) != serial {
			t.Errorf("of %q: %q", label, words.SerialRead(label))
		}
	})
}
