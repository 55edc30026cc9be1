package statistics

import (
	"fmt"
	"math"
)

// OneWay is a one-way analysis of variance.
type OneWay struct {
	Groups, Count           int
	Between, Within         float64 // sums of squares
	DFBetween, DFWithin     int
	F, P                    float64
	EtaSquared              float64 // share of the sum of squares between groups
	MeanSquareWithin        float64
	BetweenComponent        float64 // variance between groups; 0 when it came out negative
	BetweenComponentClipped bool
}

// AnalyseOneWay compares the means of groups. Empty groups do not count; it
// takes two groups with values and one value more than groups. All values are
// taken relative to the first one, which keeps every digit of hard data. Where
// nothing varies within groups, F is infinite, or 0 if nothing varies at all.
func AnalyseOneWay(groups [][]float64) (OneWay, error) {
	var a OneWay
	var origin, sum, squaredCounts float64
	for _, g := range groups {
		if len(g) == 0 {
			continue
		}
		if a.Groups == 0 {
			origin = g[0]
		}
		a.Groups++
		a.Count += len(g)
		squaredCounts += float64(len(g)) * float64(len(g))
		for _, v := range g {
			sum += v - origin
		}
	}
	if a.Groups < 2 || a.Count <= a.Groups {
		return OneWay{}, fmt.Errorf("compare %d groups of %d values in all: %w", a.Groups, a.Count, ErrTooFew)
	}
	grand := sum / float64(a.Count)
	for _, g := range groups {
		if len(g) == 0 {
			continue
		}
		mean := 0.0
		for _, v := range g {
			mean += v - origin
		}
		mean /= float64(len(g))
		a.Between += float64(len(g)) * (mean - grand) * (mean - grand)
		for _, v := range g {
			d := v - origin - mean
			a.Within += d * d
		}
	}
	a.DFBetween, a.DFWithin = a.Groups-1, a.Count-a.Groups
	a.testMeans(squaredCounts)
	return a, nil
}

func (a *OneWay) testMeans(squaredCounts float64) {
	between := a.Between / float64(a.DFBetween)
	a.MeanSquareWithin = a.Within / float64(a.DFWithin)
	switch {
	case a.MeanSquareWithin > 0:
		a.F = between / a.MeanSquareWithin
	case between > 0:
		a.F = math.Inf(1)
	}
	a.P = FisherP(a.F, float64(a.DFBetween), float64(a.DFWithin))
	if total := a.Between + a.Within; total > 0 {
		a.EtaSquared = a.Between / total
	}
	// Searle, Casella and McCulloch 1992, Variance Components, 3.6.
	n0 := (float64(a.Count) - squaredCounts/float64(a.Count)) / float64(a.DFBetween)
	a.BetweenComponent = (between - a.MeanSquareWithin) / n0
	if a.BetweenComponent < 0 {
		a.BetweenComponent, a.BetweenComponentClipped = 0, true
	}
}

// Difference is the mean of one group less that of another.
type Difference struct {
	Value, StandardError, DegreesOfFreedom, P float64
}

// Compare returns the mean of b less that of a by the test of Welch (1947,
// Biometrika 34, 28-35), which lets the groups differ in spread. Each needs two
// values.
func Compare(a, b Moments) (Difference, error) {
	if a.Count < 2 || b.Count < 2 {
		return Difference{}, fmt.Errorf("compare %d values with %d: %w; each needs two", a.Count, b.Count, ErrTooFew)
	}
	va, vb := a.Variance()/float64(a.Count), b.Variance()/float64(b.Count)
	d := Difference{Value: b.Mean - a.Mean, StandardError: math.Sqrt(va + vb)}
	d.DegreesOfFreedom = float64(a.Count + b.Count - 2)
	if d.StandardError > 0 {
		d.DegreesOfFreedom = (va + vb) * (va + vb) / (va*va/float64(a.Count-1) + vb*vb/float64(b.Count-1))
	}
	d.P = TestP(d.Value, d.StandardError, d.DegreesOfFreedom)
	return d, nil
}

// Interval is the confidence interval at level, 0 to 1.
func (d Difference) Interval(level float64) (low, high float64) {
	half := HalfInterval(d.StandardError, d.DegreesOfFreedom, level)
	return d.Value - half, d.Value + half
}
