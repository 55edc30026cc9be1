package warmth

import (
	"cmp"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// coil is one simulated coil of this package's own model. Whether the model holds
// of coils is another question, which package capture asks of a simulator that
// knows nothing of it.
type coil struct {
	excess, tau, share, quick float64
}

func (c coil) at(seconds float64) float64 {
	return c.excess * ((1-c.share)*math.Exp(-seconds/c.tau) + c.share*math.Exp(-seconds/c.quick))
}

const ohmsPerKelvin = 0.00393 * 6690

// watch reads a coil of 6.69 kΩ at 20 °C five times a second, from the third
// reading on.
func (c coil) watch(rng *rand.Rand, until, noiseOhms, stepOhms float64) Watched {
	w := Watched{ResolutionOhms: stepOhms, NowSeconds: until, OhmsPerKelvin: ohmsPerKelvin}
	for s := 0.4; s <= until; s += 0.2 {
		ohms := 6690 + ohmsPerKelvin*c.at(s) + noiseOhms*rng.NormFloat64()
		w.Points = append(w.Points, Point{s, math.Round(ohms/stepOhms) * stepOhms})
	}
	return w
}

// draw takes a coil from the prior itself, between the points of its grid as well.
func draw(rng *rand.Rand, p Prior) coil {
	c := coil{}
	u := rng.Float64()
	for i, weight := range p.arrivalWeights() {
		if u -= weight; u < 0 {
			c.excess = arrivalKelvin[i] * rng.NormFloat64()
			break
		}
	}
	for { // by rejection
		x := unlearnedReach * (2*rng.Float64() - 1)
		if rng.Float64() < math.Exp(unlearnedTilt*(x-unlearnedReach)) {
			c.tau = p.TimeConstantSeconds * math.Exp(x)
			break
		}
	}
	if rng.Float64() > noneQuick {
		i := 1 + rng.IntN(len(quickShares)-1)
		low, high := (quickShares[i-1]+quickShares[i])/2, quickShares[i]
		if i+1 < len(quickShares) {
			high = (quickShares[i] + quickShares[i+1]) / 2
		}
		c.share = low + (high-low)*rng.Float64()
	}
	c.quick = quickSeconds[0] + (quickSeconds[1]-quickSeconds[0])*rng.Float64()
	return c
}

// The share of coils drawn from the prior whose excess the interval holds. What
// is claimed is 95 %; a discrepancy and a small-sample factor are in it, so it may
// be a little more.
func TestHoldsWhatThePriorSays(t *testing.T) {
	t.Parallel()
	coils := 1500
	if os.Getenv("COILKEEP_LONG") != "" {
		coils = 20000
	}
	for _, arrival := range append(Arrivals(), Unknown, Rested) {
		p := Prior{Arrival: arrival, TimeConstantSeconds: 600}
		for _, until := range []float64{7, 11, 18, 63} {
			rng := rand.New(rand.NewPCG(uint64(until), 7))
			held := 0
			for range coils {
				c := draw(rng, p)
				e := Of(c.watch(rng, until, 0.1, 0.1), p)
				if math.Abs(c.at(until)-e.Kelvin) <= e.HalfWidthKelvin {
					held++
				}
			}
			share := float64(held) / float64(coils)
			t.Logf("%q after %g s: %.1f %%", arrival, until, 100*share)
			// Four standard errors of a share of 94 and of 98 %.
			slack := 4 * math.Sqrt(0.06*0.94/float64(coils))
			if share < 0.94-slack || share > 0.985+slack {
				t.Errorf("%q after %g s: held %.1f %% of coils drawn from the prior, want 94 to 98 %%", arrival, until, 100*share)
			}
		}
	}
}

// Without a reading there is nothing but the prior: a mixture of normal
// distributions about zero, whose half-width is where the tails hold 5 %.
func TestWithoutReadings(t *testing.T) {
	t.Parallel()
	for _, arrival := range append(Arrivals(), Unknown, Rested) {
		p := Prior{Arrival: arrival, TimeConstantSeconds: 600}
		e := Of(Watched{OhmsPerKelvin: 26}, p)
		inside := 0.0
		for i, weight := range p.arrivalWeights() {
			n := distuv.Normal{Mu: 0, Sigma: arrivalKelvin[i]}
			inside += weight * (n.CDF(e.HalfWidthKelvin) - n.CDF(-e.HalfWidthKelvin))
		}
		if math.Abs(inside-0.95) > 0.003 || math.Abs(e.Kelvin) > 1e-9 || e.Readings != 0 {
			t.Errorf("%q: %+v holds %.4f, want 0 K and 0.95", arrival, e, inside)
		}
	}
}

func TestWeightsAddUp(t *testing.T) {
	t.Parallel()
	for _, arrival := range append(Arrivals(), Unknown, Rested) {
		sum := 0.0
		for _, weight := range (Prior{Arrival: arrival}).arrivalWeights() {
			sum += weight
		}
		if math.Abs(sum-1) > 1e-12 {
			t.Errorf("%q: the weights add up to %g", arrival, sum)
		}
	}
}

// A coil on the rack for long is nearly as the probe; what is left comes from the
// hand that takes it.
func TestSoaking(t *testing.T) {
	t.Parallel()
	before := math.Inf(1)
	for _, minutes := range []float64{0, 5, 20, 60, 600} {
		e := Of(Watched{OhmsPerKelvin: 26}, Prior{TimeConstantSeconds: 600, SoakedSeconds: 60 * minutes})
		if e.HalfWidthKelvin >= before {
			t.Errorf("after %g min on the rack ± %.2f K, no less than the ± %.2f K before", minutes, e.HalfWidthKelvin, before)
		}
		before = e.HalfWidthKelvin
	}
	if want := 1.96 * pickedUpKelvin; math.Abs(before-want) > 0.02*want {
		t.Errorf("after a night on the rack ± %.3f K, want the ± %.3f K of a hand", before, want)
	}
}

// What is learned makes a warm coil known, and what is told wrong does not make it
// known to be cold.
func TestLearned(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(3, 3))
	warm := coil{excess: 5, tau: 600, quick: 60}
	w := warm.watch(rng, 11, 0.1, 0.1)
	unlearned := Of(w, Prior{TimeConstantSeconds: 600})
	learned := Of(w, Prior{TimeConstantSeconds: 600, TimeConstantRatio: 0.1, QuickShareDeviation: 0.003})
	if learned.HalfWidthKelvin > unlearned.HalfWidthKelvin/3 {
		t.Errorf("± %.2f K learned, ± %.2f K unlearned: want a third at most", learned.HalfWidthKelvin, unlearned.HalfWidthKelvin)
	}
	for name, e := range map[string]Estimate{"unlearned": unlearned, "learned": learned,
		"told that coils lie": Of(w, Prior{Arrival: Lying, TimeConstantSeconds: 600})} {
		if math.Abs(e.Kelvin-warm.at(11)) > e.HalfWidthKelvin {
			t.Errorf("%s: %.2f ± %.2f K, truly %.2f K", name, e.Kelvin, e.HalfWidthKelvin, warm.at(11))
		}
	}
}

