package compare

import (
	"strings"
	"testing"

	"coilkeep/internal/r20"
)

// A letter about a coil whose warmth was bounded only says so, once; one whose
// warmth was estimated, or bounded as closely as any bench is, needs no such word.
func TestLetterTellsOfABound(t *testing.T) {
	t.Parallel()
	measured := func(boundKelvin, estimateKelvin float64) Record {
		in := r20.Inputs{ResistanceOhms: 6726, Readings: 8, StandardDeviationOhms: 0.1, ResolutionOhms: 0.1, MeterPercent: 0.05,
			TemperatureCelsius: 21.4, ProbeHalfWidthKelvin: 0.3, CoilDifferenceHalfWidthKelvin: boundKelvin,
			CopperExcessUncertaintyKelvin: estimateKelvin, AlphaPerKelvin: 0.00393, AlphaStandardUncertaintyPerKelvin: 0.00005}
		result, err := r20.Evaluate(in)
		if err != nil {
			t.Fatal(err)
		}
		return Record{Serial: "HN-0042", R20Ohms: result.R20Ohms, ExpandedUncertaintyOhms: result.ExpandedUncertaintyOhms, Measured: &in}
	}
	const says = "its wire was only known to be within 1.9 K of our thermometer, so that our uncertainty is a bound and not an estimate"
	for _, c := range []struct {
		name string
		ours Record
		want int
	}{
		{"bounded widely", measured(1.9, 0), 1},
		{"bounded as a bench is set up", measured(0.5, 0), 0},
		{"estimated", measured(1.9, 0.2), 0},
		{"told", Record{Serial: "HN-0042", R20Ohms: 6690, ExpandedUncertaintyOhms: 20}, 0},
	} {
		r := must(t, Input{Ours: c.ours, Theirs: []Reading{{Ohms: 6700, ResolutionOhms: 10}}})
		if n := strings.Count(r.Answer, says); n != c.want {
			t.Errorf("%s: said %d times, want %d, in %s", c.name, n, c.want, r.Answer)
		}
	}
}
