// Package conformity judges a measured value with uncertainty against a
// tolerance (JCGM 106:2012). It knows nothing of coils.
package conformity

// Verdict is the outcome of a judgement. Its text is stored and is a metric
// label.
type Verdict string

const (
	// In: inside both tolerance limits, each drawn in by the guard band.
	In Verdict = "in"
	// High and Low: beyond a tolerance limit by more than the guard band.
	High Verdict = "high"
	Low  Verdict = "low"
	// Undecided: a tolerance limit lies within the guard band of the value.
	Undecided Verdict = "undecided"
)

// Tolerance is what is allowed and how carefully it is judged.
type Tolerance struct {
	LowerOhms float64 `json:"lower_ohms"` // lowest R20 allowed, ohms
	UpperOhms float64 `json:"upper_ohms"` // highest R20 allowed, ohms
	// The guard band is this times the expanded uncertainty; 0 is simple acceptance.
	GuardFactor float64 `json:"guard_factor" openapi:"minimum=0,maximum=1"`
}

// Judgement is a verdict with the probability behind it.
type Judgement struct {
	Verdict Verdict `json:"verdict"`
	// Probability is the probability that the true value lies within the
	// tolerance, 0 to 1.
	Probability float64 `json:"probability"`
}
