package compare

import (
	"fmt"
	"math"
	"strings"

	"coilkeep/internal/copper"
	"coilkeep/internal/uncertainty"
	"coilkeep/internal/words"
)

// ThermometerKelvin is how far, either way, the copper is taken to be from a
// thermometer beside it when nobody tells (common practice, no source).
const ThermometerKelvin = 1.0

// What is taken for granted when nobody tells. All common practice without a
// source, on the wide side, and always listed.
const (
	roomLowCelsius, roomHighCelsius = 15.0, 30.0
	handheldPercent                 = 0.8
	handheldDigits                  = 2.0
	// Panel controls are sold at ±20 %, better ones at ±10 %.
	controlTolerancePercent = 20.0
	// Ordinary controls are of 250 kΩ, 500 kΩ and 1 MΩ.
	smallestControlOhms, largestControlOhms = 0.8 * 250e3, 1.2 * 1e6
	// The last digit of an ordinary handheld on its lowest range: one or two
	// figures there are all it shows, and nobody has rounded.
	finestDigitOhms = 0.1
	// Two hands across the probes.
	leastHandsOhms, mostHandsOhms = 100e3, 2e6
)

// normalFactor makes an expanded uncertainty of a standard one with infinite
// degrees of freedom.
var normalFactor = uncertainty.CoverageFactor(0)

// winding turns a record into what the models compute with.
func (r Record) winding() winding {
	w := winding{
		ohms20:       r.R20Ohms,
		alpha:        r.AlphaPerKelvin,
		alphaSigma:   r.AlphaStandardUncertaintyPerKelvin,
		knownCelsius: copper.ReferenceCelsius,
		sigmaRatio:   r.ExpandedUncertaintyOhms / normalFactor / r.R20Ohms,
	}
	if w.alpha == 0 {
		w.alpha = float64(copper.Standard)
	}
	if w.alphaSigma == 0 {
		w.alphaSigma = copper.StandardUncertaintyPerKelvin
	}
	if m := r.Measured; m != nil {
		// The coefficient's part vanishes where the coil was measured.
		w.alpha, w.alphaSigma, w.knownCelsius = m.AlphaPerKelvin, m.AlphaStandardUncertaintyPerKelvin, m.TemperatureCelsius
		part := (w.knownCelsius - copper.ReferenceCelsius) * w.alphaSigma / w.factor(w.knownCelsius)
		w.sigmaRatio = math.Sqrt(max(0, w.sigmaRatio*w.sigmaRatio-part*part))
	}
	return w
}

// celsiusRange is where the copper was: as told, or an ordinary room.
func (r Reading) celsiusRange() (lowest, highest float64) {
	if r.TemperatureCelsius == nil {
		return roomLowCelsius, roomHighCelsius
	}
	half := ThermometerKelvin
	if r.TemperatureUncertaintyKelvin != nil {
		half = *r.TemperatureUncertaintyKelvin
	}
	return *r.TemperatureCelsius - half, *r.TemperatureCelsius + half
}

// assumptions collects sentences with the readings they are about.
type assumptions struct {
	reading int // the one being resolved, from 0; -1 for all of them
	texts   []string
	about   map[string][]int
}

func (a *assumptions) add(format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	if _, known := a.about[text]; !known {
		a.texts = append(a.texts, text)
	}
	a.about[text] = append(a.about[text], a.reading)
}

// list is the sentences; one that is not about every reading names those it is
// about.
func (a *assumptions) list(theirs []Reading) []string {
	list := make([]string, len(a.texts))
	for i, text := range a.texts {
		about := a.about[text]
		if about[0] < 0 || len(about) == len(theirs) {
			list[i] = text
			continue
		}
		var names []string
		for _, reading := range about {
			names = append(names, theirs[reading].name(reading))
		}
		list[i] = strings.Join(names, ", ") + ": " + text
	}
	return list
}

// name tells a reading from the others: "reading 1 (6.28 kΩ)".
func (r Reading) name(i int) string {
	return fmt.Sprintf("reading %d (%s)", i+1, words.OhmsToStep(r.Ohms, r.ResolutionOhms))
}

// resolve turns what is known of the readings into situations and lists what
// had to be assumed.
func (in Input) resolve() ([]situation, []string) {
	list := assumptions{reading: -1, about: map[string][]int{}}
	coil, mate := in.Ours.winding(), in.mate(&list)
	situations := make([]situation, len(in.Theirs))
	for i, r := range in.Theirs {
		list.reading = i
		s := situation{coil: coil, mate: mate, gain: 1, circuit: circuit{scale: 1, wiring: r.Wiring, position: 1}}
		r.resolveTemperature(&s, &list)
		r.resolveMeter(&s, &list)
		r.resolveClips(&s, &list)
		r.resolveWiring(&s, in.Mate != nil, &list)
		r.resolveHands(&s, &list)
		situations[i] = s
	}
	return situations, list.list(in.Theirs)
}

