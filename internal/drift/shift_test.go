package drift

import (
	"math"
	"slices"
	"testing"
)

// fourSpools are a batch whose level goes up, down and up again, so that no one
// cut parts it well.
var fourSpools = []struct {
	name  string
	coils int
	level float64
}{{"SP-1", 10, 0}, {"SP-2", 19, 0.012}, {"SP-3", 20, -0.004}, {"SP-4", 20, 0.007}}

// Every step of a batch from several spools is told, at its coil, and nothing
// else.
func TestEverySpoolIsTold(t *testing.T) {
	const batches = 200
	all := 0
	for seed := range uint64(batches) {
		w := newWorkshop(seed)
		var want, got []int
		for _, s := range fourSpools {
			if len(w.coils) > 0 {
				want = append(want, len(w.coils))
			}
			w.wind(s.coils, s.name, movedBy(s.level))
		}
		w.coils[8].R20Ohms *= 0.91  // shorted turns
		w.coils[27].R20Ohms *= 0.91 // and once more, next to the last of a spool
		r := analysed(t, w.coils, ordinary())
		for _, c := range r.ChangePoints {
			got = append(got, c.LastBefore)
		}
		if len(r.Outliers) == 2 && slices.Equal(got, want) && !(r.Trend != nil && r.Trend.Real) {
			all++
		}
	}
	t.Logf("all three steps and nothing else in %d of %d batches", all, batches)
	if all < batches*92/100 {
		t.Errorf("all three steps and nothing else in %d of %d batches", all, batches)
	}
}

// In a series so long that not every coil is tried as a place, steps are still
// told at their very coil.
func TestStepsOfALongSeries(t *testing.T) {
	const perSpool = 67 // not a multiple of the stride
	w := newWorkshop(1)
	for i := range 36 {
		w.wind(perSpool, "SP", movedBy(0.03*float64(i%2)))
	}
	r := analysed(t, w.coils, ordinary())
	if len(w.coils) < 2*mostPlaces || len(r.ChangePoints) != 35 {
		t.Fatalf("%d steps in %d coils, want 35", len(r.ChangePoints), len(w.coils))
	}
	for _, c := range r.ChangePoints {
		if c.LastBefore%perSpool != 0 {
			t.Errorf("a step after coil %d, want only after every %d", c.LastBefore, perSpool)
		}
	}
}

// TestShiftIntervalsHold winds batches whose level steps at spools, on level
// ground and on a slope, and asks whether the 95 % interval of each step that is
// named at the right coil, and as what it is, holds the true one. Which
// description fits best is itself chosen from the data; the interval beside a
// slope allows for that.
func TestShiftIntervalsHold(t *testing.T) {
	for _, slope := range []float64{0, 0.0005} {
		named, held := 0, 0
		for seed := range uint64(200) {
			w := newWorkshop(seed)
			truth := map[int]float64{} // by the first coil of a spool
			for i, s := range fourSpools {
				before := len(w.coils)
				if i > 0 {
					truth[before] = (s.level - fourSpools[i-1].level) * targetOhms
				}
				w.wind(s.coils, s.name, func(i int) float64 { return s.level + slope*float64(before+i) })
			}
			r := analysed(t, w.coils, ordinary())
			for _, c := range r.ChangePoints {
				step, ok := truth[c.LastBefore]
				besideSlope := func(t Trend) bool { return t.last == c.k || c.k <= t.first && t.first < c.to }
				if !ok || slices.ContainsFunc(r.RealTrends(), besideSlope) != (slope != 0) {
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
		// Two standard errors of a binomial share below 95 %.
		if least := 0.95 - 2*math.Sqrt(0.95*0.05/float64(named)); share < least {
			t.Errorf("slope %g %% a coil: the interval holds in %.1f %% of %d steps, want %.1f %%", slope*100, share*100, named, least*100)
		}
	}
}

// The 95 % intervals of a slope, and of the level it has come to, hold where the
// coil it begins at had to be found as well.
func TestSlopeIntervalsHold(t *testing.T) {
	const batches, quiet, sloping, slope = 200, 40, 40, 0.15 * sigmaRatio
	found, held, level := 0, 0, 0
	for seed := range uint64(batches) {
		r := analysed(t, newWorkshop(seed).wind(quiet, "SP-07", unmoved).wind(sloping, "SP-07",
			func(i int) float64 { return slope * float64(i) }).coils, ordinary())
		if r.Trend == nil || !r.Trend.Real {
			continue
		}
		found++
		held += count01(r.Trend.SlopeLow <= slope*targetOhms && slope*targetOhms <= r.Trend.SlopeHigh)
		level += count01(math.Abs(r.Trend.end-targetOhms*(1+slope*(sloping-1))) <= 2*r.Trend.endError)
	}
	t.Logf("found in %d of %d; the slope's interval holds in %.0f %%, the level's in %.0f %%", found, batches, percentOf(held, found),
		percentOf(level, found))
	if found < batches*3/4 || percentOf(held, found) < 90 || percentOf(level, found) < 90 {
		t.Errorf("found in %d of %d; the slope's interval holds in %d, the level's in %d", found, batches, held, level)
	}
	// What is told of the last coil is one number.
	r := analysed(t, newWorkshop(4).wind(quiet, "SP-07", unmoved).wind(sloping, "SP-07",
		func(i int) float64 { return slope * float64(i) }).coils, ordinary())
	if last := r.Points[len(r.Points)-1].LevelOhms; math.Abs(last-r.Trend.end) > 1e-9*last ||
		math.Abs(last-targetOhms-r.Advice.OffsetOhms) > 1e-9*last {
		t.Errorf("the level at the last coil is %v in points, %v by the trend, %v by the advice", last, r.Trend.end,
			targetOhms+r.Advice.OffsetOhms)
	}
}

// A step at a recorded change of spool is told even while the coils after it
// happen to lean its way, when one slope through all is nearly as good.
func TestStepAtSpoolChangeInShortBatch(t *testing.T) {
	const batches = 200
	named := 0
	for seed := range uint64(batches) {
		r := analysed(t, newWorkshop(seed).wind(10, "SP-07", unmoved).wind(19, "SP-08", movedBy(0.012)).coils, ordinary())
		for _, cause := range r.Attribution {
			if cause.Cause == "spool" {
				named++
				// "At" only where the step is found at the very coil.
				with := ", at the change to spool SP-08"
				if cause.Sequence != 11 {
					with = ", with the change to spool SP-08 at coil 11"
				}
				contains(t, "summary", r.Summary, with)
				break
			}
		}
	}
	t.Logf("the spool is named in %d of %d", named, batches)
	if named < batches*98/100 {
		t.Errorf("the spool is named in %d of %d batches", named, batches)
	}
}
