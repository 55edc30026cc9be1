package uncertainty

import (
	"math"

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
	return coverageFactor(Level, degreesOfFreedom)
}

// coverageFactor is CoverageFactor for any probability.
func coverageFactor(level, degreesOfFreedom float64) float64 {
	tail := (1 + level) / 2
	if degreesOfFreedom == 0 {
		return distuv.Normal{Mu: 0, Sigma: 1}.Quantile(tail)
	}
	// The slack keeps 8.999999999999998, a rounding of 9, from becoming 8.
	whole := max(1, math.Floor(degreesOfFreedom+1e-9))
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: whole}.Quantile(tail)
}
