package compare

import (
	"fmt"
	"math"

	"coilkeep/internal/copper"
	"coilkeep/internal/uncertainty"
	"coilkeep/internal/words"
)

// EN is the E_n score of a value against a reference, both with expanded
// uncertainties (95 %), (x − reference)/√(U_x² + U_reference²) (ISO 13528:2022,
// 9.7; ISO/IEC 17043:2023, annex B; cited from memory). The two agree when it is
// from −1 to 1. Without any uncertainty it is 0 for equal values and infinite
// otherwise.
func EN(value, expandedUncertainty, reference, referenceExpandedUncertainty float64) float64 {
	difference := value - reference
	if difference == 0 {
		return 0
	}
	return difference / math.Hypot(expandedUncertainty, referenceExpandedUncertainty)
}

// wideKelvin is the half-width of a temperature range from which on ordinary
// propagation, which takes everything as normal in the end, states a wrong
// interval: the range is flat and much wider than all the rest.
const wideKelvin = 2.0

// wide says whether distributions must be propagated.
func (s situation) wide() bool {
	return s.halfKelvin > wideKelvin || s.control.lowOhms < s.control.highOhms || !s.hands.none()
}

// set sets reading i against the record.
func (s situation) set(i int, shownOhms float64, seed uint64, trials int) (Setting, error) {
	out := Setting{Reading: i, TheirsOhms: shownOhms, AtCelsius: s.celsius}
	theirs, err := uncertainty.Combine(s.meterComponents(shownOhms))
	if err != nil {
		return Setting{}, fmt.Errorf("uncertainty of their reading: %w", err)
	}
	out.TheirsExpandedUncertaintyOhms = theirs.ExpandedOhms
	expected, err := uncertainty.Combine(s.components())
	if err != nil {
		return Setting{}, fmt.Errorf("uncertainty of the expected value: %w", err)
	}
	out.Budget = expected.Budget
	out.ExpectedOhms, out.ExpectedExpandedUncertaintyOhms = s.there(s.celsius), expected.ExpandedOhms
	out.ExpectedLowOhms, out.ExpectedHighOhms = out.ExpectedOhms-expected.ExpandedOhms, out.ExpectedOhms+expected.ExpandedOhms
	if s.wide() {
		m := propagateDistributions(seed, trials, s.draw)
		out.MonteCarlo = &m
		out.ExpectedOhms, out.ExpectedLowOhms, out.ExpectedHighOhms = m.MeanOhms, m.LowOhms, m.HighOhms
		out.ExpectedExpandedUncertaintyOhms = m.MeanOhms - m.LowOhms
		if shownOhms > m.MeanOhms {
			out.ExpectedExpandedUncertaintyOhms = m.HighOhms - m.MeanOhms
		}
	}
	out.EN = EN(shownOhms, out.TheirsExpandedUncertaintyOhms, out.ExpectedOhms, out.ExpectedExpandedUncertaintyOhms)
	out.Agrees = math.Abs(out.EN) <= 1
	s.turnRound(&out)
	s.imply(&out)
	return out, nil
}

// there is the resistance between the probes at a temperature of the copper.
func (s situation) there(celsius float64) float64 {
	return s.nominal().across(s.coil.at(celsius), s.mate.at(celsius))
}

// sensitivities are the changes between the probes per ohm of either coil.
func (s situation) sensitivities() (perCoilOhm, perMateOhm float64) {
	c, coil, mate := s.nominal(), s.coil.at(s.celsius), s.mate.at(s.celsius)
	there := c.across(coil, mate)
	return (c.across(coil*(1+nudge), mate) - there) / (nudge * coil),
		(c.across(coil, mate*(1+nudge)) - there) / (nudge * mate)
}

// components lists what makes the expected value uncertain.
func (s situation) components() []uncertainty.Component {
	perCoil, perMate := s.sensitivities()
	coil, mate := s.coil.at(s.celsius), s.mate.at(s.celsius)
	perKelvin := perCoil*coil*s.coil.ratioPerKelvin(s.celsius) + perMate*mate*s.mate.ratioPerKelvin(s.celsius)
	list := []uncertainty.Component{
		uncertainty.Component{Source: "our record of the coil, at their temperature", Unit: "Ω", Value: coil, Sensitivity: perCoil}.
			Normal(coil * math.Sqrt(s.coil.varianceRatioAt(s.celsius))),
		uncertainty.Component{Source: "temperature of the coil when they measured", Unit: "K", Value: s.celsius, Sensitivity: perKelvin}.
			Rectangular(s.halfKelvin),
	}
	if s.circuit.wiring != Single {
		list = append(list, uncertainty.Component{Source: "our record of the other coil", Unit: "Ω", Value: mate, Sensitivity: perMate}.
			Normal(mate*math.Sqrt(s.mate.varianceRatioAt(s.celsius))))
	}
	low, high := s.loaded(s.control.lowOhms, s.hands.middle()), s.loaded(s.control.highOhms, s.hands.middle())
	few, many := s.loaded(s.control.middle(), s.hands.lowOhms), s.loaded(s.control.middle(), s.hands.highOhms)
	for _, l := range []struct {
		load
		source   string
		halfOhms float64
	}{
		{s.control, "volume control across the coil", s.between(high, low)},
		{s.hands, "hands across the probes", s.between(many, few)},
	} {
		if !l.none() {
			// The effect of the load, not its resistance, is what is nearly linear.
			list = append(list, uncertainty.Component{Source: l.source, Unit: "Ω", Value: s.there(s.celsius), Sensitivity: 1}.
				Rectangular(math.Abs(l.halfOhms)))
		}
	}
	return list
}

