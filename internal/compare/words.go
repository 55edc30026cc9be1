package compare

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"coilkeep/internal/copper"
	"coilkeep/internal/words"
)

// sentence says what the readings imply if this cause is at work.
func (t teller) sentence(w weighed, value, low, high float64) string {
	degrees := func(v float64) string { return words.CelsiusToStep(v, 1) }
	span := func(format func(float64) string) string {
		if a, b := format(low), format(high); a != b {
			return fmt.Sprintf("%s (%s to %s)", format(value), a, b)
		}
		return format(value)
	}
	switch w.cause {
	case MeterAccuracy:
		return fmt.Sprintf("Nothing out of the ordinary is at work; the meter would be off by %s.", span(words.PercentRoughly))
	case Temperature:
		return fmt.Sprintf("The coil was at %s when it was measured.", span(degrees))
	case ParallelControl:
		if t.in.Theirs[t.subject].Clips == Jack {
			return fmt.Sprintf("A second volume or tone control, of %s, was connected across the coil.", span(words.OhmsRoughly))
		}
		return fmt.Sprintf("A volume or tone control of %s was connected across the coil.", span(words.OhmsRoughly))
	case ControlPosition:
		if value < 1 {
			return "The coil was measured through a volume control that was turned down all the way."
		}
		return fmt.Sprintf("The coil was measured through a volume control that was at %s of its resistance, not fully up.",
			span(words.PercentRoughly))
	case ParallelHands:
		return fmt.Sprintf("Fingers on both probes put %s across the coil.", span(words.OhmsRoughly))
	case SeriesContact:
		return fmt.Sprintf("A poor contact or long lead added %s.", span(words.OhmsRoughly))
	case WiringSeries:
		return fmt.Sprintf("Both coils were measured in series, the other one having %s at 20 °C.", span(words.OhmsRoughly))
	case WiringParallel:
		return fmt.Sprintf("Both coils were measured in parallel, the other one having %s at 20 °C.", span(words.OhmsRoughly))
	case WiringSingle:
		return fmt.Sprintf("One coil alone was measured, that of %s at 20 °C.", words.OhmsRoughly(value))
	case MainsHum:
		return fmt.Sprintf("Hum from the mains put the meter off by %s.", span(words.PercentRoughly))
	case RangeOrUnit:
		return fmt.Sprintf("A decimal point or unit slipped: %s was meant.",
			words.OhmsToStep(t.setting.TheirsOhms/value, t.situations[t.subject].stepOhms/value))
	case OtherCoil:
		return t.otherSentence(value, span(words.OhmsRoughly))
	case Repaired:
		return fmt.Sprintf("The coil was mended or rewound since we measured it, and changed by %s.", span(words.PercentRoughly))
	case ShortedTurns:
		return t.shortedSentence(value, low, high, span(words.PercentRoughly))
	case OpenWinding:
		return fmt.Sprintf("The winding or a joint inside is partly broken and adds %s.", span(words.OhmsRoughly))
	case Combination:
		return t.combinationSentence(w, value)
	default:
		return fmt.Sprintf("Something not thought of here: %s was on the probes.", words.OhmsRoughly(value))
	}
}

func (t teller) otherSentence(value float64, span string) string {
	for _, other := range t.in.Others {
		if other.R20Ohms == value && other.Serial != "" {
			return fmt.Sprintf("Coil %s was measured, which has %s at 20 °C.", other.Serial, words.OhmsToStep(value, 1))
		}
	}
	text := fmt.Sprintf("Another coil was measured, of %s at 20 °C.", span)
	nearest, distance := "", math.Inf(1)
	for _, other := range t.in.Others {
		if d := math.Abs(other.R20Ohms - value); d < distance && other.Serial != "" {
			nearest, distance = fmt.Sprintf(" The nearest one known is %s, %s.", other.Serial, words.OhmsToStep(other.R20Ohms, 1)), d
		}
	}
	return text + nearest
}

func (t teller) shortedSentence(value, low, high float64, span string) string {
	if value > mostShortPercent {
		return "The winding is shorted from end to end, or its two wires touch each other."
	}
	if n := float64(t.in.Ours.Turns); n > 0 {
		return fmt.Sprintf("About %s of its %.0f turns are shorted (%s to %s), %s of the winding.",
			turns(value/100*n), n, turns(low/100*n), turns(high/100*n), words.PercentRoughly(value))
	}
	return fmt.Sprintf("Part of the turns are shorted: %s of the winding.", span)
}

// turns writes a number of turns to two significant digits.
func turns(n float64) string {
	step := math.Pow(10, max(0, math.Floor(math.Log10(max(n, 1)))-1))
	return fmt.Sprintf("%.0f", math.Round(n/step)*step)
}

