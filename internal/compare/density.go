package compare

import (
	"math"
	"slices"
)

// smear is the distribution of what a meter shows: a centre and independent
// deviations from it, some uniform and the rest normal, all in ohms.
type smear struct {
	centre float64
	// flats are half-widths of uniform deviations.
	flats [3]float64
	// sigma is the standard deviation of the normal ones.
	sigma float64
}

// reach is how far from the centre anything is to be expected.
func (s smear) reach() float64 {
	return s.flats[0] + s.flats[1] + s.flats[2] + sigmasOut*s.sigma
}

// width is a scale the density is smooth on.
func (s smear) width() float64 {
	return slices.Max(s.flats[:]) + s.sigma
}

// sigmasOut standard deviations out, a normal density is 1e-14 of its peak and
// leaves nothing to compare.
const sigmasOut = 8.0

// density returns the probability density at x, per ohm.
//
// The sum of a uniform deviation of half-width a, one of half-width b, and a
// normal one has, with G(z) = zΦ(z) + φ(z), the integral of Φ,
//
//	p(x) = σ/(4ab) · [G((x+a+b)/σ) − G((x+a−b)/σ) − G((x−a+b)/σ) + G((x−a−b)/σ)]
//
// (twice integrating the normal density). The narrowest of three uniform
// deviations, and any narrow beside the normal one, is counted to the normal
// one with its variance a²/3.
func (s smear) density(x float64) float64 {
	x -= s.centre
	if math.Abs(x) > s.reach() {
		return 0
	}
	a, b, c := descending(s.flats)
	variance := s.sigma*s.sigma + c*c/3
	if b*b < variance/narrow {
		variance, b = variance+b*b/3, 0
	}
	if a*a < variance/narrow {
		variance, a = variance+a*a/3, 0
	}
	sigma := math.Sqrt(variance)
	switch {
	case a == 0:
		return phi(x/sigma) / sigma
	case b == 0:
		return (bigPhi((x+a)/sigma) - bigPhi((x-a)/sigma)) / (2 * a)
	default:
		sum := bigG((x+a+b)/sigma) - bigG((x+a-b)/sigma) - bigG((x-a+b)/sigma) + bigG((x-a-b)/sigma)
		return max(0, sigma*sum/(4*a*b))
	}
}

// narrow says when a uniform deviation is lost beside a normal one: half-width
// below 1/√narrow of the standard deviation, where the two densities differ by
// less than 1e-4 of the peak.
const narrow = 16

func descending(f [3]float64) (a, b, c float64) {
	slices.Sort(f[:])
	return f[2], f[1], f[0]
}

func phi(z float64) float64 { return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) }

func bigPhi(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

func bigG(z float64) float64 {
	// Far out G is z or 0, and the exact terms are lost in rounding.
	switch {
	case z > sigmasOut+1:
		return z
	case z < -sigmasOut-1:
		return 0
	}
	return z*bigPhi(z) + phi(z)
}