// meterComponents lists what makes their reading uncertain.
func (s situation) meterComponents(shownOhms float64) []uncertainty.Component {
	of := func(source string) uncertainty.Component {
		return uncertainty.Component{Source: source, Unit: "Ω", Value: shownOhms, Sensitivity: 1}
	}
	return []uncertainty.Component{
		of("limits of error of their meter").Rectangular(shownOhms*s.meterRatio + s.meterOhms),
		of("calibration of their meter").Normal(s.meterSigmaOhms),
		of("last digit of their reading").Rectangular(s.stepOhms / 2),
	}
}

// centred is their reading moved by what the mean over the ranges of the loads
// differs from the middle of the ranges, so that both directions start from the
// same expected value.
func (s situation) centred(out Setting) float64 {
	return out.TheirsOhms - (out.ExpectedOhms - s.there(s.celsius))
}

// turnRound refers their reading to 20 °C: it finds the coil that would give it
// in their circuit. The uncertainties are those of the other direction, carried
// back, so that both directions judge alike.
func (s situation) turnRound(out *Setting) {
	c, mate, shown := s.nominal(), s.mate.at(s.celsius), s.centred(*out)
	coil, ok := solve(func(ohms float64) float64 { return c.across(ohms, mate) - shown }, 1e-3, 10*maxReadingOhms)
	if !ok {
		out.Why20 = "no coil reads " + words.OhmsToStep(out.TheirsOhms, s.stepOhms) + " connected as told"
		return
	}
	perCoil, _ := s.sensitivities()
	ours := normalFactor * s.coil.sigmaRatio * s.coil.at(s.celsius) * perCoil
	conditions := math.Sqrt(max(0, out.ExpectedExpandedUncertaintyOhms*out.ExpectedExpandedUncertaintyOhms-ours*ours))
	factor := s.coil.factor(s.celsius)
	at20 := At20{
		TheirsOhms:                    coil / factor,
		TheirsExpandedUncertaintyOhms: math.Hypot(out.TheirsExpandedUncertaintyOhms, conditions) / (perCoil * factor),
		OursOhms:                      s.coil.ohms20,
		OursExpandedUncertaintyOhms:   normalFactor * s.coil.sigmaRatio * s.coil.ohms20,
	}
	at20.EN = EN(at20.TheirsOhms, at20.TheirsExpandedUncertaintyOhms, at20.OursOhms, at20.OursExpandedUncertaintyOhms)
	out.At20 = &at20
}

// imply finds the temperature at which the reading would be right.
func (s situation) imply(out *Setting) {
	shown := s.centred(*out)
	celsius, ok := solve(func(celsius float64) float64 { return s.there(celsius) - shown }, copper.MinCelsius, copper.MaxCelsius)
	if !ok {
		out.WhyImplied = fmt.Sprintf("no temperature from %g to %g °C gives %s", copper.MinCelsius, copper.MaxCelsius,
			words.OhmsToStep(out.TheirsOhms, s.stepOhms))
		return
	}
	s.celsius, s.halfKelvin = celsius, 0
	// The temperature is what is looked for, so everything else is uncertain.
	all := s.whole()
	perKelvin := (s.there(celsius+1) - s.there(celsius-1)) / 2
	u := math.Hypot(normalFactor*all.sigma, out.TheirsExpandedUncertaintyOhms) / perKelvin
	out.ImpliedCelsius, out.ImpliedUncertaintyKelvin = &celsius, &u
}

// solve finds where an increasing function is zero, by halving the interval
// until it is a few units of the last place wide. ok is false when the function
// has no sign change there.
func solve(f func(float64) float64, low, high float64) (x float64, ok bool) {
	if f(low) > 0 || f(high) < 0 {
		return 0, false
	}
	const halvings = 100 // more than a float64 has bits
	for range halvings {
		middle := low + (high-low)/2
		if f(middle) > 0 {
			high = middle
		} else {
			low = middle
		}
	}
	return low + (high-low)/2, true
}

// The table goes from tableLow to tableHigh in steps.
const (
	tableLowCelsius  = 0
	tableHighCelsius = 40
	tableStepKelvin  = 5
)

// table says what their meter should show at which temperature of the coil.
func (s situation) table(shownOhms float64) []TableRow {
	var rows []TableRow
	s.halfKelvin = 0
	s = s.inRange(shownOhms)
	for celsius := tableLowCelsius; celsius <= tableHighCelsius; celsius += tableStepKelvin {
		s.celsius = float64(celsius)
		rows = append(rows, s.row())
	}
	return rows
}

// inRange is the situation with the meter on a range that suits the expected
// value, however far off their reading was.
func (s situation) inRange(shownOhms float64) situation {
	step := s.stepFor(s.there(s.celsius), shownOhms)
	s.meterOhms *= step / s.digitOhms
	s.stepOhms, s.digitOhms = step, step
	return s
}

// stepFor is the step a meter shows a value in that showed another one in steps
// of stepOhms: the same while the range may be the same, but three digits at
// least.
func (s situation) stepFor(ohms, shownOhms float64) float64 {
	const otherRange = 10
	if ohms > otherRange*shownOhms {
		return threeDigits(ohms)
	}
	return min(s.stepOhms, threeDigits(ohms))
}

// threeDigits is the step of the third digit of a value.
func threeDigits(v float64) float64 { return math.Pow(10, math.Floor(math.Log10(v))-2) }

// row is what their meter should show at the middle of the temperature range.
func (s situation) row() TableRow {
	all := s.whole()
	ours := normalFactor * math.Sqrt(max(0, all.sigma*all.sigma-s.meterSigmaOhms*s.meterSigmaOhms))
	meter := all.flats[1] + normalFactor*s.meterSigmaOhms
	return TableRow{s.celsius, all.centre, all.centre - ours - meter, all.centre + ours + meter}
}
