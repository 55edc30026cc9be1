package compare

import (
	"strings"
	"testing"
)

// A volume control that is all the way down is told in words, not as a hundredth
// of a thousandth; so is a short from end to end.
func TestSentencesAtTheEnd(t *testing.T) {
	down := must(t, Input{Ours: coil, Theirs: []Reading{{Ohms: 2, ResolutionOhms: 0.1, Clips: Jack}}})
	short := must(t, Input{Ours: coil, Theirs: []Reading{{Ohms: 0.4, ResolutionOhms: 0.1, Clips: Leads}}})
	for got, want := range map[string]string{
		difference(0.4 / 5545):         "a ratio of 1 to 13900",
		difference(181.3):              "a ratio of 181 to 1",
		difference(0.4):                "a ratio of 1 to 2.50",
		down.Explanations[0].Sentence:  "The coil was measured through a volume control that was turned down all the way.",
		short.Explanations[0].Sentence: "The winding is shorted from end to end, or its two wires touch each other.",
	} {
		if got != want {
			t.Errorf("says %q, want %q", got, want)
		}
	}
	if want := "Turn the volume control fully up and measure again: 6.5"; !strings.HasPrefix(down.Explanations[0].Test, want) {
		t.Errorf("test %q, want %q…", down.Explanations[0].Test, want)
	}
}

// A meter that showed 6.6 Ω would show a sound coil on another range: in three
// digits, not in tenths of an ohm.
func TestDigitsOfAnotherRange(t *testing.T) {
	r := must(t, Input{Ours: coil, Theirs: []Reading{{Ohms: 6.6, ResolutionOhms: 0.1}}})
	for _, text := range []string{r.Explanations[0].Test, r.Damage.Advice, r.Answer} {
		for _, bad := range []string{"6.60000", "6.5199", "6.7041"} {
			if strings.Contains(text, bad) {
				t.Errorf("%q has digits the meter does not show", text)
			}
		}
	}
	if want := "6.60 kΩ if range or unit slipped"; !strings.Contains(r.Explanations[0].Test, want) {
		t.Errorf("test %q lacks %q", r.Explanations[0].Test, want)
	}
}

// What agrees is not sent back to be measured once more, and a reading at a known
// temperature is what it is again while nothing changes.
func TestNothingToTryWhileReadingsAgree(t *testing.T) {
	r := must(t, Input{Ours: coil, Theirs: []Reading{{Ohms: 6610, ResolutionOhms: 10, TemperatureCelsius: new(20.0), MeterPercent: new(0.5),
		MeterDigits: new(2.0)}}})
	for _, x := range r.Explanations {
		if !x.Damage && strings.Contains(x.Test, "send") {
			t.Errorf("%s, agreeing: %q", x.Cause, x.Test)
		}
	}
	off := must(t, Input{Ours: coil, Theirs: []Reading{{Ohms: 6480, ResolutionOhms: 10, TemperatureCelsius: new(21.0), Clips: Jack,
		ControlOhms: new(500e3)}}})
	for _, x := range off.Explanations {
		if x.Cause == Temperature && !strings.Contains(x.Test, "6.48 kΩ if only the meter is off") {
			t.Errorf("temperature: %q", x.Test)
		}
	}
}

// No probability is told of a fault that only stands for what nothing explains.
func TestFaultOfUnexplained(t *testing.T) {
	for _, test := range []struct {
		name string
		r    Reading
		want bool
	}{
		{"nothing fits", Reading{Ohms: 9e8, ResolutionOhms: 1e8, Clips: Leads}, true},
		{"a short", Reading{Ohms: 0.4, ResolutionOhms: 0.1, Clips: Leads}, false},
		{"agreeing", Reading{Ohms: 6612, ResolutionOhms: 1, TemperatureCelsius: new(20.0)}, false},
	} {
		if d := must(t, Input{Ours: coil, Theirs: []Reading{test.r}}).Damage; d.OfUnexplained() != test.want {
			t.Errorf("%s: of what nothing explains %v, want %v: %+v", test.name, d.OfUnexplained(), test.want, d)
		}
	}
}

// Where the meter is what fits best, another meter is asked for, not the coil.
func TestAnotherMeterBeforeTheCoil(t *testing.T) {
	r := must(t, Input{Ours: Record{R20Ohms: 5491, ExpandedUncertaintyOhms: 52}, Theirs: []Reading{
		{Ohms: 5200, ResolutionOhms: 10, MeterDigits: new(22.0)}, {Ohms: 5480, ResolutionOhms: 10, TemperatureCelsius: new(20.0), Clips: Leads}}})
	first := r.Explanations[0]
	if r.Agrees || first.Cause != MeterAccuracy || !strings.Contains(first.Test, "a meter that shows one digit more") {
		t.Errorf("agrees %v, first %s: %q", r.Agrees, first.Cause, first.Test)
	}
	if !strings.Contains(r.Meaning, "is probably at work") {
		t.Errorf("meaning %q", r.Meaning)
	}
}

// A letter speaks to the buyer, never of them.
func TestLetterSpeaksToTheBuyer(t *testing.T) {
	for _, ohms := range []float64{0.4, 6.6, 3300, 6280, 6612, 7105, 7400, 13200, 1.2e6} {
		r := must(t, Input{Ours: coil, Others: []Record{{Serial: "HN-0050", R20Ohms: 7105}},
			Theirs: []Reading{{Ohms: ohms, ResolutionOhms: threeDigits(ohms), TemperatureCelsius: new(20.0)}}})
		for _, bad := range []string{" they ", " They ", "-", "E_n", "not thought of"} {
			// A serial number and the list of assumptions have hyphens of their own.
			if letter, _, _ := strings.Cut(strings.ReplaceAll(r.Answer, "HN-00", ""), "We took for granted"); strings.Contains(letter, bad) {
				t.Errorf("%g Ω: the letter says %q: %s", ohms, bad, letter)
			}
		}
	}
}

// A nought has no sign.
func TestMeaningOfNoDifference(t *testing.T) {
	result := must(t, Input{Ours: coil, Theirs: []Reading{{Ohms: 6611.9, ResolutionOhms: 0.1, TemperatureCelsius: new(20.0)}}})
	if !strings.Contains(result.Meaning, "a difference of +0.0 %") || !strings.Contains(result.Meaning, "is 0.00 times what both leave open") {
		t.Errorf("says %q", result.Meaning)
	}
}
