package compare

import "coilkeep/internal/copper"

// How often each cause is met, relative to the others, and how far its
// parameter may go. These are this program's own judgement of what happens when
// people measure coils at home; no source. They are shown with every
// explanation, so that a reader can disagree.
const (
	meterWeight = 40.0
	// Of all meters, so many are worse than told or assumed: a weak battery,
	// long out of calibration.
	badMeterShare   = 0.1
	badMeterRatio   = 0.03
	badMeterTimes   = 3.0
	coldestCelsius  = -10.0 // a parcel in winter, a cold air outlet
	hottestCelsius  = 45.0  // a sunny window, a warm amplifier
	aroundKelvin    = 15.0  // finished coils follow the room within half an hour or more
	controlLowRatio = 0.8   // panel controls are sold at ±20 %
	controlHighRate = 1.2
	downShare       = 0.2 // of controls that are not fully up
	humRatio        = 0.03
	otherRatio      = 0.15
	unlikeMateShare = 0.3 // of pairs are of two designs
	unlikeMateTimes = 2.0
)

// told is the weight of a cause by what was told: nothing, that it should not
// act, or that it may.
type told struct{ unknown, excluded, present float64 }

func (w told) clips(c Clips) float64 {
	switch c {
	case Leads:
		return w.excluded
	case Jack:
		return w.present
	}
	return w.unknown
}

// most is the greatest weight any of the readings gives a cause.
func (in Input) most(weight func(Reading) float64) float64 {
	greatest := 0.0
	for _, r := range in.Theirs {
		greatest = max(greatest, weight(r))
	}
	return greatest
}

// models lists every way the readings may have come about.
func (in Input) models(e evidence) []model {
	all := []model{
		in.meterModel(e),
		in.temperatureModel(),
		in.controlModel(),
		in.positionModel(),
		in.handsModel(),
		contactModel(),
		in.seriesModel(),
		in.parallelModel(),
		in.singleModel(),
		humModel(),
		rangeModel(),
		in.otherModel(),
		repairedModel(),
		in.shortedModel(),
		openModel(),
		unexplainedModel(),
	}
	control, series := in.controlModel(), in.seriesModel()
	for _, c := range []struct {
		with   model
		weight float64
	}{
		{control, control.weight / 6},
		{in.handsModel(), in.handsModel().weight / 8},
		{contactModel(), 0.5},
		{series, series.weight / 8},
		{in.parallelModel(), in.parallelModel().weight / 8},
	} {
		all = append(all, withTemperature(c.with, c.weight))
	}
	all = append(all, in.seriesWithControl(series, control))
	met := all[:0]
	for _, m := range all {
		if m.weight > 0 {
			met = append(met, m)
		}
	}
	return met
}

func (in Input) meterModel(e evidence) model {
	ratio := e.situations[0].meterRatio
	for _, s := range e.situations {
		ratio = max(ratio, s.meterRatio)
	}
	bad := max(badMeterRatio, badMeterTimes*ratio)
	return model{
		cause: MeterAccuracy, weight: meterWeight, acts: onEvery, ownMeter: true,
		parameter: "error of the meter", unit: "%",
		reason: "within what was told or assumed of the meter; one meter in ten is worse, with a weak battery or long out of calibration",
		prior:  constantPieces(piece{-100 * ratio, 100 * ratio, 1 - badMeterShare, false}, piece{-100 * bad, 100 * bad, badMeterShare, false}),
		apply: func(s situation, percent float64) situation {
			s.gain *= 1 + percent/100
			s.meterRatio = 0
			return s
		},
	}
}

// oddCelsius is how cold or hot the copper may have been in one reading without
// the reader knowing.
func (r Reading) oddCelsius() (lowest, highest float64) {
	if r.TemperatureCelsius == nil {
		return coldestCelsius, hottestCelsius
	}
	lowest, highest = r.celsiusRange()
	return max(copper.MinCelsius, min(lowest, *r.TemperatureCelsius-aroundKelvin)),
		min(copper.MaxCelsius, max(highest, *r.TemperatureCelsius+aroundKelvin))
}

