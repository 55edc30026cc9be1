package drift

import (
	"math"
	"testing"
)

// TestShiftIntervalsHold winds batches whose level steps at spools, on level
// ground and on a slope, and asks whether the 95 % interval of each step that is
// named at the right coil, and as what it is, holds the true one. Which
// description fits best is itself chosen from the data, so a little less than
// 95 % is expected.
func TestShiftIntervalsHold(t *testing.T) {
	spools := []struct {
		name  string
		coils int
		level float64
	}{{"SP-1", 10, 0}, {"SP-2", 19, 0.012}, {"SP-3", 20, -0.004}, {"SP-4", 20, 0.007}}
	for _, slope := range []float64{0, 0.0003} {
		named, held := 0, 0
		for seed := range uint64(200) {
			w := newWorkshop(seed)
			truth := map[int]float64{} // by the first coil of a spool
			for i, s := range spools {
				before := len(w.coils)
				if i > 0 {
					truth[before] = (s.level - spools[i-1].level) * targetOhms
				}
				w.wind(s.coils, s.name, func(i int) float64 { return s.level + slope*float64(before+i) })
			}
			r := analysed(t, w.coils, ordinary())
			for _, c := range r.ChangePoints {
				step, ok := truth[c.LastBefore]
				if !ok || c.sloping != (slope != 0) {
					continue // between levels that slope, the step of the levels is another
				}
				named++
				if c.ShiftLow <= step && step <= c.ShiftHigh {
					held++
				}
			}
		}
		if named < 100 {
			t.Fatalf("slope %g %% a coil: only %d steps were named", slope*100, named)
		}
		share := float64(held) / float64(named)
		t.Logf("slope %g %% a coil: the interval holds in %.1f %% of %d steps", slope*100, share*100, named)
		// Two standard errors of a binomial share below nine in ten.
		if least := 0.9 - 2*math.Sqrt(0.9*0.1/float64(named)); share < least {
			t.Errorf("slope %g %% a coil: the interval holds in %.1f %% of %d steps, want %.1f %%", slope*100, share*100, named, least*100)
		}
	}
}
