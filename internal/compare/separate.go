package compare

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"coilkeep/internal/copper"
	"coilkeep/internal/words"
)

// trial is something a buyer can do to find out more.
type trial struct {
	words string
	// ends are the causes that no longer act when it is done.
	ends []Cause
	// settles is true when the coil has the temperature of a thermometer then.
	settles bool
	// kind says what is read.
	kind trialKind
}

type trialKind int

const (
	readsCoil     trialKind = iota // the coil again
	readsResistor                  // a resistor of known value
	readsSerial                    // a serial number
	readsBench                     // the coil, on our bench, at 20 °C
	asks                           // nothing is measured
)

// possibleTrials lists what can be done, the cheapest first.
func possibleTrials() []trial {
	return []trial{
		{words: "read number and unit off the display once more, and say which range the meter was on", ends: []Cause{RangeOrUnit}},
		{words: "say whether the coil was ever mended or rewound", ends: []Cause{Repaired}, kind: asks},
		{words: "read the serial number on the coil", ends: []Cause{OtherCoil}, kind: readsSerial},
		{words: "clip the leads on, take both hands away and measure again", ends: []Cause{ParallelHands}},
		{words: "turn the volume control fully up and measure again", ends: []Cause{ControlPosition}},
		{words: "go away from lamps, transformers and mains cables and measure again", ends: []Cause{MainsHum}},
		{words: "clip on firmly at the soldered ends of the leads and measure again", ends: []Cause{SeriesContact}},
		{words: "let it lie an hour beside a thermometer and measure again", ends: []Cause{Temperature}, settles: true},
		{words: "measure a resistor of known value, 10 kΩ and 1 % or better, with the same meter", ends: []Cause{MeterAccuracy},
			kind: readsResistor},
		{words: "measure this coil alone, with the other one disconnected", ends: []Cause{WiringSeries, WiringParallel, WiringSingle}},
		{words: "free the coil's two wires from everything else and measure on them", ends: []Cause{ParallelControl, ControlPosition}},
		{words: "send it to us, and we measure it on the bench that made its record", kind: readsBench},
	}
}

const resistorOhms = 10e3

// test names the cheapest trial that would tell two causes apart, with what to
// expect of either.
func (t teller) test(w, rival weighed) string {
	for _, one := range possibleTrials() {
		if text, ok := t.outcome(one, w, rival); ok {
			return text
		}
	}
	if t.agrees {
		return t.noTest(w)
	}
	if !w.damage && !rival.damage && w.cause != Unexplained && rival.cause != Unexplained {
		return "Measure once more, an hour beside a thermometer and with a meter that shows one digit more; if that does not agree either, " +
			"send the coil to us."
	}
	return "Only a closer look on our bench can tell this from its nearest rival: please send the coil to us."
}

// noTest says why nothing needs to be tried while the readings agree.
func (t teller) noTest(w weighed) string {
	text := "Measuring once more is not likely to tell this from its nearest rival, and while the readings agree it need not."
	if w.damage {
		text += " If the coil sounds weak or thin, send it to us."
	}
	return text
}

// outcome says what a trial would show under either cause; ok is false when it
// does not tell them apart.
func (t teller) outcome(one trial, w, rival weighed) (text string, ok bool) {
	switch one.kind {
	case readsSerial:
		return t.serialOutcome(one, w, rival)
	case asks:
		return capital(one.words) + ".", t.ended(one, w) != t.ended(one, rival)
	}
	if one.kind != readsBench && !t.ended(one, w) && !t.ended(one, rival) {
		return "", false
	}
	if one.kind == readsBench && (w.cause == Unexplained || rival.cause == Unexplained) {
		return "", false // nobody knows what that would be there
	}
	a, b := t.after(one, w), t.after(one, rival)
	step := func(v float64) float64 { return t.situations[t.subject].stepFor(v, t.setting.TheirsOhms) }
	if math.Abs(a-b) < max(2*step(a), 2*step(b), leastSeparation*a) {
		return "", false
	}
	said := one.words
	if one.settles {
		said += fmt.Sprintf(", at %s on it", words.CelsiusToStep(t.settled(), 1))
	}
	return fmt.Sprintf("%s: %s if %s, %s if %s.", capital(said),
		words.OhmsToStep(a, step(a)), t.supposing(w), words.OhmsToStep(b, step(b)), t.supposing(rival)), true
}