func (in Input) temperatureModel() model {
	return model{
		cause: Temperature, acts: onSomeOwn, weight: in.most(func(r Reading) float64 {
			if r.TemperatureCelsius == nil {
				return 20
			}
			return 6
		}),
		parameter: "temperature of the coil", unit: "°C",
		reason: "a coil takes half an hour and more to follow the room: fresh from the post or a cold draught, from a sunny place or a warm " +
			"amplifier it differs from the thermometer",
		prior: func(i int) []piece {
			lowest, highest := in.Theirs[i].oddCelsius()
			return []piece{{lowest, highest, 1, false}}
		},
		apply: func(s situation, celsius float64) situation {
			s.celsius, s.halfKelvin = celsius, 0
			return s
		},
	}
}

// controlPieces are the ranges of ordinary volume controls, or that of the one
// told of.
func (in Input) controlPieces() []piece {
	for _, r := range in.Theirs {
		if r.ControlOhms != nil {
			low, high := r.controlRange()
			return []piece{{low, high, 1, false}}
		}
	}
	var pieces []piece
	for _, ohms := range []float64{250e3, 500e3, 1e6} {
		pieces = append(pieces, piece{controlLowRatio * ohms, controlHighRate * ohms, 1.0 / 3, false})
	}
	return pieces
}

// controlModel puts a control across the coil, and a second one where one is
// there already.
func (in Input) controlModel() model {
	return model{
		cause: ParallelControl, acts: onSomeShared,
		weight:    in.most(func(r Reading) float64 { return told{12, 1.5, 3}.clips(r.Clips) }),
		parameter: "resistance in parallel with the coil", unit: "Ω",
		reason: "ordinary volume and tone controls are 250 kΩ, 500 kΩ or 1 MΩ, each ±20 %",
		prior:  constantPieces(in.controlPieces()...),
		apply: func(s situation, ohms float64) situation {
			if !s.control.none() {
				s.circuit.secondOhms = ohms
			} else {
				s.circuit.controlOhms = ohms
			}
			return s
		},
	}
}

func (in Input) positionModel() model {
	// A control nobody told of is an ordinary one.
	low, high := smallestControlOhms, largestControlOhms
	if pieces := in.controlPieces(); len(pieces) == 1 {
		low, high = pieces[0].low, pieces[0].high
	}
	ordinary := newLoad(low, high, true)
	return model{
		cause: ControlPosition, acts: onSomeOwn,
		weight: in.most(func(r Reading) float64 {
			if r.ControlFull {
				return 0
			}
			return told{2.5, 0, 6}.clips(r.Clips)
		}),
		parameter: "position of the volume control", unit: "% of its resistance",
		reason: "a control that is not fully up puts a part of its own resistance in series with the coil and the rest across it",
		// One that is turned down stops somewhere on the last hundredth.
		prior: constantPieces(piece{1e-4, 1, downShare, true}, piece{1, 99, 1 - downShare, false}),
		apply: func(s situation, percent float64) situation {
			if s.control.none() {
				s.control = ordinary
			}
			s.circuit.position = percent / 100
			return s
		},
	}
}

func (in Input) handsModel() model {
	return model{
		cause: ParallelHands, acts: onSomeOwn,
		weight: in.most(func(r Reading) float64 {
			switch r.Hands {
			case HandsOff:
				return 0.3
			case HandsOn:
				return 0 // counted already
			}
			return 4
		}),
		parameter: "resistance of the body across the probes", unit: "Ω",
		reason: "two hands on the metal of the probes are 100 kΩ to 2 MΩ, less when damp",
		prior:  constantPieces(piece{leastHandsOhms, mostHandsOhms, 1, true}),
		apply: func(s situation, ohms float64) situation {
			s.circuit.handsOhms, s.hands = ohms, load{}
			return s
		},
	}
}

