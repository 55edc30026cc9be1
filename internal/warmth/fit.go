package warmth

import (
	"math"

	"coilkeep/internal/statistics"
	"coilkeep/internal/uncertainty"
)

// Choices of ours about what the readings can say.
const (
	// mostPoints is how many points are fitted; beyond that neighbouring
	// readings are averaged.
	mostPoints = 60
	// outlierScales is how many robust standard deviations off the curve a
	// point is left out.
	outlierScales = 5
	// discrepancyRatio is what no model of a coil gets right, as a share of the
	// change over the readings: more than two nodes, a draught, a hand nearby.
	discrepancyRatio = 0.02
	// discrepancyKelvin is the least of it.
	discrepancyKelvin = 0.0002
	// coarseSteps: readings that scatter by less of a display's step say where
	// the value lies between two steps by when they change, not by their mean.
	coarseSteps = 0.55
)

// summarise reduces the readings to what they say of the course. It needs three
// points at three times.
func summarise(w Watched) (summary, bool) {
	points := BlockMeans(w.Points, mostPoints)
	if len(points) < 3 {
		return summary{}, false
	}
	s := summary{from: points[0].Seconds, to: points[len(points)-1].Seconds}
	if s.span() <= 0 {
		return summary{}, false
	}
	f, ok := fitRobust(points, s, w.ResolutionOhms)
	if !ok {
		return summary{}, false
	}
	if w.ResolutionOhms == 0 || f.residual > coarseSteps*w.ResolutionOhms || !s.takeCoarse(w) {
		s.take(f, roundingOhms(f.residual, w.ResolutionOhms))
	}
	s.doubt(discrepancyKelvin * w.OhmsPerKelvin)
	return s, s.invert()
}

// doubt widens what is known by the discrepancy.
func (s *summary) doubt(leastOhms float64) {
	change := 0.0
	for i := range s.degree {
		change = max(change, 2*math.Abs(s.value[i]))
	}
	sd := max(discrepancyRatio*change, leastOhms)
	for i := range s.degree {
		k := float64(i + 1)
		s.covariance[i][i] += sd * sd / (k * k)
	}
}

// invert fills in the precision.
func (s *summary) invert() bool {
	var m matrix
	for i := range s.degree {
		for j := range s.degree {
			m[i][j] = s.covariance[i][j]
		}
	}
	inverse, ok := m.invert(s.degree)
	for i := range s.degree {
		for j := range s.degree {
			s.precision[i][j] = inverse[i][j]
		}
	}
	return ok
}

// matrix is a small symmetric one; what lies beyond its rank is not used.
type matrix [order + 1][order + 1]float64

// fitted is a least-squares fit of Legendre polynomials.
type fitted struct {
	terms        int
	coefficients [order + 1]float64
	covariance   matrix  // for a unit variance of one point
	residual     float64 // standard deviation about the curve
	inflation    float64
	points       int
}

// roundingOhms is how far the mean of rounded readings may be off, as noise of
// so much about the curve leaves it: step/π·exp(−2π²·σ²/step²) at most, with σ the
// noise before it was rounded (Sheppard's corrections, first harmonic; from
// memory). Noise of half a step hides the steps; none leaves a third of one.
func roundingOhms(residual, step float64) float64 {
	if step == 0 {
		return 0
	}
	variance := max(residual*residual-step*step/12, 0)
	return step / math.Pi * math.Exp(-2*math.Pi*math.Pi*variance/(step*step))
}

// take uses a fit whose noise is that of its residuals, and whose values are
// rounded by as much.
func (s *summary) take(f fitted, rounding float64) {
	s.degree = f.terms - 1
	t := uncertainty.CoverageFactor(float64(f.points-f.terms)) / uncertainty.CoverageFactor(0)
	variance := f.residual * f.residual * f.inflation * t * t
	for i := range s.degree {
		s.value[i] = f.coefficients[i+1]
		for j := range s.degree {
			s.covariance[i][j] = variance * f.covariance[i+1][j+1]
		}
		s.covariance[i][i] += rounding * rounding / 2
	}
}

