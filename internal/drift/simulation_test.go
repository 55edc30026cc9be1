package drift

import (
	"math"
	"math/rand/v2"
	"testing"

	"coilkeep/internal/control"
)

// quietAlarms is how many of so many quiet batches of n coils are called
// drifting.
func quietAlarms(t *testing.T, batches, n int) (drifting, acted int) {
	t.Helper()
	for b := range batches {
		r := analysed(t, newWorkshop(uint64(1000*n+b)).wind(n/2, "SP-07", unmoved).wind(n-n/2, "SP-08", unmoved).coils, ordinary())
		if r.Drifting {
			drifting++
		}
		if r.Advice.Act {
			acted++
		}
	}
	return drifting, acted
}

// Quiet batches stay quiet. A change is called real at p = 0.01, a trend in
// addition when it describes the coils better, so about 1 in 100 each.
func TestQuietBatchesStayQuiet(t *testing.T) {
	const batches = 400
	for _, n := range []int{40, 120} {
		drifting, acted := quietAlarms(t, batches, n)
		t.Logf("of %d quiet batches of %d coils %d are called drifting (%.1f %%), turns are advised in %d", batches, n, drifting,
			100*float64(drifting)/batches, acted)
		// 2 % and four standard errors.
		if drifting > batches/50+12 {
			t.Errorf("%d of %d quiet batches of %d coils are called drifting", drifting, batches, n)
		}
		if acted > batches/50+12 {
			t.Errorf("turns are advised in %d of %d quiet batches of %d coils", acted, batches, n)
		}
	}
}

// Steps at a change of spool: how often they are found, at the right coil, with
// an interval that holds, and billed to the spool.
func TestStepsAreFound(t *testing.T) {
	// Found counts batches with one step and no more: a second, false one or a
	// slope beside it is a miss.
	const batches, before, after = 200, 40, 25
	for _, tt := range []struct {
		sigmas float64
		found  int // at least
	}{{1, 90}, {2, 180}, {3, 188}} {
		found, placed, shifted, billed, acted := 0, 0, 0, 0, 0
		ratio := tt.sigmas * sigmaRatio
		for b := range batches {
			r := analysed(t, newWorkshop(uint64(5000+b)).wind(before, "SP-07", unmoved).wind(after, "SP-08", movedBy(ratio)).coils, ordinary())
			if len(r.ChangePoints) != 1 {
				continue
			}
			c := r.ChangePoints[0]
			found++
			placed += count01(c.Low <= before && before <= c.High)
			shifted += count01(c.ShiftRatioLow <= ratio && ratio <= c.ShiftRatioHigh)
			billed += count01(r.Attribution[0].Cause == "spool")
			acted += count01(r.Advice.Act)
		}
		t.Logf("step of %g sigma, %d coils after it: found in %d of %d; of these the interval holds the coil in %.0f %%, the shift in %.0f "+
			"%%, billed to the spool %.0f %%, turns advised %.0f %%",
			tt.sigmas, after, found, batches, percentOf(placed, found), percentOf(shifted, found), percentOf(billed, found), percentOf(acted, found))
		if found < tt.found {
			t.Errorf("steps of %g sigma are found in %d of %d batches", tt.sigmas, found, batches)
		}
		// Nominally 95 %; less for small steps, which are found where chance helps.
		if tt.sigmas >= 2 && (percentOf(placed, found) < 90 || percentOf(shifted, found) < 88 || percentOf(billed, found) < 88) {
			t.Errorf("steps of %g sigma: coil %d, shift %d, spool %d of %d", tt.sigmas, placed, shifted, billed, found)
		}
	}
}

func count01(b bool) int {
	if b {
		return 1
	}
	return 0
}

func percentOf(k, n int) float64 { return 100 * float64(k) / math.Max(1, float64(n)) }

// How many coils after a step the charts signal, with limits exactly known and
// from a baseline of 40: beside the published run lengths of 10.5 (EWMA) and 10.4
// (CUSUM) for one sigma, 3.7 and 4.0 for two (arl.csv, for series without a past
// and fixed limits).
func TestDetectionDelay(t *testing.T) {
	const batches = 400
	scheme := control.StandardScheme()
	scheme.Rules = 1 << control.WE1
	for _, tt := range []struct {
		sigmas, most float64
	}{{1, 12}, {2, 5}, {3, 3}} {
		for _, estimated := range []bool{false, true} {
			random := rand.New(rand.NewPCG(77, uint64(tt.sigmas)))
			sum := 0.0
			for range batches {
				sum += delay(t, random, scheme, tt.sigmas, estimated)
			}
			mean := sum / batches
			t.Logf("step of %g sigma, baseline of 40 estimated %v: first signal after %.1f coils", tt.sigmas, estimated, mean)
			if !estimated && mean > tt.most {
				t.Errorf("step of %g sigma: first signal after %.1f coils, want at most %g", tt.sigmas, mean, tt.most)
			}
		}
	}
}

// delay is how many coils it takes to signal a step after a quiet past of 40.
func delay(t *testing.T, random *rand.Rand, scheme control.Scheme, sigmas float64, estimated bool) float64 {
	t.Helper()
	past := make([]float64, 40)
	for i := range past {
		past[i] = random.NormFloat64()
	}
	centre, sigma := 0.0, 1.0
	if estimated {
		chart, err := control.ChartIndividuals(past)
		if err != nil {
			t.Fatal(err)
		}
		centre, sigma = chart.Centre, chart.Sigma
	}
	m, err := control.NewMonitor(scheme)
	if err != nil {
		t.Fatal(err)
	}
	for _, z := range past {
		m.Add((z - centre) / sigma)
	}
	for n := 1; n <= 1000; n++ {
		if m.Add((sigmas + random.NormFloat64() - centre) / sigma).Signal() {
			return float64(n)
		}
	}
	return 1000
}

// Shuffling a batch with a step destroys the order and with it the drift.
func TestShuffledBatchIsQuiet(t *testing.T) {
	const batches = 100
	random := rand.New(rand.NewPCG(9, 9))
	drifting := 0
	for b := range batches {
		coils := newWorkshop(uint64(b)).wind(60, "", unmoved).wind(30, "", movedBy(0.007)).coils
		random.Shuffle(len(coils), func(i, j int) { coils[i], coils[j] = coils[j], coils[i] })
		for i := range coils {
			coils[i].Sequence = i + 1
		}
		drifting += count01(analysed(t, coils, ordinary()).Drifting)
	}
	t.Logf("%d of %d shuffled batches are called drifting", drifting, batches)
	if drifting > 8 {
		t.Errorf("%d of %d shuffled batches are called drifting", drifting, batches)
	}
}
