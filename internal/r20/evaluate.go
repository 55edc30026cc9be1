package r20

import (
	"fmt"
	"math"

	"coilkeep/internal/copper"
	"coilkeep/internal/uncertainty"
)

// Evaluate refers a measured resistance to 20 °C and states its uncertainty.
// With t = probe + excess, the temperature of the copper, and f = 1 + α·(t − 20)
//
//	R20 = (resistance · (1 + correction) − leads) / f
//
// (IEC 60028 for f). Sensitivities are the partial derivatives of this formula,
// in ohms at 20 °C:
//
//	resistance and all that adds to it   (1 + correction) / f
//	leads                                −1 / f
//	temperature and all that adds to it  −α · R20 / f
//	α                                    −(t − 20) · R20 / f
//
// The components are combined by [uncertainty.Combine]. Limits of error and
// half-widths are taken as rectangular, the estimate of the copper's excess as
// normal; the drift across the window as a rectangle half the drift to either
// side. A single reading is a typed value:
// its repeatability is not known and only the resolution stands for it.
//
// An uncertainty that was told has one component, the told U/k with a
// sensitivity of 1 (JCGM 100:2008, 4.3.3); U and k are those told.
//
// It returns an [*InputError] that names the field when an input cannot be true;
// there is no result then.
func Evaluate(in Inputs) (Result, error) {
	p, err := At(in, copper.ReferenceCelsius)
	if err != nil {
		return Result{}, err
	}
	if in.told() {
		p.ExpandedUncertaintyOhms = in.ToldExpandedUncertaintyOhms // k·(U/k) may round
	}
	return Result{
		R20Ohms:                   p.ResistanceOhms,
		StandardUncertaintyOhms:   p.StandardUncertaintyOhms,
		EffectiveDegreesOfFreedom: p.EffectiveDegreesOfFreedom,
		CoverageFactor:            p.CoverageFactor,
		ExpandedUncertaintyOhms:   p.ExpandedUncertaintyOhms,
		Budget:                    p.Budget,
	}, nil
}

// Prediction is the resistance the same coil has at another temperature, with
// the uncertainty of saying so. Fields mean what those of [Result] mean.
type Prediction struct {
	TemperatureCelsius        float64                 `json:"temperature_celsius"`
	ResistanceOhms            float64                 `json:"resistance_ohms"`
	StandardUncertaintyOhms   float64                 `json:"standard_uncertainty_ohms"`
	EffectiveDegreesOfFreedom float64                 `json:"effective_degrees_of_freedom"`
	CoverageFactor            float64                 `json:"coverage_factor"`
	ExpandedUncertaintyOhms   float64                 `json:"expanded_uncertainty_ohms"`
	Budget                    []uncertainty.Component `json:"budget"`
}

// At is [Evaluate] for a reference temperature other than 20 °C. The result of
// Evaluate would not do as a starting point: its error and the step from 20 °C
// share the coefficient α, so that its uncertainty vanishes where the coil was
// measured and grows with the distance from there, not from 20 °C. With
// F = 1 + α·(T − 20) the sensitivities of Evaluate are multiplied by F, that of
// α is (T − t) · R / (F·f).
//
// What an uncertainty that was told is made of is not known, so it cannot share
// anything with the step from 20 °C: its sensitivity is F, that of α is
// (T − 20) · R20, and k is the one told.
//
// The temperature predicted for is taken as exact; how well a reader knows it is
// the reader's own component. Errors are those of Evaluate, with the field
// "reference_celsius" for a temperature outside the range of [copper].
func At(in Inputs, referenceCelsius float64) (Prediction, error) {
	if err := in.check(); err != nil {
		return Prediction{}, err
	}
	if err := checkCelsius("reference_celsius", referenceCelsius); err != nil {
		return Prediction{}, err
	}
	combined, err := uncertainty.Combine(in.budget(referenceCelsius))
	if err != nil {
		return Prediction{}, fmt.Errorf("evaluate %g Ω at %g °C: %w", in.ResistanceOhms, in.TemperatureCelsius, err)
	}
	if in.told() {
		combined.CoverageFactor = in.ToldCoverageFactor
		combined.ExpandedOhms = in.ToldCoverageFactor * combined.StandardOhms
	}
	return Prediction{
		TemperatureCelsius:        referenceCelsius,
		ResistanceOhms:            in.resistanceAt(referenceCelsius),
		StandardUncertaintyOhms:   combined.StandardOhms,
		EffectiveDegreesOfFreedom: combined.DegreesOfFreedom,
		CoverageFactor:            combined.CoverageFactor,
		ExpandedUncertaintyOhms:   combined.ExpandedOhms,
		Budget:                    combined.Budget,
	}, nil
}

// CorrectedOhms is the resistance of what is on the clips alone, with the meter's
// correction applied and the leads taken off, at the temperature it was
// measured at.
func (in Inputs) CorrectedOhms() float64 {
	return in.ResistanceOhms*(1+in.CorrectionRatio) - in.LeadOhms
}

// factor is R(t)/R20. Inputs that pass check keep it positive.
func (in Inputs) factor(celsius float64) float64 {
	return 1 + in.AlphaPerKelvin*(celsius-copper.ReferenceCelsius)
}