// leastSeparation is the relative difference a buyer sees for certain when the
// same meter measures twice.
const leastSeparation = 0.003

func (t teller) serialOutcome(one trial, w, rival weighed) (text string, ok bool) {
	if w.cause != OtherCoil && rival.cause != OtherCoil || t.in.Ours.Serial == "" {
		return "", false
	}
	return fmt.Sprintf("%s: %s, or another number if it is another coil.", capital(one.words), t.in.Ours.Serial), true
}

// ended says whether a trial ends a cause that acts on the reading spoken of.
func (t teller) ended(one trial, w weighed) bool {
	if !t.actsHere(w) {
		return false
	}
	for _, cause := range w.causes() {
		if slices.Contains(one.ends, cause) {
			return true
		}
	}
	return false
}

// causes are the single causes of a model.
func (w weighed) causes() []Cause {
	if w.cause == Combination {
		return w.parts
	}
	return []Cause{w.cause}
}

// after is what a trial would show under a cause.
func (t teller) after(one trial, w weighed) float64 {
	base := t.situations[t.subject]
	value, _, _ := t.value(w)
	switch one.kind {
	case readsResistor:
		if w.cause == MeterAccuracy {
			return resistorOhms * (1 + value/100)
		}
		return resistorOhms
	case readsBench:
		s := w.apply(base, value)
		return s.coil.ohms20*s.circuit.scale + s.circuit.jointOhms
	}
	before := t.under(w, base, value, nil).middle().centre
	kept := t.under(w, base, value, one.ends)
	told := t.in.Theirs[t.subject].TemperatureCelsius != nil
	if one.settles && (!told || t.ended(one, w)) {
		kept.celsius = t.settled()
		return kept.middle().centre
	}
	shown := t.setting.TheirsOhms
	if !t.ended(one, w) {
		return shown // nothing that matters has changed
	}
	// What the cause leaves open by a little, meter and room, it leaves open
	// both times.
	residual := shown / before
	if math.Abs(residual-1) > leastResidual {
		residual = 1
	}
	return residual * kept.middle().centre
}

// leastResidual is what meter and room may leave open; more than that belongs
// to the cause.
const leastResidual = 0.05

// under is a situation with those causes of a model acting that have not ended.
func (t teller) under(w weighed, s situation, value float64, ended []Cause) situation {
	switch {
	case !t.actsHere(w):
		return s
	case w.cause != Combination && slices.Contains(ended, w.cause):
		return s
	case w.cause != Combination:
		return w.apply(s, value)
	}
	for i, step := range w.steps {
		if step != nil && !slices.Contains(ended, w.parts[i]) {
			s = step(s, value)
		}
	}
	if w.parts[0] == Temperature && !slices.Contains(ended, Temperature) {
		s.celsius = t.remaining(w, value)
	}
	s.halfKelvin = 0
	return s
}

// remaining is the temperature that explains what the other cause of a
// combination leaves.
func (t teller) remaining(w weighed, value float64) float64 {
	s := w.steps[1](t.situations[t.subject], value)
	celsius, ok := solve(func(c float64) float64 { return s.gain*s.there(c) - t.setting.TheirsOhms }, copper.MinCelsius, copper.MaxCelsius)
	if !ok {
		return s.celsius
	}
	return celsius
}

// settled is the temperature a coil is thought to take beside a thermometer.
func (t teller) settled() float64 {
	if told := t.in.Theirs[t.subject].TemperatureCelsius; told != nil {
		return *told
	}
	return copper.ReferenceCelsius
}

func capital(words string) string { return strings.ToUpper(words[:1]) + words[1:] }
