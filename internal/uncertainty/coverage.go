package uncertainty

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/stat/distuv"
)

// Level is the coverage probability of every expanded uncertainty.
const Level = 0.95

// CoverageFactor returns k such that a result with the given degrees of
// freedom, 0 for infinite, is within ±k standard uncertainties with probability
// [Level]: Student's t (JCGM 100:2008, G.3.2 and Table G.2). Degrees of freedom
// are truncated to the next lower whole number, which errs on the safe side; it
// is never less than 1.
func CoverageFactor(degreesOfFreedom float64) float64 {
	if whole := int(degreesOfFreedom + wholeSlack); degreesOfFreedom >= 0 && whole < tabled && (degreesOfFreedom == 0 || whole > 0) {
		return factors()[whole]
	}
	return coverageFactor(Level, degreesOfFreedom)
}

// factors holds the coverage factors of so many whole degrees of freedom: a
// capture asks for one at every reading, and a quantile of Student's t takes
// longer than all the rest.
var factors = sync.OnceValue(func() (table [tabled]float64) {
	for whole := range table {
		table[whole] = coverageFactor(Level, float64(whole))
	}
	return table
})

const tabled = 512

// wholeSlack keeps 8.999999999999998, a rounding of 9, from becoming 8.
const wholeSlack = 1e-9

// coverageFactor is CoverageFactor for any probability.
func coverageFactor(level, degreesOfFreedom float64) float64 {
	tail := (1 + level) / 2
	if degreesOfFreedom == 0 {
		return distuv.Normal{Mu: 0, Sigma: 1}.Quantile(tail)
	}
	whole := max(1, math.Floor(degreesOfFreedom+wholeSlack))
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: whole}.Quantile(tail)
}