func (in Inputs) resistanceAt(celsius float64) float64 {
	return in.CorrectedOhms() * in.factor(celsius) / in.factor(in.CopperCelsius())
}

// CopperCelsius is the temperature the copper is taken to have had: the probe's
// and the copper's excess over it.
func (in Inputs) CopperCelsius() float64 { return in.TemperatureCelsius + in.CopperExcessKelvin }

// LeadSource is the Source of the component whose Value is what was subtracted
// for the leads.
const LeadSource = "lead zero"

// LeadsKnown is false where nothing is known of the leads: they were neither
// measured nor configured, and nothing is subtracted for them.
func (in Inputs) LeadsKnown() bool { return in.LeadOhms != 0 || in.LeadHalfWidthOhms != 0 }

// ProbeSource is the Source of the component whose Value is the temperature of
// the probe, in degrees Celsius; its uncertainty is in kelvin. It is stored.
const ProbeSource = "probe accuracy"

// ToldSource is the Source of the component that stands for an uncertainty told
// as a whole. It is stored.
const ToldSource = "as told in the file"

func (in Inputs) told() bool { return in.ToldExpandedUncertaintyOhms != 0 }

// toldBudget is the budget where the uncertainty of R20 was told as a whole.
func (in Inputs) toldBudget(referenceCelsius float64) []uncertainty.Component {
	r20Ohms := in.resistanceAt(copper.ReferenceCelsius)
	budget := []uncertainty.Component{
		uncertainty.Component{Source: ToldSource, Unit: "Ω", Value: r20Ohms, Sensitivity: in.factor(referenceCelsius)}.
			Normal(in.ToldExpandedUncertaintyOhms / in.ToldCoverageFactor),
	}
	if referenceCelsius == copper.ReferenceCelsius {
		return budget
	}
	return append(budget, uncertainty.Component{Source: alphaSource, Unit: "1/K", Value: in.AlphaPerKelvin,
		Sensitivity: r20Ohms * (referenceCelsius - copper.ReferenceCelsius)}.Normal(in.AlphaStandardUncertaintyPerKelvin))
}

const alphaSource = "temperature coefficient of the wire"

// CopperSource is the Source of the component whose Value is how much warmer the
// copper was than the probe; boundSource is what it was called while that was
// bounded and not estimated. Both are stored.
const (
	CopperSource = "copper against probe"
	boundSource  = "coil against probe"
)

// copper completes the component of how far the copper is from the probe: the
// estimate of its excess, and the lasting difference between their places. The
// estimate comes as a standard uncertainty, the difference as a half-width.
func (in Inputs) copper(c uncertainty.Component) uncertainty.Component {
	lasting := c.Rectangular(in.CoilDifferenceHalfWidthKelvin)
	if in.CopperExcessUncertaintyKelvin == 0 {
		lasting.Source = boundSource
		return lasting
	}
	c.Source, c.Origin = CopperSource, in.CopperExcessOrigin
	return c.Normal(math.Hypot(in.CopperExcessUncertaintyKelvin, lasting.StandardUncertainty))
}

// budget lists the components of the resistance at a reference temperature.
func (in Inputs) budget(referenceCelsius float64) []uncertainty.Component {
	if in.told() {
		return in.toldBudget(referenceCelsius)
	}
	factor := in.factor(in.CopperCelsius())
	toReference := in.factor(referenceCelsius) / factor
	resistance := in.resistanceAt(referenceCelsius)

	perMeterOhm := (1 + in.CorrectionRatio) * toReference
	perKelvin := -in.AlphaPerKelvin * resistance / factor
	perAlpha := in.CorrectedOhms() * (referenceCelsius - in.CopperCelsius()) / (factor * factor)

	type component = uncertainty.Component
	return []component{
		component{Source: "repeatability of the readings", Unit: "Ω", Value: in.ResistanceOhms, Sensitivity: perMeterOhm}.
			TypeA(in.StandardDeviationOhms, in.Readings, in.ResolutionOhms),
		component{Source: "meter accuracy", Unit: "Ω", Value: in.ResistanceOhms, Sensitivity: perMeterOhm}.
			Rectangular(in.MeterPercent/100*in.ResistanceOhms + in.MeterOhms),
		component{Source: LeadSource, Unit: "Ω", Value: in.LeadOhms, Sensitivity: -toReference}.
			Rectangular(in.LeadHalfWidthOhms),
		component{Source: ProbeSource, Unit: "K", Value: in.TemperatureCelsius, Sensitivity: perKelvin}.
			Rectangular(in.ProbeHalfWidthKelvin),
		in.copper(component{Unit: "K", Value: in.CopperExcessKelvin, Sensitivity: perKelvin}),
		component{Source: alphaSource, Unit: "1/K", Value: in.AlphaPerKelvin, Sensitivity: perAlpha}.
			Normal(in.AlphaStandardUncertaintyPerKelvin),
		component{Source: "drift during the window", Unit: "Ω", Value: 0, Sensitivity: perMeterOhm}.
			Rectangular(math.Abs(in.DriftOhms) / 2),
	}
}
