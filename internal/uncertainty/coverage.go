package uncertainty

// CoverageFactor returns k such that a result with the given degrees of
// freedom, 0 for infinite, is within ±k standard uncertainties with probability
// [Level]: Student's t of JCGM 100:2008, Table G.2. Degrees of freedom are
// truncated to the next lower whole number; below 1 they count as infinite.
func CoverageFactor(degreesOfFreedom float64) float64 {
	if degreesOfFreedom < 1 {
		degreesOfFreedom = 0
	}
	return coverageFactor(Level, degreesOfFreedom)
}
