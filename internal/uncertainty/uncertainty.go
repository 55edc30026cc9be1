// Package uncertainty combines the components of a measurement's uncertainty
// as the Guide to the expression of uncertainty in measurement (JCGM 100:2008)
// does. It knows nothing of coils or meters.
package uncertainty

// Component is one line of an uncertainty budget.
type Component struct {
	// Source says in plain words where this component comes from.
	Source string `json:"source"`
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
	Share float64 `json:"share"`
}