func contactModel() model {
	return model{
		cause: SeriesContact, acts: onSomeOwn, weight: 4,
		parameter: "resistance in series with the coil", unit: "Ω",
		reason: "leads have less than 1 Ω; a tarnished or lacquered end, a worn jack or a loose clip up to a kilohm",
		prior:  constantPieces(piece{0.5, 1000, 1, true}),
		apply: func(s situation, ohms float64) situation {
			s.circuit.seriesOhms += ohms
			return s
		},
	}
}

// wiringWeight says how likely a wiring other than the one told is.
func (in Input) wiringWeight(w told) float64 {
	return in.most(func(r Reading) float64 {
		switch {
		case r.Wiring != "":
			return w.excluded
		case in.Mate != nil:
			return w.present
		}
		return w.unknown
	})
}

// matePieces is what is known of the other coil, at 20 °C.
func (in Input) matePieces() []piece {
	if in.Mate != nil {
		return []piece{point(in.Mate.R20Ohms, 1)}
	}
	r := in.Ours.R20Ohms
	return []piece{
		{r / unlikeMateTimes, unlikeMateTimes * r, unlikeMateShare, true},
		{(1 - unknownMateRatio) * r, (1 + unknownMateRatio) * r, 1 - unlikeMateShare, false},
	}
}

// withMate gives the other coil a resistance at 20 °C; one that is told of
// keeps its uncertainty.
func (in Input) withMate(s situation, ohms float64) situation {
	s.mate.ohms20 = ohms
	if in.Mate == nil {
		s.mate.sigmaRatio = 0
	}
	return s
}

const mateReason = "the other coil of an assembly is as recorded, or within ±20 % of this one when it is not known; three in ten are " +
	"of another design, from half to twice as much"

func (in Input) seriesModel() model {
	return in.wiringModel(WiringSeries, Series, told{1.5, 0.5, 6})
}

func (in Input) parallelModel() model {
	return in.wiringModel(WiringParallel, Parallel, told{1, 0.5, 3})
}

func (in Input) wiringModel(cause Cause, wiring Wiring, w told) model {
	m := model{
		cause: cause, acts: onSomeShared, weight: in.wiringWeight(w),
		parameter: "resistance of the other coil at 20 °C", unit: "Ω",
		reason: mateReason,
		prior:  constantPieces(in.matePieces()...),
		apply: func(s situation, ohms float64) situation {
			s = in.withMate(s, ohms)
			s.circuit.wiring = wiring
			return s
		},
	}
	for _, r := range in.Theirs {
		if r.Wiring == wiring {
			m.weight = 0 // that is what was told
		}
	}
	return m
}

// singleModel is one coil measured in the place of the pair, or the other one
// in the place of this.
func (in Input) singleModel() model {
	m := model{
		cause: WiringSingle, acts: onSomeShared,
		parameter: "resistance of the coil that was measured, at 20 °C", unit: "Ω",
		reason: "one of the two coils, as recorded",
		prior:  constantPieces(point(in.Ours.R20Ohms, 1)),
		apply:  func(s situation, _ float64) situation { return s },
	}
	if in.Mate == nil {
		return m // no weight: nobody knows of a second coil
	}
	m.weight = in.wiringWeight(told{0, 1, 3})
	pieces := []piece{point(in.Mate.R20Ohms, 1)}
	for _, r := range in.Theirs {
		if r.Wiring == Series || r.Wiring == Parallel {
			pieces = []piece{point(in.Ours.R20Ohms, 0.5), point(in.Mate.R20Ohms, 0.5)}
		}
	}
	m.prior = constantPieces(pieces...)
	m.apply = func(s situation, ohms float64) situation {
		s.circuit.wiring, s.circuit.mateAlone = Single, ohms != in.Ours.R20Ohms
		return s
	}
	return m
}

