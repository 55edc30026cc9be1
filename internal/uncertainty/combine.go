package uncertainty

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Combined is the uncertainty of a result. All its numbers are finite.
type Combined struct {
	// StandardOhms is the combined standard uncertainty.
	StandardOhms float64
	// DegreesOfFreedom are the effective degrees of freedom, not truncated, or
	// 0 when they are infinite or of no consequence.
	DegreesOfFreedom float64
	// CoverageFactor is k; ExpandedOhms is k·StandardOhms and covers the true
	// value with the probability Level.
	CoverageFactor float64
	ExpandedOhms   float64
	// Budget holds the components with contributions and shares filled in, the
	// largest contribution first; equal ones stay in the order given.
	Budget []Component
}

// Combine combines independent components to the uncertainty of the result they
// share (JCGM 100:2008, 5.1.2): u² = Σ(c·u_i)².
//
// The effective degrees of freedom follow Welch and Satterthwaite (G.4.1),
// ν = u⁴/Σ((c·u_i)⁴/ν_i). The coverage factor is Student's t for ν truncated to
// a whole number (G.4.1, note 1; G.6.4), and 1.95996 for infinite ν.
//
// It returns an error that names the component when a standard uncertainty is
// negative, when degrees of freedom are neither 0 nor at least 1, or when any
// number is not finite.
func Combine(components []Component) (Combined, error) {
	budget := slices.Clone(components)
	variance := 0.0
	for i := range budget {
		c := &budget[i]
		if err := c.check(); err != nil {
			return Combined{}, err
		}
		c.ContributionOhms = math.Abs(c.Sensitivity) * c.StandardUncertainty
		variance += c.ContributionOhms * c.ContributionOhms
	}
	if math.IsInf(variance, 0) || math.IsNaN(variance) {
		return Combined{}, fmt.Errorf("combine uncertainties: the combined variance %g is not a finite number", variance)
	}

	// With shares the Welch–Satterthwaite formula reads 1/ν = Σ share²/ν_i.
	reciprocal := 0.0
	for i := range budget {
		c := &budget[i]
		c.Share = 0
		if variance > 0 {
			c.Share = c.ContributionOhms * c.ContributionOhms / variance
		}
		if c.DegreesOfFreedom > 0 {
			reciprocal += c.Share * c.Share / c.DegreesOfFreedom
		}
	}
	slices.SortStableFunc(budget, func(a, b Component) int {
		return cmp.Compare(b.ContributionOhms, a.ContributionOhms)
	})

	degreesOfFreedom := 0.0
	if reciprocal > 1/practicallyInfinite {
		degreesOfFreedom = 1 / reciprocal
	}
	k := CoverageFactor(degreesOfFreedom)
	standard := math.Sqrt(variance)
	return Combined{
		StandardOhms:     standard,
		DegreesOfFreedom: degreesOfFreedom,
		CoverageFactor:   k,
		ExpandedOhms:     k * standard,
		Budget:           budget,
	}, nil
}

// practicallyInfinite degrees of freedom change the coverage factor by less
// than 3 parts in a million; beyond them ν is reported as infinite.
const practicallyInfinite = 1e6

// check reports what makes a component unfit to be combined.
func (c Component) check() error {
	for _, field := range []struct {
		name  string
		value float64
	}{
		{"value", c.Value},
		{"standard uncertainty", c.StandardUncertainty},
		{"sensitivity", c.Sensitivity},
		{"degrees of freedom", c.DegreesOfFreedom},
	} {
		if math.IsNaN(field.value) || math.IsInf(field.value, 0) {
			return fmt.Errorf("combine uncertainties: %s of %q is %g, not a finite number", field.name, c.Source, field.value)
		}
	}
	if c.StandardUncertainty < 0 {
		return fmt.Errorf("combine uncertainties: standard uncertainty of %q is negative: %g %s", c.Source, c.StandardUncertainty, c.Unit)
	}
	if c.DegreesOfFreedom != 0 && c.DegreesOfFreedom < 1 {
		return fmt.Errorf("combine uncertainties: degrees of freedom of %q are %g; they must be at least 1, or 0 for infinite", c.Source,
			c.DegreesOfFreedom)
	}
	return nil
}
