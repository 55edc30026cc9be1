package pages

import (
	"testing"

	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
	"coilkeep/internal/record"
)

// atWork is a bench with R20 of 10 kΩ known within so many percent, and what that
// will be in ten seconds; 0 is not known.
func atWork(percent, ahead float64) bench.Snapshot {
	s := bench.Snapshot{AheadSeconds: capture.Ahead.Seconds()}
	if percent != 0 {
		ohms, expanded := 10000.0, 100*percent
		s.R20Ohms, s.ExpandedUncertaintyOhms = &ohms, &expanded
	}
	if ahead != 0 {
		s.AheadPercent = &ahead
	}
	return s
}

func TestGainWords(t *testing.T) {
	t.Parallel()
	recorded := &record.Measurement{R20Ohms: 10000, ExpandedUncertaintyOhms: 41}
	for _, c := range []struct {
		name           string
		percent, ahead float64
		recorded       *record.Measurement
		want           string
	}{
		{"nothing is known", 0, 0, nil, ""},
		{"and nothing of what comes", 0.41, 0, nil, "± 0.41 %"},
		{"it gets better", 0.41, 0.30, nil, "± 0.41 % now, in 10 s ± 0.30 %"},
		{"by a tenth and no more", 0.40, 0.37, nil, "± 0.40 %"},
		{"it would get worse", 0.40, 0.50, nil, "± 0.40 %"},
		{"large", 12.3, 3.1, nil, "± 12 % now, in 10 s ± 3.1 %"},
		{"recorded, and nothing is gained", 0.41, 0.40, recorded, ""},
		{"recorded, nothing known of what is on", 0, 0, recorded, ""},
		{"recorded, better soon", 0.40, 0.28, recorded, "recorded; leaving it on makes it better: ± 0.41 % → ± 0.28 % in 10 s"},
		{"recorded, better now", 0.30, 0.29, recorded, "recorded; leaving it on makes it better: ± 0.41 % → ± 0.30 % now"},
		{"recorded, better now and soon", 0.33, 0.28, recorded, "recorded; leaving it on makes it better: ± 0.41 % → ± 0.33 % now, ± 0.28 % " +
			"in 10 s"},
	} {
		if got := gainWords(atWork(c.percent, c.ahead), c.recorded); got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
}

// A difference of temperature is never said without how well it is known.
func TestCopperWords(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		difference, halfWidth float64
		want                  string
	}{
		{4.2, 2.9, "copper about 4.2 K ± 2.9 K above the probe"},
		{-4.2, 2.9, "copper about 4.2 K ± 2.9 K below the probe"},
		{0.04, 0.5, "copper as warm as the probe, ± 0.5 K"},
		{-0.04, 0.02, "copper as warm as the probe, ± 0.1 K"},
		{27.4, 11.6, "copper about 27 K ± 12 K above the probe"},
	} {
		s := bench.Snapshot{DifferenceKelvin: &c.difference, DifferenceHalfWidthKelvin: &c.halfWidth}
		if got := copperWords(s); got != c.want {
			t.Errorf("%g ± %g K: got %q, want %q", c.difference, c.halfWidth, got, c.want)
		}
		s.DifferenceHalfWidthKelvin = nil
		if got := copperWords(s); got != "" {
			t.Errorf("%g K with nobody knowing how well: got %q", c.difference, got)
		}
	}
}