func humModel() model {
	return model{
		cause: MainsHum, acts: onSomeOwn, weight: 1.5,
		parameter: "error by hum", unit: "%",
		reason: "a coil picks up the mains field; a meter that averages for less than a mains period may be off by a few percent and never " +
			"stands still",
		prior: constantPieces(piece{-100 * humRatio, 100 * humRatio, 1, false}),
		apply: func(s situation, percent float64) situation {
			s.gain *= 1 + percent/100
			return s
		},
	}
}

func rangeModel() model {
	var pieces []piece
	for _, factor := range []float64{1e-6, 1e-3, 1e-2, 0.1, 10, 100, 1e3, 1e6} {
		pieces = append(pieces, point(factor, 1.0/8))
	}
	return model{
		cause: RangeOrUnit, acts: onSomeOwn, weight: 3,
		parameter: "factor between what was told and what was there", unit: "times",
		reason: "Ω, kΩ and MΩ mixed up, or a decimal point in the wrong place",
		prior:  constantPieces(pieces...),
		apply: func(s situation, factor float64) situation {
			s.gain *= factor
			return s
		},
	}
}

// otherModel is another coil on their table. Coils told of carry half of it.
func (in Input) otherModel() model {
	r := in.Ours.R20Ohms
	anything := piece{(1 - otherRatio) * r, (1 + otherRatio) * r, 1, false}
	pieces := []piece{anything}
	if n := len(in.Others); n > 0 {
		anything.weight = 0.5
		pieces = []piece{anything}
		for _, other := range in.Others {
			pieces = append(pieces, point(other.R20Ohms, 0.5/float64(n)))
		}
	}
	return model{
		cause: OtherCoil, acts: onEvery, weight: 2,
		parameter: "resistance of the coil they have, at 20 °C", unit: "Ω",
		reason: "coils are swapped in boxes: those named, or any within ±15 % of this one",
		prior:  constantPieces(pieces...),
		apply: func(s situation, ohms float64) situation {
			s.coil.ohms20 = ohms
			return s
		},
	}
}

// unexplainedModel lets a reading be anything, so that causes that do not reach
// it are not called probable for want of better ones.
func unexplainedModel() model {
	return model{
		cause: Unexplained, acts: onSomeOwn, weight: 0.5,
		parameter: "what was on the probes", unit: "Ω",
		reason: "anything a meter can show",
		prior:  constantPieces(piece{minReadingOhms, maxReadingOhms, 1, true}),
		apply: func(s situation, ohms float64) situation {
			s.coil.ohms20, s.coil.alpha, s.coil.alphaSigma = ohms, 0, 0
			s.circuit = circuit{scale: 1, wiring: Single, position: 1}
			s.control, s.hands = load{}, load{}
			return s
		},
	}
}

// withTemperature combines a cause with a coil at an odd temperature. The
// temperature is averaged over; the other cause keeps its parameter.
func withTemperature(m model, weight float64) model {
	inner := m.apply
	m.parts, m.cause = []Cause{Temperature, m.cause}, Combination
	m.steps = []func(situation, float64) situation{nil, inner}
	m.acts, m.weight = onSomeOwn, weight
	m.apply = func(s situation, value float64) situation {
		s = inner(s, value)
		s.celsius, s.halfKelvin = (s.oddLow+s.oddHigh)/2, (s.oddHigh-s.oddLow)/2
		return s
	}
	return m
}

// seriesWithControl is both coils in series behind a control.
func (in Input) seriesWithControl(series, control model) model {
	mateOhms := in.Ours.R20Ohms
	if in.Mate != nil {
		mateOhms = in.Mate.R20Ohms
	}
	m := control
	m.cause, m.parts = Combination, []Cause{WiringSeries, ParallelControl}
	m.weight = min(series.weight, control.weight) / 4
	inSeries := func(s situation, _ float64) situation {
		s.mate.ohms20 = mateOhms
		s.circuit.wiring = Series
		return s
	}
	m.steps = []func(situation, float64) situation{inSeries, control.apply}
	m.apply = func(s situation, ohms float64) situation { return control.apply(inSeries(s, ohms), ohms) }
	return m
}
