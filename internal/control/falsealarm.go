package control

import "math/rand/v2"

// FalseAlarms is how often a scheme cries wolf: on normal, independent points
// whose centre and sigma are exactly known. Limits from a short baseline raise
// more.
type FalseAlarms struct {
	// RunLength is the mean number of quiet points to a false alarm of anything
	// in the scheme, started afresh after each; RulesRunLength that of the run
	// rules alone, 0 when there are none.
	RunLength, RulesRunLength float64
}

// ShareWithFalseAlarm is the share of quiet runs of that many points with a false
// alarm or more, given a mean run length; 0 when the length is 0.
func ShareWithFalseAlarm(runLength float64, points int) float64 {
	if runLength == 0 {
		return 0
	}
	// Run lengths are close to geometric (Brook and Evans 1972, Biometrika 59).
	p := 1.0
	for range points {
		p *= 1 - 1/runLength
	}
	return 1 - p
}

// simulatedPoints gives run lengths around 90 to about 6 %.
const simulatedPoints = 30_000

// FalseAlarms plays the scheme on a fixed sequence of normal random numbers, the
// same at every call. It takes some milliseconds: a caller that asks often keeps
// the answer.
func (s Scheme) FalseAlarms() FalseAlarms {
	random := rand.New(rand.NewPCG(20, 7))
	all, rules := newMonitor(s), newMonitor(s)
	var allCount, rulesCount int
	for range simulatedPoints {
		z := random.NormFloat64()
		if all.Add(z).Signal() {
			allCount++
			*all = *newMonitor(s)
		}
		if s.Rules != 0 && rules.Add(z).Fired != 0 {
			rulesCount++
			*rules = *newMonitor(s)
		}
	}
	var f FalseAlarms
	if allCount > 0 {
		f.RunLength = simulatedPoints / float64(allCount)
	}
	if rulesCount > 0 {
		f.RulesRunLength = simulatedPoints / float64(rulesCount)
	}
	return f
}