// A share learned well lies between the points of the grid as a rule.
func TestLearnedShares(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ share, deviation, mean float64 }{{0, 0.003, 0.001}, {0.2, 0.002, 0.12}, {0.45, 0.1, 0.45}, {0.9, 0.01, 0.6}} {
		sum, mean := 0.0, 0.0
		for i, weight := range (Prior{QuickShare: c.share, QuickShareDeviation: c.deviation}).shareWeights() {
			sum += weight
			mean += weight * quickShares[i]
		}
		if math.Abs(sum-1) > 1e-9 || math.Abs(mean-c.mean) > 0.05 {
			t.Errorf("%g ± %g: the weights add up to %g about %.3f, want 1 about %.3f", c.share, c.deviation, sum, mean, c.mean)
		}
	}
}

// The slopes of lines through intervals, against every line of a fine grid.
func TestSlopesThroughIntervals(t *testing.T) {
	t.Parallel()
	for _, runs := range [][]run{
		{{0, 10, 100, 1}},
		{{0, 4, 100, 1}, {4.5, 10, 99, 1}},
		{{0, 2, 100, 1}, {2.5, 7, 99, 1}, {7.5, 10, 98, 1}},
		{{0, 0, 100, 1}, {0.5, 10, 101, 1}},
	} {
		s := summary{from: 0, to: 10}
		mean, variance, ok := s.slopes(runs, 1)
		if !ok {
			t.Fatalf("%v: no line", runs)
		}
		var slopes []float64
		for level := 97.0; level < 102; level += 0.004 {
			for slope := -2.0; slope < 2; slope += 0.004 {
				inside := true
				for _, r := range runs {
					for _, at := range []float64{r.from, r.to} {
						inside = inside && math.Abs(level+slope*s.unit(at)-r.ohms) <= 0.5
					}
				}
				if inside {
					slopes = append(slopes, slope)
				}
			}
		}
		m := stat.Mean(slopes, nil)
		v := 0.0
		for _, slope := range slopes {
			v += (slope - m) * (slope - m) / float64(len(slopes))
		}
		// The grid has steps of 0.004.
		if math.Abs(mean-m) > 0.008 || math.Abs(math.Sqrt(variance)-math.Sqrt(v)) > 0.008 {
			t.Errorf("%v: slope %.4f ± %.4f, on the grid %.4f ± %.4f", runs, mean, math.Sqrt(variance), m, math.Sqrt(v))
		}
	}
}

// The coefficients of an exponential, against a sum over a fine grid of the
// definition (2k+1)/2·∫f·P_k.
func TestProjection(t *testing.T) {
	t.Parallel()
	s := summary{from: 3, to: 63, degree: order}
	for _, tau := range []float64{30, 100, 600, 3000} {
		got := s.project(tau)
		const steps = 20000
		var want [order]float64
		for i := range steps {
			u := -1 + (float64(i)+0.5)*2/steps
			p := legendre(u)
			for k := range want {
				want[k] += (float64(k) + 1.5) * math.Exp(-(33+30*u)/tau) * p[k+1] * 2 / steps
			}
		}
		for k := range want {
			if math.Abs(got[k]-want[k]) > 1e-6 {
				t.Errorf("τ = %g s, degree %d: %.8f, want %.8f", tau, k+1, got[k], want[k])
			}
		}
	}
}