func (t teller) combinationSentence(w weighed, value float64) string {
	other := t.supposingCause(w.parts[1], value)
	if w.parts[0] != Temperature {
		return fmt.Sprintf("Two things at once: both coils were in series, and %s (%s).", other, words.Ohms(value))
	}
	return fmt.Sprintf("Two things at once: %s (%s of %.3g %s), and the coil was at %s.", other, w.parameter, value, w.unit,
		words.CelsiusToStep(t.remaining(w, value), 1))
}

// supposing is a cause as the end of a sentence that begins with "if".
func (t teller) supposing(w weighed) string {
	value, _, _ := t.value(w)
	if w.cause == Combination {
		return fmt.Sprintf("%s and %s", t.supposingCause(w.parts[0], value), t.supposingCause(w.parts[1], value))
	}
	if w.cause == Temperature && value < t.settled() {
		return "it was cold"
	}
	return t.supposingCause(w.cause, value)
}

func (t teller) supposingCause(cause Cause, value float64) string {
	switch cause {
	case MeterAccuracy:
		return "only the meter is off"
	case Temperature:
		if t.setting.EN < 0 {
			return "it was cold"
		}
		return "it was warm"
	case ParallelControl:
		return "a volume control was in circuit"
	case ControlPosition:
		return "the volume control was turned down"
	case ParallelHands:
		return "fingers were on the probes"
	case SeriesContact:
		return "a contact was poor"
	case WiringSeries:
		return "both coils were in series"
	case WiringParallel:
		return "both coils were in parallel"
	case WiringSingle:
		return "one of the two coils was measured alone"
	case MainsHum:
		return "hum disturbed the meter"
	case RangeOrUnit:
		return "range or unit slipped"
	case OtherCoil:
		return "it is another coil"
	case Repaired:
		return "the coil was rewound"
	case ShortedTurns:
		return "turns are shorted"
	case OpenWinding:
		return "the winding is partly broken"
	default:
		return "something else is at work"
	}
}

// meaning says what the E_n score means here: its size is how many times what both
// leave open the difference is.
func (r Result) meaning() string {
	difference, times := difference(r.TheirsOhms/r.ExpectedOhms), fmt.Sprintf("%.2f", math.Abs(r.EN))
	if r.Agrees {
		return fmt.Sprintf("The two agree: %s is %s times what both leave open. "+
			"The same wire is on the coil, as far as this shows; it is no proof of a sound coil, because one shorted turn in thousands moves "+
			"the resistance by about a hundredth of a percent.",
			difference, times)
	}
	return fmt.Sprintf("The two do not agree: %s is %s times what both leave open. Something besides the accuracy of the meters is %sat work.",
		difference, times, r.probably())
}

// probably softens what is said of readings that do not agree: empty where the
// meter alone hardly explains them.
func (r Result) probably() string {
	const hardly = 0.05
	for _, x := range r.Explanations {
		if x.Cause == MeterAccuracy && x.Probability >= hardly {
			return "probably "
		}
	}
	return ""
}

// difference writes how far two values are apart.
func difference(ratio float64) string {
	switch {
	case ratio > 2:
		return fmt.Sprintf("a ratio of %s to 1", threeDigitsOf(ratio))
	case ratio < 0.5:
		return fmt.Sprintf("a ratio of 1 to %s", threeDigitsOf(1/ratio))
	}
	return "a difference of " + words.PercentSigned(ratio-1, 1)
}

// threeDigitsOf writes v, 1 or more, to three significant digits.
func threeDigitsOf(v float64) string {
	step := threeDigits(v)
	return strconv.FormatFloat(math.Round(v/step)*step, 'f', max(0, -int(math.Round(math.Log10(step)))), 64)
}

// cautions stand in every letter.
const cautions = "Please unplug the instrument from the amplifier before you measure or open anything. " +
	"Valve amplifiers hold dangerous voltage even when switched off; leave anything inside one, and soldering you are not sure of, to a " +
	"qualified person."

