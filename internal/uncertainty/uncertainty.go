// Package uncertainty combines the components of a measurement's uncertainty
// as the Guide to the expression of uncertainty in measurement (JCGM 100:2008)
// does: independent components, a linear model, Student's t for the coverage.
// It knows nothing of coils or meters; which components there are and how the
// result depends on them is the caller's business.
package uncertainty

import "math"

// Component is one line of an uncertainty budget (JCGM 100).
//
// A caller fills in Source, Unit, Value and Sensitivity and completes it with
// [Component.TypeA], [Component.Rectangular] or [Component.Normal]; [Combine] fills
// in the rest.
type Component struct {
	// Source says in plain words where this component comes from.
	Source string `json:"source"`
	// Origin says what Value and its uncertainty were drawn from, where Source
	// alone does not.
	Origin string `json:"origin,omitempty"`
	// Unit is the unit of Value and StandardUncertainty: "Ω", "K", "1/K".
	Unit string `json:"unit"`
	// Value is the estimate the component belongs to, in Unit.
	Value float64 `json:"value"`
	// StandardUncertainty is the standard uncertainty of Value, in Unit.
	StandardUncertainty float64 `json:"standard_uncertainty"`
	// Distribution is "normal" or "rectangular".
	Distribution string `json:"distribution"`
	// Sensitivity is the change of the result per change of Value, in ohms per
	// Unit.
	Sensitivity float64 `json:"sensitivity"`
	// DegreesOfFreedom is 0 when they are infinite (a type B component).
	DegreesOfFreedom float64 `json:"degrees_of_freedom"`
	// ContributionOhms is |Sensitivity| × StandardUncertainty.
	ContributionOhms float64 `json:"contribution_ohms"`
	// Share is the part of the combined variance that is due to this
	// component, 0 to 1.
	Share float64 `json:"share" openapi:"minimum=0,maximum=1"`
}

// The texts of Component.Distribution; they are stored.
const (
	normal      = "normal"
	rectangular = "rectangular"
)

// TypeA returns c with the standard uncertainty of the mean of n readings whose
// sample standard deviation is standardDeviation: s/√n with n − 1 degrees of
// freedom (JCGM 100:2008, 4.2.3).
//
// Readings that repeat to the last digit say nothing about what is below it, so
// the result is never less than that of a rectangular distribution one
// resolution wide, resolution/√12 (F.2.2.1). Where that floor holds, and for a
// single reading, it is a type B component with infinite degrees of freedom.
// Resolution is 0 when unknown. All are in c.Unit; n is at least 1.
func (c Component) TypeA(standardDeviation float64, n int, resolution float64) Component {
	floor := c.Rectangular(resolution / 2)
	if n < 2 {
		return floor
	}
	mean := standardDeviation / math.Sqrt(float64(n))
	if mean <= floor.StandardUncertainty {
		return floor
	}
	c.StandardUncertainty = mean
	c.Distribution = normal
	c.DegreesOfFreedom = float64(n - 1)
	return c
}

// Rectangular returns c with the standard uncertainty halfWidth/√3 of a
// quantity known only to lie within ±halfWidth of its value, any place being as
// likely (JCGM 100:2008, 4.3.7). Degrees of freedom are infinite.
func (c Component) Rectangular(halfWidth float64) Component {
	c.StandardUncertainty = halfWidth / math.Sqrt(3)
	c.Distribution = rectangular
	c.DegreesOfFreedom = 0
	return c
}

// Normal returns c with the given standard uncertainty, infinite degrees of
// freedom and a normal distribution, as a certificate or a handbook states it
// (JCGM 100:2008, 4.3.3).
func (c Component) Normal(standardUncertainty float64) Component {
	c.StandardUncertainty = standardUncertainty
	c.Distribution = normal
	c.DegreesOfFreedom = 0
	return c
}