// mate is the other coil of the assembly, or one much like ours if there is one
// nobody told of.
func (in Input) mate(list *assumptions) winding {
	if in.Ours.AlphaPerKelvin == 0 && in.Ours.Measured == nil {
		list.add("the wire is annealed copper, %g per kelvin at 20 °C", float64(copper.Standard))
	}
	if in.Mate != nil {
		return in.Mate.winding()
	}
	w := in.Ours.winding()
	w.sigmaRatio = unknownMateRatio / math.Sqrt(3)
	return w
}

// unknownMateRatio is how far the other coil of an assembly may be from ours,
// either way, when nothing is told of it.
const unknownMateRatio = 0.2

func (r Reading) resolveTemperature(s *situation, list *assumptions) {
	lowest, highest := r.celsiusRange()
	s.celsius, s.halfKelvin = (lowest+highest)/2, (highest-lowest)/2
	s.oddLow, s.oddHigh = r.oddCelsius()
	switch {
	case r.TemperatureCelsius == nil:
		list.add("the coil's temperature was not told: an ordinary room, %g to %g °C", lowest, highest)
	case r.TemperatureUncertaintyKelvin == nil:
		list.add("the coil had lain beside the thermometer until it was within ±%g K of it", ThermometerKelvin)
	}
}

func (r Reading) resolveMeter(s *situation, list *assumptions) {
	s.stepOhms = r.ResolutionOhms
	if s.stepOhms == 0 {
		s.stepOhms = threeDigits(r.Ohms)
		list.add("the meter showed three digits, steps of %s", words.Ohms(s.stepOhms))
	}
	s.digitOhms = min(s.stepOhms, max(threeDigits(r.Ohms), finestDigitOhms))
	if r.MeterExpandedUncertaintyOhms != nil {
		s.meterSigmaOhms = *r.MeterExpandedUncertaintyOhms / normalFactor
		return
	}
	if s.digitOhms < s.stepOhms {
		list.add("%s was rounded when it was told, by up to %s; the meter itself showed three digits",
			words.OhmsToStep(r.Ohms, s.stepOhms), words.Ohms(s.stepOhms/2))
	}
	percent, digits := handheldPercent, handheldDigits
	switch {
	case r.MeterPercent == nil && r.MeterDigits == nil:
		list.add("the meter is an ordinary handheld, good to ±(%g %% + %g digits)", percent, digits)
	case r.MeterPercent == nil:
		list.add("the meter's percentage was not told: ±%g %% of the reading, an ordinary handheld's", percent)
	case r.MeterDigits == nil:
		list.add("the digits of the meter's accuracy were not told: %g steps of the last digit", digits)
	}
	if r.MeterPercent != nil {
		percent = *r.MeterPercent
	}
	if r.MeterDigits != nil {
		digits = *r.MeterDigits
	}
	s.meterRatio, s.meterOhms = percent/100, digits*s.digitOhms
}

func (r Reading) resolveClips(s *situation, list *assumptions) {
	switch {
	case r.CableOhms != nil:
		s.circuit.seriesOhms = *r.CableOhms
	default:
		list.add("leads and cable add less than 1 Ω, which is left out")
	}
	switch r.Clips {
	case "":
		list.add("the clips were on the coil's own two wires, with nothing else connected")
	case Jack:
		r.resolveControl(s, list)
	}
}

func (r Reading) resolveControl(s *situation, list *assumptions) {
	if !r.ControlFull {
		list.add("the volume control was fully up")
	}
	if r.ControlOhms == nil {
		s.control = newLoad(smallestControlOhms, largestControlOhms, true)
		list.add("the volume control's value was not told: anything from %s to %s",
			words.Ohms(smallestControlOhms), words.Ohms(largestControlOhms))
		return
	}
	if r.ControlTolerancePercent == nil {
		list.add("the volume control is good to ±%g %%", controlTolerancePercent)
	}
	low, high := r.controlRange()
	s.control = newLoad(low, high, false)
}

// controlRange is that of a control whose value was told.
func (r Reading) controlRange() (lowOhms, highOhms float64) {
	percent := controlTolerancePercent
	if r.ControlTolerancePercent != nil {
		percent = *r.ControlTolerancePercent
	}
	return *r.ControlOhms * (1 - percent/100), *r.ControlOhms * (1 + percent/100)
}

func (r Reading) resolveWiring(s *situation, mateKnown bool, list *assumptions) {
	if r.Wiring != "" {
		return
	}
	s.circuit.wiring = Single
	if mateKnown {
		list.add("this coil alone was measured, not the pair")
	} else {
		list.add("no second coil was connected with this one")
	}
}

func (r Reading) resolveHands(s *situation, list *assumptions) {
	switch r.Hands {
	case "":
		list.add("no fingers touched both probes")
	case HandsOn:
		s.hands = newLoad(leastHandsOhms, mostHandsOhms, true)
		list.add("two hands on the probes are %s to %s in parallel", words.Ohms(leastHandsOhms),
			words.Ohms(mostHandsOhms))
	}
}