// answer writes a letter to the buyer: neutral, without blame, true.
func (in Input) answer(r Result) string {
	theirs := in.Theirs[r.Reading]
	shown := words.OhmsToStep(r.TheirsOhms, theirs.ResolutionOhms)
	name := "your coil"
	if in.Ours.Serial != "" {
		name = "coil " + in.Ours.Serial
	}
	var b strings.Builder
	fmt.Fprintf(&b, "Thank you for measuring and for telling us.\n\n")
	fmt.Fprintf(&b, "We recorded %s at 20 °C for %s. Copper has about %.2f %% more resistance for every degree it is warmer, so the same "+
		"coil reads differently in a cold and in a warm room. ",
		words.OhmsWithin(in.Ours.R20Ohms, in.Ours.ExpandedUncertaintyOhms), name, 100*in.Ours.winding().alpha)
	fmt.Fprintf(&b, "%s, a perfect meter would have shown %s to %s. You read %s.", theirs.conditions(),
		words.OhmsToStep(r.ExpectedLowOhms, r.StepOhms()), words.OhmsToStep(r.ExpectedHighOhms, r.StepOhms()), shown)
	b.WriteString(in.others(r))
	b.WriteString(in.Ours.bounded())
	b.WriteString("\n\n" + r.verdictParagraph(theirs))
	fmt.Fprintf(&b, "\n\n%s\n\n%s\n", r.Damage.Advice, cautions)
	if len(r.Assumptions) > 0 {
		fmt.Fprintf(&b, "\nWe took for granted, because we do not know better:\n")
		for _, a := range r.Assumptions {
			fmt.Fprintf(&b, "- %s\n", a)
		}
		b.WriteString("If any of this was different, tell us and we look again.\n")
	}
	return b.String()
}

// ordinaryDifferenceKelvin is how far the place of a coil is from the probe as
// benches are set up: a bound no wider says nothing of the coil's own warmth.
const ordinaryDifferenceKelvin = 0.5

// bounded says that the uncertainty of a record stems from a bound on the warmth
// of the coil: so it is by the first formula of package r20. "" for others.
func (r Record) bounded() string {
	if r.Measured == nil || r.Measured.CopperExcessUncertaintyKelvin > 0 ||
		r.Measured.CoilDifferenceHalfWidthKelvin <= ordinaryDifferenceKelvin {
		return ""
	}
	return fmt.Sprintf(" When we measured it, its wire was only known to be within %.2g K of our thermometer, so that our uncertainty is "+
		"a bound and not an estimate: "+
		"if the coil was still a little warm then, its true value lies towards the lower end.", r.Measured.CoilDifferenceHalfWidthKelvin)
}

// others tells of the readings besides the one that is furthest off.
func (in Input) others(r Result) string {
	var b strings.Builder
	for i, setting := range r.Settings {
		if i == r.Reading {
			continue
		}
		verdict := "does not agree"
		if setting.Agrees {
			verdict = "agrees"
		}
		fmt.Fprintf(&b, " You also read %s, where we expected %s to %s; that %s.",
			words.OhmsToStep(setting.TheirsOhms, in.Theirs[i].ResolutionOhms),
			words.OhmsToStep(setting.ExpectedLowOhms, setting.StepOhms()), words.OhmsToStep(setting.ExpectedHighOhms, setting.StepOhms()),
			verdict)
	}
	return b.String()
}

func (r Reading) conditions() string {
	where := ""
	if r.Clips == Jack {
		where = ", through the controls"
	}
	if r.TemperatureCelsius == nil {
		return "In an ordinary room" + where
	}
	return "At " + words.Celsius(*r.TemperatureCelsius) + where
}

func (r Result) verdictParagraph(theirs Reading) string {
	if r.Agrees {
		return "The two agree within what your meter and ours can promise together: as far as this shows, there is as much wire on the coil " +
			"as we recorded. " + r.implied(theirs)
	}
	var b strings.Builder
	fmt.Fprintf(&b, "That is further apart than two meters should be, so something else %splays a part. ", r.probably())
	first := r.Explanations[0]
	fmt.Fprintf(&b, "What fits best (%s): %s", first.Words, lowerFirst(first.Sentence))
	// That nobody thought of the cause is nothing to write to a buyer.
	if len(r.Explanations) > 1 && r.Explanations[1].Cause != Unexplained {
		next := r.Explanations[1]
		fmt.Fprintf(&b, " Next (%s): %s", next.Words, lowerFirst(next.Sentence))
	}
	fmt.Fprintf(&b, "\n\nThis would tell: %s", lowerFirst(first.Test))
	return b.String()
}

// implied says what temperature the reading belongs to, where there is one and
// nobody told another.
func (r Result) implied(theirs Reading) string {
	if theirs.TemperatureCelsius != nil || r.ImpliedCelsius == nil || math.Abs(*r.ImpliedCelsius-copper.ReferenceCelsius) > 20 {
		return "A resistance does not tell everything about a coil, but there is nothing unusual in what you read."
	}
	return fmt.Sprintf("Your number is what the coil has at about %s.", words.CelsiusToStep(*r.ImpliedCelsius, 1))
}

func lowerFirst(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToLower(text[:1]) + text[1:]
}
