package compare

import (
	"fmt"
	"math"
	"strings"

	"coilkeep/internal/words"
)

// OpenPath: between the probes and the coil the way is open. It stands in
// answers to an overload only.
const OpenPath Cause = "open-path"

// Overload is what there is to say when a meter showed no resistance but that it
// cannot show one. Without a number nothing can be weighed, so the causes have no
// probability: they stand in the order in which a test is cheapest.
type Overload struct {
	// What a perfect meter would have shown them, on a range that holds it, ohms.
	ExpectedOhms     float64 `json:"expected_ohms"`
	ExpectedLowOhms  float64 `json:"expected_low_ohms"`  // lower end of its 95 % interval, ohms
	ExpectedHighOhms float64 `json:"expected_high_ohms"` // upper end, ohms
	// RangeOhms is the smallest of the usual ranges, 200 Ω, 2 kΩ, 20 kΩ and so on,
	// that holds it (common practice, no source).
	RangeOhms float64 `json:"range_ohms"`
	// In the order to try; without a number none has a probability.
	Causes      []OverloadCause `json:"causes"`
	Assumptions []string        `json:"assumptions"` // what was taken for granted because nobody told
	// Answer is a letter to the buyer, to be edited before it is sent.
	Answer string `json:"answer"`
}

// StepOhms is the last place in which the expected range says anything.
func (o Overload) StepOhms() float64 {
	return Setting{ExpectedExpandedUncertaintyOhms: (o.ExpectedHighOhms - o.ExpectedLowOhms) / 2}.StepOhms()
}

// OverloadCause is one reason for an overload, and the test that tells.
type OverloadCause struct {
	Cause    Cause  `json:"cause"`    // what may have happened
	Damage   bool   `json:"damage"`   // whether it is a fault of the coil
	Sentence string `json:"sentence"` // what it would be
	Test     string `json:"test"`     // what tells
}

// AnswerOverload answers for a meter that showed an overload. in.Theirs is one
// reading, whose value is not looked at. It returns an *InputError when an input
// cannot be true.
func AnswerOverload(in Input) (Overload, error) {
	if len(in.Theirs) != 1 {
		return Overload{}, &InputError{"theirs", fmt.Sprintf("has %d readings; an overload is answered by itself", len(in.Theirs))}
	}
	theirs := in.Theirs[0]
	theirs.Ohms, theirs.ResolutionOhms = in.Ours.R20Ohms, 0 // what is expected does not hang on it
	in.Theirs = []Reading{theirs}
	if err := in.check(); err != nil {
		return Overload{}, err
	}
	situations, assumed := in.resolve()
	setting, err := situations[0].set(0, theirs.Ohms, in.Seed, Trials)
	if err != nil {
		return Overload{}, err
	}
	o := Overload{ExpectedOhms: setting.ExpectedOhms, ExpectedLowOhms: setting.ExpectedLowOhms, ExpectedHighOhms: setting.ExpectedHighOhms,
		Assumptions: assumed}
	// A range of 20 kΩ shows 19.99 kΩ at the most.
	o.RangeOhms = 2 * math.Pow(10, math.Ceil(math.Log10(o.ExpectedHighOhms/1.999)))
	shown := fmt.Sprintf("%s to %s", words.OhmsToStep(o.ExpectedLowOhms, o.StepOhms()),
		words.OhmsToStep(o.ExpectedHighOhms, o.StepOhms()))
	o.Causes = theirs.overloadCauses(o.RangeOhms, shown)
	o.Answer = in.overloadLetter(o, shown)
	return o, nil
}

func (r Reading) overloadCauses(rangeOhms float64, shown string) []OverloadCause {
	suitable, below := words.Ohms(rangeOhms), words.Ohms(rangeOhms/10)
	causes := []OverloadCause{
		{RangeOrUnit, false, fmt.Sprintf("the meter may be set to a range below the coil: on %s or less it cannot show it", below),
			fmt.Sprintf("set the meter to %s or to automatic; it should then show %s", suitable, shown)},
		{SeriesContact, false, "the probes may not touch bare metal: winding wire is enamelled, and wire ends tarnish; or a test lead is broken",
			"hold the probes together first, which must read next to nothing; then press them firmly on the soldered ends of the leads, never on " +
				"the winding wire"},
	}
	if r.Clips != Leads {
		causes = append(causes, OverloadCause{OpenPath, false,
			"between the jack and the coil the way may be open: a plug not pushed home, a broken cable, a switch that leaves the coil out",
			"measure on the coil's own two wires with nothing else connected"})
	}
	return append(causes, OverloadCause{OpenWinding, true, r.brokenWinding(),
		fmt.Sprintf("when the range of %s, on the soldered ends, still gives an overload, and the probes held together do not, the coil is "+
			"open and should come back", suitable)})
}

// brokenWinding says what may be broken, and what it would show all the same.
func (r Reading) brokenWinding() string {
	broken := "the winding, or a joint between it and a lead, may be broken"
	switch r.Wiring {
	case Series:
		broken += ", in either of the two coils"
	case Parallel:
		broken += "; but of two coils in parallel both would have to be, or the whole one would show"
		if r.Clips == Jack {
			return broken + ", and with both broken a jack with a volume control shows about the value of the control, and no overload"
		}
	}
	if r.Clips == Jack {
		broken += "; but at a jack with a volume control a broken coil shows about the value of the control, and no overload"
	}
	return broken
}

// overloadLetter writes the answer to the buyer.
func (in Input) overloadLetter(o Overload, shown string) string {
	name := "your coil"
	if in.Ours.Serial != "" {
		name = "coil " + in.Ours.Serial
	}
	var b strings.Builder
	fmt.Fprintf(&b, "Thank you for measuring and for telling us.\n\nWe recorded %s at 20 °C for %s. %s, a meter should show %s. Yours "+
		"showed an overload, which means that it found no resistance it could show. Please try this, in order:\n\n",
		words.OhmsWithin(in.Ours.R20Ohms, in.Ours.ExpandedUncertaintyOhms), name, in.Theirs[0].conditions(), shown)
	for i, c := range o.Causes {
		fmt.Fprintf(&b, "%d. %s. %s.\n", i+1, capital(c.Sentence), capital(c.Test))
	}
	b.WriteString("\n" + cautions + "\n\nTell us what you see, and we look again.\n")
	return b.String()
}