// What is expected of the next ten seconds is near what ten seconds later is
// known, on average.
func TestExpect(t *testing.T) {
	t.Parallel()
	p := Prior{TimeConstantSeconds: 600}
	for _, c := range []coil{{excess: 0.1, tau: 600, quick: 60}, {excess: 4, tau: 600, quick: 60}} {
		expected, found := 0.0, 0.0
		for seed := range uint64(60) {
			rng := rand.New(rand.NewPCG(seed, 9))
			expected += Expect(c.watch(rng, 8, 0.1, 0.1), p, 10).HalfWidthKelvin / 60
			found += Of(c.watch(rand.New(rand.NewPCG(seed, 9)), 18, 0.1, 0.1), p).HalfWidthKelvin / 60
		}
		if ratio := expected / found; ratio < 0.7 || ratio > 1.4 {
			t.Errorf("%g K: ± %.2f K expected, ± %.2f K found", c.excess, expected, found)
		}
	}
}

func FuzzOf(f *testing.F) {
	f.Add(6690.0, 0.1, 0.1, 20.0, 600.0, uint64(1))
	f.Add(1e-3, 1e9, 0.0, 1e-9, 1.0, uint64(2))
	f.Add(2e5, 0.0, 10.0, 1e6, 86400.0, uint64(3))
	f.Fuzz(func(t *testing.T, ohms, noise, step, span, tau float64, seed uint64) {
		for _, v := range []float64{ohms, noise, step, span, tau} {
			if !(v >= 0 && v < 1e12) {
				t.Skip()
			}
		}
		if ohms < 1e-3 || tau < 1 || span < 1e-6 {
			t.Skip("less than any bench has")
		}
		rng := rand.New(rand.NewPCG(seed, 1))
		w := Watched{ResolutionOhms: step, NowSeconds: span, OhmsPerKelvin: 0.00393 * ohms}
		for i := range rng.IntN(80) {
			v := ohms + noise*rng.NormFloat64()
			if step > 0 {
				v = math.Round(v/step) * step
			}
			w.Points = append(w.Points, Point{span * float64(i) / 80, v})
		}
		for name, e := range map[string]Estimate{"of": Of(w, Prior{TimeConstantSeconds: tau}),
			"expect": Expect(w, Prior{TimeConstantSeconds: tau}, 10)} {
			for _, v := range []float64{e.Kelvin, e.StandardKelvin, e.HalfWidthKelvin, e.SlopeOhmsPerSecond, e.SlopeStandardErrorPerSecond} {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Fatalf("%s %+v of %d points", name, e, len(w.Points))
				}
			}
		}
	})
}

func BenchmarkOf(b *testing.B) {
	for _, bench := range []struct {
		name         string
		until, noise float64
		step         float64
	}{{"8 s", 8, 0.1, 0.1}, {"60 s", 60, 0.1, 0.1}, {"coarse", 20, 0.1, 10}} {
		w := coil{excess: 2, tau: 600, quick: 60}.watch(rand.New(rand.NewPCG(1, 1)), bench.until, bench.noise, bench.step)
		b.Run(bench.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				Of(w, Prior{TimeConstantSeconds: 600})
			}
		})
	}
}

func TestBlockMeans(t *testing.T) {
	t.Parallel()
	five := []Point{{0, 10}, {1, 20}, {2, 30}, {3, 40}, {4, 50}}
	for name, c := range map[string]struct {
		n    int
		want []Point
	}{
		"as many as there are": {5, five},
		"a last one alone":     {3, []Point{{0.5, 15}, {2.5, 35}, {4, 50}}},
		"all in one":           {1, []Point{{2, 30}}},
	} {
		if got := BlockMeans(five, c.n); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
	}
}

// What a display did in short is what its runs say at length.
func TestShapeOfADisplay(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(8, 1))
	for range 2000 {
		points := make([]Point, 1+rng.IntN(30))
		for i := range points {
			points[i] = Point{float64(i), float64(rng.IntN(3))}
		}
		if rng.IntN(3) == 0 {
			slices.SortFunc(points, func(a, b Point) int { return cmp.Compare(a.Ohms, b.Ohms) })
		}
		got := shapeOf(points)
		runs := runsOf(points, got.runs)
		up := slices.IsSortedFunc(runs, func(a, b run) int { return cmp.Compare(a.ohms, b.ohms) })
		down := slices.IsSortedFunc(runs, func(a, b run) int { return cmp.Compare(b.ohms, a.ohms) })
		if want := (shape{len(runs), up || down, runs[0].readings + runs[len(runs)-1].readings}); got != want {
			t.Fatalf("%v: %+v, want %+v", points, got, want)
		}
	}
}
