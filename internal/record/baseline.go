package record

import (
	"cmp"
	"time"
)

// Baseline is what the control limits of a design on a winder rest on. It stays
// as it is until another is added.
type Baseline struct {
	ID               string    `json:"id"`                 // unique
	Time             time.Time `json:"time"`               // when it was kept
	Winder           string    `json:"winder"`             // empty when not told
	Design           string    `json:"design"`             // name
	DesignRevision   int       `json:"design_revision"`    // its revision
	FirstCoil        string    `json:"first_coil"`         // serial number of the first of its coils
	LastCoil         string    `json:"last_coil"`          // serial number of the last
	Count            int       `json:"count"`              // how many coils
	MeanOhms         float64   `json:"mean_ohms"`          // mean of their R20
	SigmaWithinOhms  float64   `json:"sigma_within_ohms"`  // mean moving range over 1.128
	SigmaOverallOhms float64   `json:"sigma_overall_ohms"` // standard deviation
	MeanRangeOhms    float64   `json:"mean_range_ohms"`    // mean moving range
	// Median of the coils'; 0 when not known.
	UsualStandardUncertaintyOhms float64 `json:"usual_standard_uncertainty_ohms"`
	Reason                       string  `json:"reason"`       // why it was made or revised
	By                           string  `json:"by,omitempty"` // who
}

// ValidateBaseline says which field of a baseline cannot be right, as a
// *FieldError; nil when it may be stored. It must be made of at least so many
// coils.
func ValidateBaseline(b Baseline, least int) error {
	for _, v := range []struct {
		field string
		ohms  float64
	}{
		{"mean_ohms", b.MeanOhms}, {"sigma_within_ohms", b.SigmaWithinOhms},
		{"sigma_overall_ohms", b.SigmaOverallOhms}, {"mean_range_ohms", b.MeanRangeOhms},
	} {
		if !(v.ohms > 0 && v.ohms <= 1e12) {
			return Invalid(v.field, "must be more than 0 Ω, not %g", v.ohms)
		}
	}
	// As the drift analysis takes them: less is no resistance of a coil.
	if b.MeanOhms < 1e-3 {
		return Invalid("mean_ohms", "must be at least 0.001 Ω, not %g", b.MeanOhms)
	}
	if u := b.UsualStandardUncertaintyOhms; !(u >= 0 && u <= 1e12) {
		return Invalid("usual_standard_uncertainty_ohms", "must be 0 Ω or more, not %g", u)
	}
	if b.Count < least {
		return Invalid("count", "must be at least %d coils, not %d: fewer make no limits", least, b.Count)
	}
	if b.Reason == "" {
		return Invalid("reason", "must not be empty")
	}
	return cmp.Or(
		ValidateLabel("winder", b.Winder), ValidateName("design", b.Design),
		ValidateSerial(b.FirstCoil), ValidateSerial(b.LastCoil),
		ValidateNote("reason", b.Reason), ValidateLabel("by", b.By))
}

// leastKept is how many coils a baseline had at least before there was a rule for
// it; records of then are imported as they are.
const leastKept = 2

// Baselines describes baselines.
var Baselines = Kind[Baseline]{
	Name: "baseline", One: "baseline", Many: "baselines", Table: "baselines",
	Fields: []Field[Baseline]{
		{Column: "id", Place: func(b *Baseline) any { return &b.ID }},
		{Column: "time_us", Place: func(b *Baseline) any { return &b.Time }},
		{Column: "winder", Place: func(b *Baseline) any { return &b.Winder }},
		{Column: "design", Place: func(b *Baseline) any { return &b.Design }},
		{Column: "design_revision", Place: func(b *Baseline) any { return &b.DesignRevision }},
		{Column: "first_coil", Place: func(b *Baseline) any { return &b.FirstCoil }},
		{Column: "last_coil", Place: func(b *Baseline) any { return &b.LastCoil }},
		{Column: "count", Place: func(b *Baseline) any { return &b.Count }},
		{Column: "mean_ohms", Place: func(b *Baseline) any { return &b.MeanOhms }},
		{Column: "sigma_within_ohms", Place: func(b *Baseline) any { return &b.SigmaWithinOhms }},
		{Column: "sigma_overall_ohms", Place: func(b *Baseline) any { return &b.SigmaOverallOhms }},
		{Column: "mean_range_ohms", Place: func(b *Baseline) any { return &b.MeanRangeOhms }},
		{Column: "usual_standard_uncertainty_ohms", Place: func(b *Baseline) any { return &b.UsualStandardUncertaintyOhms }},
		{Column: "reason", Place: func(b *Baseline) any { return &b.Reason }},
		{Column: "by", Place: func(b *Baseline) any { return &b.By }},
	},
	Check: func(b Baseline) error { return ValidateBaseline(b, leastKept) },
}
