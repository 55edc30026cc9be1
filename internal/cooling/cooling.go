// Package cooling proposes what is to be taken as known of a design's coils from
// the curves of coils that were left on the clips: how fast they cool, how much that
// differs from coil to coil, and how much of their warmth is in the wire alone.
//
// It is pure. That a proposal is used is for a person to say.
package cooling

import (
	"maps"
	"math"
	"slices"

	"coilkeep/internal/uncertainty"
	"coilkeep/internal/words"
)

// Curve is what one coil left on the clips showed.
type Curve struct {
	// Serial tells the coils apart; a curve without one is left out.
	Serial string
	// TimeConstantSeconds is known with the standard error TimeConstantErrorSeconds;
	// both are more than 0.
	TimeConstantSeconds, TimeConstantErrorSeconds float64
	// QuickShare is the part of the warmth in the wire alone, 0 to 1, with its
	// standard error; an error of 0 means that the curve does not tell it.
	QuickShare, QuickShareError float64
}

// Proposal is what the next coil is expected to do.
type Proposal struct {
	TimeConstantSeconds float64 `json:"time_constant_seconds"` // thermal time constant, seconds
	// Standard deviation of the logarithm of the next coil's; never below 0.05.
	TimeConstantRatio float64 `json:"time_constant_ratio"`
	Coils             int     `json:"coils" openapi:"minimum=3"` // from how many coils; at least 3
	// The part of the warmth in the wire alone; 0 with a deviation of 0 when too few
	// coils tell it.
	QuickShare          float64 `json:"quick_share"`
	QuickShareDeviation float64 `json:"quick_share_deviation"` // standard deviation of the next coil's
	Words               string  `json:"words"`                 // for people, for example 7.4 ± 0.6 min, from 5 coils
}

const (
	// LeastCoils are the fewest that tell how much coils differ.
	LeastCoils = 3
	// leastRatio and leastDeviation bound what is claimed of the next coil: a few
	// that happen to agree do not prove that all do. Choices of ours.
	leastRatio     = 0.05
	leastDeviation = 0.05
	// mostRatio is the widest that says anything: a factor of e either way.
	mostRatio = 1
)

// Propose returns what the curves say of the next coil; ok is false while fewer
// than [LeastCoils] coils have shown theirs. Several curves of one coil count as
// one coil.
func Propose(curves []Curve) (p Proposal, ok bool) {
	logarithms, shares := sample{}, sample{}
	for _, c := range curves {
		if c.Serial == "" || !(c.TimeConstantSeconds > 0) || !(c.TimeConstantErrorSeconds > 0) {
			continue
		}
		logarithms.add(c.Serial, math.Log(c.TimeConstantSeconds), c.TimeConstantErrorSeconds/c.TimeConstantSeconds)
		if c.QuickShareError > 0 {
			shares.add(c.Serial, c.QuickShare, c.QuickShareError)
		}
	}
	if len(logarithms) < LeastCoils {
		return Proposal{}, false
	}
	centre, deviation := logarithms.next()
	p.TimeConstantSeconds = math.Exp(centre)
	p.TimeConstantRatio = min(max(deviation, leastRatio), mostRatio)
	p.Coils = len(logarithms)
	if len(shares) >= LeastCoils {
		share, deviation := shares.next()
		p.QuickShare = min(max(share, 0), 1)
		p.QuickShareDeviation = min(max(deviation, leastDeviation), 1)
	}
	p.Words = words.MinutesWithin(p.TimeConstantSeconds, p.TimeConstantSeconds*p.TimeConstantRatio) + ", from " + words.Count(p.Coils, "coil")
	return p, true
}

// sample is what is known of one quantity of several coils, by serial number.
type sample map[string]estimate

// estimate is a value with the inverse of its variance.
type estimate struct{ value, weight float64 }

// add takes another estimate of a coil's value: the mean weighted by the inverse
// variances.
func (s sample) add(serial string, value, standardError float64) {
	weight := 1 / (standardError * standardError)
	before := s[serial]
	total := before.weight + weight
	s[serial] = estimate{before.value + (value-before.value)*weight/total, total}
}

// next gives the mean and the standard deviation of what another coil will be. For n
// coils of standard deviation s, the next lies within t·s·√(1 + 1/n) of their mean
// (the prediction interval for one more of a normal sample, from memory; a test
// counts its coverage), with Student's t for n − 1 degrees of freedom; over the
// normal quantile that is a deviation. What the curves are uncertain by is part of
// s, which errs on the safe side, but where they happen to agree the mean is still
// no better known than they allow.
func (s sample) next() (mean, deviation float64) {
	n := float64(len(s))
	coils := slices.Sorted(maps.Keys(s)) // the same sums each time
	for _, serial := range coils {
		mean += s[serial].value / n
	}
	squares, variances := 0.0, 0.0
	for _, serial := range coils {
		off := s[serial].value - mean
		squares += off * off
		variances += 1 / s[serial].weight
	}
	few := uncertainty.CoverageFactor(n-1) / uncertainty.CoverageFactor(0)
	return mean, max(few*math.Sqrt(squares/(n-1)*(1+1/n)), math.Sqrt(variances)/n)
}
