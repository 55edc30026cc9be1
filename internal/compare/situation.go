package compare

import (
	"math"

	"coilkeep/internal/copper"
)

// winding is the resistance of a coil as a model takes it.
type winding struct {
	ohms20            float64
	alpha, alphaSigma float64 // per kelvin, at 20 °C
	// sigmaRatio is the relative standard uncertainty at knownCelsius, where
	// it is smallest.
	sigmaRatio   float64
	knownCelsius float64
}

func (w winding) at(celsius float64) float64 {
	return w.ohms20 * w.factor(celsius)
}

// factor is that of IEC 60028, see copper.Alpha20.Factor.
func (w winding) factor(celsius float64) float64 {
	return 1 + w.alpha*(celsius-copper.ReferenceCelsius)
}

// ratioPerKelvin is the relative change of resistance per kelvin.
func (w winding) ratioPerKelvin(celsius float64) float64 { return w.alpha / w.factor(celsius) }

// varianceRatioAt is the square of the relative standard uncertainty of the
// resistance predicted for a temperature: what was known where the coil was
// measured, and the coefficient for the step from there (r20.At).
func (w winding) varianceRatioAt(celsius float64) float64 {
	step := (celsius - w.knownCelsius) * w.alphaSigma / (w.factor(celsius) * w.factor(w.knownCelsius))
	return w.sigmaRatio*w.sigmaRatio + step*step
}

// situation is how one reading came about, as told, as assumed, or as a cause
// would have it.
type situation struct {
	coil, mate winding
	// The copper is anywhere within celsius ± halfKelvin.
	celsius, halfKelvin float64
	// It might be anywhere from oddLow to oddHigh without the reader knowing.
	oddLow, oddHigh float64
	circuit         circuit
	// control and hands lie in parallel and are known to a range only.
	control, hands load
	// gain is what the meter shows over what it should.
	gain float64
	// The meter's limits of error are meterRatio of what it shows and
	// meterOhms; a calibrated one has a standard uncertainty instead.
	meterRatio, meterOhms, meterSigmaOhms float64
	// stepOhms is the last digit of what was told; digitOhms that of the meter,
	// which shows three digits at least.
	stepOhms, digitOhms float64
	// restRatio is a relative standard uncertainty of what is shown that is
	// left when the rest of it is known.
	restRatio float64
}

// smears returns what the meter may show, as distributions that are equally
// likely: one for each part of the ranges of the loads.
func (s situation) smears() []smear {
	return s.spread(s.control.parts, s.hands.parts)
}

// whole is what the meter may show, as one distribution over the whole ranges
// of the loads.
func (s situation) whole() smear { return s.spread(s.control.whole, s.hands.whole)[0] }

// noLoad stands for the parts of a load that is not there.
var noLoad = []step{{}}

func (s situation) spread(controls, hands []step) []smear {
	if s.control.none() && s.hands.none() {
		return []smear{s.smear(s.circuit, 0)}
	}
	if s.control.none() {
		controls = noLoad
	}
	if s.hands.none() {
		hands = noLoad
	}
	all := make([]smear, 0, len(controls)*len(hands))
	for _, control := range controls {
		for _, hand := range hands {
			middle := s.loaded(control.middle, hand.middle)
			byControl := s.between(s.loaded(control.low, hand.middle), s.loaded(control.high, hand.middle))
			byHands := s.between(s.loaded(control.middle, hand.low), s.loaded(control.middle, hand.high))
			all = append(all, s.smear(middle, math.Hypot(byControl, byHands)))
		}
	}
	return all
}

// loaded is the circuit with loads of known resistance; what has no range stays
// as it is.
func (s situation) loaded(controlOhms, handsOhms float64) circuit {
	c := s.circuit
	if !s.control.none() {
		c.controlOhms = controlOhms
	}
	if !s.hands.none() {
		c.handsOhms = handsOhms
	}
	return c
}

// nominal is the circuit with loads at the middle of their ranges.
func (s situation) nominal() circuit { return s.loaded(s.control.middle(), s.hands.middle()) }

// between is half the difference of two circuits, in ohms.
func (s situation) between(a, b circuit) float64 {
	coil, mate := s.coil.at(s.celsius), s.mate.at(s.celsius)
	return (a.across(coil, mate) - b.across(coil, mate)) / 2
}

// middle is the smear with the loads at the middle of their ranges.
func (s situation) middle() smear { return s.smear(s.nominal(), 0) }

// smear linearises the circuit about the middle of the temperature range;
// halfOhms is what the loads may add, either way and evenly.
func (s situation) smear(c circuit, halfOhms float64) smear {
	coil, mate := s.coil.at(s.celsius), s.mate.at(s.celsius)
	there := c.across(coil, mate)
	perCoil := (c.across(coil*(1+nudge), mate) - there) / nudge
	perMate := (c.across(coil, mate*(1+nudge)) - there) / nudge
	perKelvin := perCoil*s.coil.ratioPerKelvin(s.celsius) + perMate*s.mate.ratioPerKelvin(s.celsius)

	shown := s.gain * there
	variance := perCoil*perCoil*s.coil.varianceRatioAt(s.celsius) +
		perMate*perMate*s.mate.varianceRatioAt(s.celsius) + halfOhms*halfOhms/3
	return smear{
		centre: shown,
		flats: [3]float64{
			math.Abs(s.gain*perKelvin) * s.halfKelvin,
			shown*s.meterRatio + s.meterOhms,
			s.stepOhms / 2,
		},
		// Nothing is known better than its float64 neighbourhood.
		sigma: math.Sqrt(s.gain*s.gain*variance+s.meterSigmaOhms*s.meterSigmaOhms+s.restRatio*s.restRatio*shown*shown) + 1e-7*shown,
	}
}

// nudge is the relative step of the numerical derivatives: the circuits are so
// smooth that its square is lost.
const nudge = 1e-5
