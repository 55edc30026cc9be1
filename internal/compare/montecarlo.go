package compare

import (
	"math"
	"math/rand/v2"
	"slices"

	"coilkeep/internal/uncertainty"
)

// MonteCarlo is what the propagation of distributions gives (JCGM 101:2008).
type MonteCarlo struct {
	Trials       int     `json:"trials"`                    // how many
	MeanOhms     float64 `json:"mean_ohms"`                 // mean, ohms
	StandardOhms float64 `json:"standard_uncertainty_ohms"` // standard deviation, ohms
	// Lower end of the probabilistically symmetric 95 % interval (7.7.2), ohms.
	LowOhms          float64 `json:"low_ohms"`
	HighOhms         float64 `json:"high_ohms"`          // upper end, ohms
	ShortestLowOhms  float64 `json:"shortest_low_ohms"`  // lower end of the shortest 95 % interval (7.7.3), ohms
	ShortestHighOhms float64 `json:"shortest_high_ohms"` // upper end, ohms
}

// Trials is the number of trials of every Monte Carlo propagation. The ends of
// its intervals then scatter by less than 0.5 % of the standard uncertainty
// for the flat distributions met here, and 0.6 % for a normal one
// (√(p(1−p)/M)/density at the quantile).
const Trials = 200_000

// propagateDistributions draws trials values of the output and summarises them
// (JCGM 101:2008, 7.3 to 7.7). draw must use no randomness but what it is
// given. trials are 40 at least, so that something lies outside the interval.
func propagateDistributions(seed uint64, trials int, draw func(*rand.Rand) float64) MonteCarlo {
	// A new formula draws the same numbers, so that what changes is its doing.
	const stream = 1
	random := rand.New(rand.NewPCG(seed, stream))
	values := make([]float64, trials)
	first := draw(random)
	values[0] = first
	var sum, squares float64 // of the differences from the first, which are small
	for i := 1; i < trials; i++ {
		values[i] = draw(random)
		d := values[i] - first
		sum += d
		squares += d * d
	}
	n := float64(trials)
	slices.Sort(values)
	m := MonteCarlo{
		Trials: trials, MeanOhms: first + sum/n,
		StandardOhms: math.Sqrt(max(0, (squares-sum*sum/n)/(n-1))),
	}
	// q of the sorted values lie between two that are q apart (7.7.1).
	q := int(math.Round(uncertainty.Level * n))
	r := (trials - q) / 2
	m.LowOhms, m.HighOhms = values[r], values[r+q]
	shortest := r
	for i := range trials - q {
		if values[i+q]-values[i] < values[shortest+q]-values[shortest] {
			shortest = i
		}
	}
	m.ShortestLowOhms, m.ShortestHighOhms = values[shortest], values[shortest+q]
	return m
}

// draw is one trial of what is between their probes: everything uncertain but
// their meter.
func (s situation) draw(random *rand.Rand) float64 {
	celsius := s.celsius + s.halfKelvin*(2*random.Float64()-1)
	c := s.circuit
	if !s.control.none() {
		c.controlOhms = s.control.at(random.Float64())
	}
	if !s.hands.none() {
		c.handsOhms = s.hands.at(random.Float64())
	}
	return c.across(s.coil.draw(random, celsius), s.mate.draw(random, celsius))
}

// draw is the resistance at a temperature with the winding's own uncertainty.
func (w winding) draw(random *rand.Rand, celsius float64) float64 {
	known := w.at(w.knownCelsius) * (1 + w.sigmaRatio*random.NormFloat64())
	alpha := w.alpha + w.alphaSigma*random.NormFloat64()
	return known * (1 + alpha*(celsius-20)) / (1 + alpha*(w.knownCelsius-20))
}
