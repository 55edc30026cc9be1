package warmth

import "math"

// order is how many Legendre polynomials beyond the constant describe the
// readings; an exponential of 30 s over a minute is off a cubic by a half
// percent of its size.
const order = 3

// summary is what the readings say, whatever the coil: the coefficients of
// Legendre polynomials of degree 1…order fitted to them, and how well they are
// known. The constant is left out: R20 is not known beforehand.
type summary struct {
	from, to float64 // seconds after contact
	// censored is true when a coarse display told intervals, not points.
	censored bool
	degree   int
	value    [order]float64
	// precision is the inverse of the covariance of value.
	precision [order][order]float64
	// covariance is kept for the slope.
	covariance [order][order]float64
}

func (s summary) span() float64 { return s.to - s.from }

// slope is the mean slope of the readings, in ohms per second, with its standard
// error.
func (s summary) slope() (slope, standardError float64) {
	half := s.span() / 2
	return s.value[0] / half, math.Sqrt(s.covariance[0][0]) / half
}

// extend makes of what the readings say what so many seconds more of them will
// say of a coil that started so many ohms off with a time constant: the
// coefficients are those of its curve, and their variances fall with the number of
// readings.
func (s *summary) extend(seconds, startOhms, tau float64) bool {
	longer := (s.span() + seconds) / s.span()
	s.to += seconds
	s.value = s.project(tau)
	for i := range s.degree {
		s.value[i] *= startOhms
		for j := range s.degree {
			s.covariance[i][j] /= longer
		}
	}
	return s.invert()
}

// project gives the coefficients of e^(−t/τ) over the readings, by
// Gauss–Legendre quadrature with six points (NIST Digital Library of
// Mathematical Functions, 3.5(v)).
func (s summary) project(tau float64) (shape [order]float64) {
	middle, half := (s.from+s.to)/2, s.span()/2
	for i, u := range quadraturePoints {
		value := quadratureWeights[i] * math.Exp(-(middle+half*u)/tau)
		p := legendre(u)
		for k := range s.degree {
			shape[k] += (float64(k) + 1.5) * value * p[k+1]
		}
	}
	return shape
}

var (
	quadraturePoints = [...]float64{-0.932469514203152, -0.661209386466265, -0.238619186083197,
		0.238619186083197, 0.661209386466265, 0.932469514203152}
	quadratureWeights = [...]float64{0.171324492379170, 0.360761573048139, 0.467913934572691,
		0.467913934572691, 0.360761573048139, 0.171324492379170}
)

// legendre gives the polynomials of degree 0…order at u.
func legendre(u float64) [order + 1]float64 {
	return [order + 1]float64{1, u, (3*u*u - 1) / 2, (5*u*u - 3) * u / 2}
}

// fit gives the likelihood of the ohms C of a shape, as far as it depends on C:
// exp(−(precision·C² − 2·moment·C)/2).
func (s summary) fit(shape [order]float64) (precision, moment float64) {
	for i := range s.degree {
		row := 0.0
		for j := range s.degree {
			row += s.precision[i][j] * shape[j]
		}
		precision += row * shape[i]
		moment += row * s.value[i]
	}
	return precision, moment
}
