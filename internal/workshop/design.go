package workshop

import (
	"math"
	"math/big"
	"strconv"

	"coilkeep/internal/copper"
	"coilkeep/internal/quantity"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// DesignRequest is what somebody wants a design to be, whether it comes from a
// form, as JSON, or by flags. What is left out stays as the latest revision has
// it, or is the default of a new design.
type DesignRequest struct {
	Name       string   `json:"name,omitempty"`        // its name
	TargetOhms *float64 `json:"target_ohms,omitempty"` // wanted R20, ohms
	// How far a coil may be off its target either way, percent; instead of
	// lower_ohms and upper_ohms.
	TolerancePercent *float64 `json:"tolerance_percent,omitempty"`
	// The same in ohms.
	ToleranceOhms *float64 `json:"tolerance_ohms,omitempty"`
	LowerOhms     *float64 `json:"lower_ohms,omitempty"` // lowest R20 allowed, ohms
	UpperOhms     *float64 `json:"upper_ohms,omitempty"` // highest R20 allowed, ohms
	// The guard band is this times the expanded uncertainty; 0 is simple acceptance.
	GuardFactor *float64       `json:"guard_factor,omitempty" openapi:"minimum=0,maximum=1"`
	GaugeAWG    *int           `json:"gauge_awg,omitempty"` // wire gauge, AWG
	Turns       *int           `json:"turns,omitempty"`     // number of turns
	Bobbin      *record.Bobbin `json:"bobbin,omitempty"`    // the winding space
	// Temperature coefficient of the wire at 20 °C, per kelvin.
	AlphaPerKelvin *float64 `json:"alpha_per_kelvin,omitempty"`
	// Its standard uncertainty, per kelvin.
	AlphaStandardUncertaintyPerKelvin *float64 `json:"alpha_standard_uncertainty_per_kelvin,omitempty"`
	// Thermal time constant of a finished coil, seconds; left out: the bench's.
	TimeConstantSeconds *float64 `json:"time_constant_seconds,omitempty"`
	// How much it differs from coil to coil: the standard deviation of its
	// logarithm; left out until it is learned.
	TimeConstantRatio *float64 `json:"time_constant_ratio,omitempty"`
	// The part of a coil's warmth that is in its wire alone, 0 to 1; left out until
	// it is learned.
	QuickShare *float64 `json:"quick_share,omitempty"`
	// Its standard deviation from coil to coil.
	QuickShareDeviation *float64 `json:"quick_share_deviation,omitempty"`
	// How small the expanded uncertainty must be, percent of R20, before a coil is
	// recorded ahead of patience; left out: a certain verdict will do.
	WantedUncertaintyPercent *float64 `json:"wanted_uncertainty_percent,omitempty"`
	Note                     *string  `json:"note,omitempty"` // anything else
	// Only for a revision: the one that is changed. The answer is 409 when the
	// design was revised since.
	Revision *int `json:"revision,omitempty" openapi:"minimum=1"`
	Confirm  bool `json:"confirm,omitempty"` // says that a target outside of 100 Ω to 200 kΩ is meant so
}

// DesignAnswer is the latest revision of a design, and all there are.
type DesignAnswer struct {
	record.Design
	Revisions []record.Design `json:"revisions"` // every revision, the first one first
}

// The usual range of a target, ohms: what the contact of a bench takes unless its
// configuration says otherwise. A target outside of it is asked about, for a k
// is easily left out.
const (
	LeastUsualOhms    = 100.0
	GreatestUsualOhms = 200e3
)

// BlankDesign is what a design is where nothing else is said: judged with the
// whole uncertainty as its guard band, and wound of annealed copper.
func BlankDesign() record.Design {
	return record.Design{
		GuardFactor:                       1,
		AlphaPerKelvin:                    float64(copper.Standard),
		AlphaStandardUncertaintyPerKelvin: copper.StandardUncertaintyPerKelvin,
	}
}

// NewDesign is the design that a request asks for. The error is a
// *record.FieldError.
func NewDesign(r DesignRequest) (record.Design, error) {
	if r.TargetOhms == nil {
		return record.Design{}, record.Invalid("target_ohms", "is missing: say what a coil should measure at 20 °C, such as 6690 Ω")
	}
	if r.Revision != nil {
		return record.Design{}, record.Invalid("revision", "is only for a design that is revised; a new one has none yet")
	}
	blank := BlankDesign()
	blank.Name = r.Name
	return r.over(blank)
}

// ReviseDesign is the latest revision of a design with what a request says in its
// place. The error is a *record.FieldError.
func ReviseDesign(latest record.Design, r DesignRequest) (record.Design, error) {
	if r.Name != "" && r.Name != latest.Name {
		return record.Design{}, record.Invalid("name", "stays %q in a revision; add a new design to use another", latest.Name)
	}
	if r.Revision != nil && *r.Revision < 1 {
		return record.Design{}, record.Invalid("revision", "must be 1 or more, not %d", *r.Revision)
	}
	return r.over(latest)
}

// over returns base with what r says in its place.
func (r DesignRequest) over(base record.Design) (record.Design, error) {
	d := base
	set(&d.TargetOhms, r.TargetOhms)
	if err := record.ValidateNumber("target_ohms", d.TargetOhms); err != nil {
		return d, err
	}
	set(&d.GuardFactor, r.GuardFactor)
	set(&d.GaugeAWG, r.GaugeAWG)
	set(&d.Turns, r.Turns)
	set(&d.AlphaPerKelvin, r.AlphaPerKelvin)
	set(&d.AlphaStandardUncertaintyPerKelvin, r.AlphaStandardUncertaintyPerKelvin)
	if r.TimeConstantSeconds != nil && *r.TimeConstantSeconds != d.TimeConstantSeconds {
		d.TimeConstantRatio, d.QuickShare, d.QuickShareDeviation = 0, 0, 0 // they were learned with another
	}
	set(&d.TimeConstantSeconds, r.TimeConstantSeconds)
	set(&d.TimeConstantRatio, r.TimeConstantRatio)
	set(&d.QuickShare, r.QuickShare)
	set(&d.QuickShareDeviation, r.QuickShareDeviation)
	set(&d.WantedUncertaintyPercent, r.WantedUncertaintyPercent)
	set(&d.Note, r.Note)
	set(&d.Revision, r.Revision)
	if r.Bobbin != nil {
		d.Bobbin = r.Bobbin
	}
	if err := r.limits(&d, base); err != nil {
		return d, err
	}
	if d.TargetOhms != base.TargetOhms && !r.Confirm {
		if err := checkUsual(d.TargetOhms); err != nil {
			return d, err
		}
	}
	return d, record.ValidateDesign(d)
}

// set puts value in place when it was told.
func set[T any](place *T, value *T) {
	if value != nil {
		*place = *value
	}
}

// limits sets what a coil may measure: by a tolerance about the target, or as
// told. A target that moves takes limits with it that lay equally far from it.
func (r DesignRequest) limits(d *record.Design, base record.Design) error {
	limits := r.LowerOhms != nil || r.UpperOhms != nil
	field := "tolerance_percent"
	if r.ToleranceOhms != nil {
		field = "tolerance_ohms"
	}
	told := r.TolerancePercent != nil || r.ToleranceOhms != nil
	switch {
	case told && limits, r.TolerancePercent != nil && r.ToleranceOhms != nil:
		return record.Invalid(field, "give either a tolerance, in percent or in ohms, or both limits")
	case limits:
		set(&d.LowerOhms, r.LowerOhms)
		set(&d.UpperOhms, r.UpperOhms)
		if r.TargetOhms == nil || r.LowerOhms != nil && r.UpperOhms != nil {
			return nil
		}
		// The other one would be of an old target.
		return record.Invalid(field, "is missing: one limit does not say how far a coil may be off; give both, or a tolerance")
	case r.TolerancePercent != nil:
		return setPercent(d, *r.TolerancePercent)
	case r.ToleranceOhms != nil:
		if width := *r.ToleranceOhms; !(width > 0 && width < d.TargetOhms) {
			return record.Invalid(field, "must be more than nothing and less than the target itself, not %g Ω", width)
		}
		d.LowerOhms, d.UpperOhms = limitsAbout(d.TargetOhms, exact(*r.ToleranceOhms))
	case d.TargetOhms != base.TargetOhms:
		percent, even := TolerancePercent(base)
		if !even {
			return record.Invalid(field, "is missing: say how far a coil may be off the target, as a tolerance or by both limits")
		}
		return setPercent(d, percent)
	}
	return nil
}

func setPercent(d *record.Design, percent float64) error {
	if !(percent > 0 && percent < 100) {
		return record.Invalid("tolerance_percent", "must be more than 0 %% and less than 100 %%, not %g %%", percent)
	}
	width := new(big.Rat).Mul(exact(d.TargetOhms), exact(percent))
	d.LowerOhms, d.UpperOhms = limitsAbout(d.TargetOhms, width.Quo(width, big.NewRat(100, 1)))
	return nil
}

// limitsAbout is target minus and plus width. It is reckoned in decimals, such as people
// write: 5 % of 6690 Ω more is 7024.5 Ω, and not 7024.500000000001.
func limitsAbout(target float64, width *big.Rat) (lower, upper float64) {
	middle := exact(target)
	lower, _ = new(big.Rat).Sub(middle, width).Float64()
	upper, _ = new(big.Rat).Add(middle, width).Float64()
	return lower, upper
}

// exact is the decimal that a finite number is written as.
func exact(v float64) *big.Rat {
	r, ok := new(big.Rat).SetString(strconv.FormatFloat(v, 'g', -1, 64))
	if !ok {
		panic("no number: " + strconv.FormatFloat(v, 'g', -1, 64)) // callers have checked
	}
	return r
}

// TolerancePercent is the tolerance of a design whose limits lie equally far from
// its target, in percent of it; false for any other.
func TolerancePercent(d record.Design) (percent float64, even bool) {
	if !(d.TargetOhms > 0) {
		return 0, false
	}
	below, above := d.TargetOhms-d.LowerOhms, d.UpperOhms-d.TargetOhms
	const rounding = 1e-9 // of the target, far below any meter
	if math.Abs(below-above) >= rounding*d.TargetOhms {
		return 0, false
	}
	percent = 100 * above / d.TargetOhms
	if rounded := math.Round(percent*1e6) / 1e6; math.Abs(percent-rounded) < 1e-8 {
		percent = rounded
	}
	return percent, true
}

// checkUsual asks about a target that is no usual one.
func checkUsual(targetOhms float64) error {
	if targetOhms >= LeastUsualOhms && targetOhms <= GreatestUsualOhms || !(targetOhms > 0) {
		return nil
	}
	question := ""
	if meant := quantity.MeantOhms(targetOhms, LeastUsualOhms, GreatestUsualOhms); meant != "" {
		question = "did you mean " + meant + "? "
	}
	return record.Invalid("target_ohms", "%s is no usual target, which is %s to %s; %sIf it is meant so, confirm it",
		words.Ohms(targetOhms), words.Ohms(LeastUsualOhms), words.Ohms(GreatestUsualOhms), question)
}