// fitRobust fits, leaves out what lies far off, and fits again. The residual is
// never below what the display's rounding alone makes, a step over √12
// (JCGM 100:2008, F.2.2.1).
func fitRobust(points []Point, s summary, step float64) (fitted, bool) {
	f, residuals, ok := fitPolynomial(points, s)
	if !ok {
		return fitted{}, false
	}
	deviations := make([]float64, len(residuals))
	for i, r := range residuals {
		deviations[i] = math.Abs(r)
	}
	limit := outlierScales * (1 + 8/float64(len(points))) * max(1.4826*statistics.Median(deviations), step/2)
	kept := make([]Point, 0, len(points))
	for i, p := range points {
		if math.Abs(residuals[i]) <= limit || limit == 0 {
			kept = append(kept, p)
		}
	}
	if len(kept) < len(points) && len(kept) >= 3 {
		if again, _, ok := fitPolynomial(kept, s); ok {
			f = again
		}
	}
	f.residual = max(f.residual, step/math.Sqrt(12))
	return f, true
}

// degreeFor is how many coefficients beyond the constant so many points carry.
func degreeFor(points int) int {
	switch {
	case points >= 12:
		return 3
	case points >= 7:
		return 2
	}
	return 1
}

// fitPolynomial is an ordinary least-squares fit over [s.from, s.to].
func fitPolynomial(points []Point, s summary) (f fitted, residuals []float64, ok bool) {
	f = fitted{terms: degreeFor(len(points)) + 1, points: len(points)}
	if len(points) <= f.terms {
		return fitted{}, nil, false
	}
	var normal matrix
	var moments [order + 1]float64
	first := points[0].Ohms // so that a large offset costs no digits
	for _, p := range points {
		basis := legendre(s.unit(p.Seconds))
		for i := range f.terms {
			for j := range i + 1 {
				normal[i][j] += basis[i] * basis[j]
			}
			moments[i] += basis[i] * (p.Ohms - first)
		}
	}
	for i := range f.terms {
		for j := range i {
			normal[j][i] = normal[i][j]
		}
	}
	if f.covariance, ok = normal.invert(f.terms); !ok {
		return fitted{}, nil, false
	}
	for i := range f.terms {
		for j := range f.terms {
			f.coefficients[i] += f.covariance[i][j] * moments[j]
		}
	}
	residuals = make([]float64, len(points))
	squares, lagged := 0.0, 0.0
	for i, p := range points {
		basis := legendre(s.unit(p.Seconds))
		r := p.Ohms - first
		for k, c := range f.coefficients {
			r -= c * basis[k]
		}
		residuals[i] = r
		squares += r * r
		if i > 0 {
			lagged += r * residuals[i-1]
		}
	}
	f.residual = math.Sqrt(squares / float64(len(points)-f.terms))
	f.inflation = inflation(squares, lagged, len(points), f.terms)
	return f, residuals, true
}

func (s summary) unit(seconds float64) float64 { return 2*(seconds-s.from)/s.span() - 1 }

// inflation is how much variances grow because neighbouring readings are alike:
// (1+r)/(1−r) with r the lag-one autocorrelation of the residuals, never below
// 1 (Bartlett's large-sample result for an AR(1) series; from memory). A fit of
// some terms biases r by about −terms/n.
func inflation(squares, lagged float64, n, terms int) float64 {
	if squares == 0 {
		return 1
	}
	r := lagged/squares + float64(terms)/(2*float64(n))
	if r < 1.645/math.Sqrt(float64(n)) { // by chance in one series of twenty
		return 1
	}
	r = min(r, 0.9)
	return (1 + r) / (1 - r)
}

// invert inverts a positive definite matrix of n rows by Gauss–Jordan
// elimination; ok is false when it is singular.
func (m matrix) invert(n int) (inverse matrix, ok bool) {
	for i := range n {
		inverse[i][i] = 1
	}
	for i := range n {
		pivot := m[i][i]
		if !(pivot > 0) || math.IsInf(pivot, 0) {
			return matrix{}, false
		}
		for j := range n {
			m[i][j] /= pivot
			inverse[i][j] /= pivot
		}
		for k := range n {
			if k == i {
				continue
			}
			factor := m[k][i]
			for j := range n {
				m[k][j] -= factor * m[i][j]
				inverse[k][j] -= factor * inverse[i][j]
			}
		}
	}
	return inverse, true
}
