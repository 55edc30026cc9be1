package cooling

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// minutes makes curves of so many coils, each known within ± error minutes.
func minutes(standardError float64, list ...float64) []Curve {
	var curves []Curve
	for i, m := range list {
		curves = append(curves, Curve{Serial: fmt.Sprintf("HN-%04d", i), TimeConstantSeconds: 60 * m,
			TimeConstantErrorSeconds: 60 * standardError})
	}
	return curves
}

func TestTooFewCoilsProposeNothing(t *testing.T) {
	t.Parallel()
	twice := append(minutes(0.3, 7, 8), minutes(0.3, 7.5)...) // the third is of the first coil
	nameless := minutes(0.3, 7, 8, 9)
	nameless[1].Serial = ""
	unknown := minutes(0, 7, 8, 9)
	for what, curves := range map[string][]Curve{"none": nil, "two": minutes(0.3, 7, 8), "two coils, three curves": twice,
		"one without a serial number": nameless, "without errors": unknown} {
		if p, ok := Propose(curves); ok {
			t.Errorf("%s: %+v", what, p)
		}
	}
}

// Coils that agree are not taken to agree for ever: no less than 5 % is claimed.
func TestCoilsThatAgree(t *testing.T) {
	t.Parallel()
	p, ok := Propose(minutes(0.2, 7.4, 7.4, 7.4, 7.4, 7.4))
	if !ok || math.Abs(p.TimeConstantSeconds-444) > 1e-9 || p.TimeConstantRatio != leastRatio || p.Coils != 5 || p.QuickShareDeviation != 0 {
		t.Errorf("got %+v", p)
	}
	if want := "7.4 ± 0.4 min, from 5 coils"; p.Words != want {
		t.Errorf("says %q, want %q", p.Words, want)
	}
}

// Three logarithms 0.2 below, at and above that of ten minutes have a standard
// deviation of 0.2; the next lies within 4.303·0.2·√(1 + 1/3), which over 1.960 is a
// deviation: the quantiles of Student's t for 2 degrees of freedom and of the normal
// (JCGM 100:2008, table G.2).
func TestCoilsThatDiffer(t *testing.T) {
	t.Parallel()
	var curves []Curve
	for i, shift := range []float64{-0.2, 0, 0.2} {
		tau := 600 * math.Exp(shift)
		curves = append(curves, Curve{Serial: fmt.Sprint(i), TimeConstantSeconds: tau, TimeConstantErrorSeconds: 0.01 * tau,
			QuickShare: 0.3 + shift, QuickShareError: 0.01})
	}
	p, ok := Propose(curves)
	want := 0.2 * math.Sqrt(1+1.0/3) * 4.303 / 1.960
	if !ok || math.Abs(p.TimeConstantSeconds-600) > 1e-6 || math.Abs(p.TimeConstantRatio/want-1) > 1e-3 {
		t.Errorf("got %+v, want 600 s and %.4f", p, want)
	}
	if math.Abs(p.QuickShare-0.3) > 1e-9 || math.Abs(p.QuickShareDeviation/want-1) > 1e-3 {
		t.Errorf("quick share %.3f ± %.4f, want 0.3 ± %.4f", p.QuickShare, p.QuickShareDeviation, want)
	}
}

// Agreement by chance makes nothing better known than the curves are.
func TestVagueCoilsThatAgree(t *testing.T) {
	t.Parallel()
	p, ok := Propose(minutes(1.6, 8, 8, 8))
	if want := 0.2 / math.Sqrt(3); !ok || math.Abs(p.TimeConstantRatio-want) > 1e-9 {
		t.Errorf("got %+v, want %.4f", p, want)
	}
}

// The quick share is proposed only from curves that tell it.
func TestCurvesThatTellNoShare(t *testing.T) {
	t.Parallel()
	curves := minutes(0.3, 7, 8, 9, 8)
	for i := range 2 {
		curves[i].QuickShare, curves[i].QuickShareError = 0.2, 0.05
	}
	if p, ok := Propose(curves); !ok || p.QuickShare != 0 || p.QuickShareDeviation != 0 {
		t.Errorf("from two coils: %+v", p)
	}
}

// What is claimed of the next coil holds: drawn from a lognormal of 20 % about 8
// minutes and seen with errors of 10 %, the next coil lies within 1.96 of the claimed
// deviations at least 93 % of the time, from 3 coils or from 10.
func TestTheNextCoilIsWithin(t *testing.T) {
	t.Parallel()
	const trials, between, within = 4000, 0.2, 0.1
	for _, coils := range []int{3, 5, 10} {
		random := rand.New(rand.NewPCG(7, uint64(coils)))
		inside := 0
		for range trials {
			var curves []Curve
			for i := range coils {
				tau := 480 * math.Exp(between*random.NormFloat64()+within*random.NormFloat64())
				curves = append(curves, Curve{Serial: fmt.Sprint(i), TimeConstantSeconds: tau, TimeConstantErrorSeconds: within * tau})
			}
			p, ok := Propose(curves)
			if !ok {
				t.Fatal("no proposal")
			}
			next := math.Log(480) + between*random.NormFloat64()
			if math.Abs(next-math.Log(p.TimeConstantSeconds)) <= 1.96*p.TimeConstantRatio {
				inside++
			}
		}
		if share := float64(inside) / trials; share < 0.93 {
			t.Errorf("from %d coils: the next is within %.1f %% of the time, want at least 93 %%", coils, 100*share)
		}
	}
}
