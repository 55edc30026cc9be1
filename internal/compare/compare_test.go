package compare

import (
	"encoding/json"
	"errors"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"coilkeep/internal/copper"
	"coilkeep/internal/r20"
)

// coil is a coil of 6.612 kΩ at 20 °C, as a good bench knows it: 6.69 kΩ in a
// room of 23 °C.
var coil = Record{Serial: "HN-0042", R20Ohms: 6612, ExpandedUncertaintyOhms: 13, Turns: 7200}

func must(t *testing.T, in Input) Result {
	t.Helper()
	result, err := Compare(in)
	if err != nil {
		t.Fatal(err)
	}
	return result
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.8g, want %.8g within %.2g", what, got, want, tolerance)
	}
}

// Common practice, no source: a coil of 6.69 kΩ in the room reads 6.28 kΩ after
// ten minutes on a cold air outlet, 15 to 16 K colder.
func TestColdAirOutlet(t *testing.T) {
	for room := 18.0; room <= 25; room++ {
		r20, err := copper.Standard.R20(6690, room)
		if err != nil {
			t.Fatal(err)
		}
		result := must(t, Input{Ours: Record{R20Ohms: r20, ExpandedUncertaintyOhms: 0.002 * r20},
			Theirs: []Reading{{Ohms: 6280, ResolutionOhms: 10}}})
		if first := result.Explanations[0]; first.Cause != Temperature {
			t.Errorf("room of %g °C: %s ranks first with %.2f, want temperature", room, first.Cause, first.Probability)
			continue
		}
		first := result.Explanations[0]
		if colder := room - *result.ImpliedCelsius; colder < 15 || colder > 16 {
			t.Errorf("room of %g °C: implied %.2f °C, %.2f K below, want 15 to 16", room, *result.ImpliedCelsius, colder)
		}
		near(t, "implied temperature by the explanation", first.Value, *result.ImpliedCelsius, 0.5)
		if first.Low > *result.ImpliedCelsius || first.High < *result.ImpliedCelsius {
			t.Errorf("interval %.2f to %.2f °C leaves out %.2f", first.Low, first.High, *result.ImpliedCelsius)
		}
	}
}

// What ranks first where it should be plain, with the value the reading implies
// worked by hand.
func TestPlainCauses(t *testing.T) {
	celsius := 20.0
	at := func(ohms, step float64) Reading {
		return Reading{Ohms: ohms, ResolutionOhms: step, TemperatureCelsius: &celsius, TemperatureUncertaintyKelvin: new(0.5),
			MeterPercent: new(0.1), MeterDigits: new(1.0), Clips: Leads, Hands: HandsOff, CableOhms: new(0.4)}
	}
	mate := Record{Serial: "HN-0043", R20Ohms: 7000, ExpandedUncertaintyOhms: 14}
	atJack := at(0, 1)
	atJack.Clips, atJack.ControlOhms = Jack, new(500e3)
	for _, test := range []struct {
		name             string
		in               Input
		ohms, step       float64
		want             Cause
		value, tolerance float64
	}{
		{"nothing", Input{Theirs: []Reading{at(0, 1)}}, 6615, 1, MeterAccuracy, 0.04, 0.05},
		// 6612 + 7000 = 13612.
		{"both in series", Input{Theirs: []Reading{at(0, 1)}, Mate: &mate}, 13612, 1, WiringSeries, 7000, 0},
		// 1/(1/6612 + 1/7000) = 3400.24.
		{"both in parallel", Input{Theirs: []Reading{at(0, 1)}, Mate: &mate}, 3400, 1, WiringParallel, 7000, 0},
		// 6612 + 8900 = 15512: a pair of two designs, of which nothing was told.
		{"in series with an unlike one", Input{Theirs: []Reading{at(0, 1)}}, 15512, 1, WiringSeries, 8900, 100},
		{"the other one alone", Input{Theirs: []Reading{at(0, 1)}, Mate: &mate}, 7001, 1, WiringSingle, 7000, 0},
		{"milliohms for kiloohms", Input{Theirs: []Reading{at(0, 0.001)}}, 6.612, 0.001, RangeOrUnit, 0.001, 0},
		{"ten times too much", Input{Theirs: []Reading{at(0, 10)}}, 66120, 10, RangeOrUnit, 10, 0},
		{"a fifth of the turns shorted", Input{Theirs: []Reading{at(0, 1)}}, 5290, 1, ShortedTurns, 20, 0.2},
		{"two megohms in the winding", Input{Theirs: []Reading{at(0, 1000)}}, 2.007e6, 1000, OpenWinding, 2e6, 4e3},
		// (6612 + 250k) · 250k/(6612 + 500k) = 126630.
		{"control in the middle", Input{Theirs: []Reading{atJack}}, 126630, 100, ControlPosition, 50, 30},
		{"another coil of the batch", Input{Theirs: []Reading{at(0, 1)},
			Others: []Record{{Serial: "HN-0050", R20Ohms: 7105}, {Serial: "HN-0051", R20Ohms: 6701}}}, 7105, 1, OtherCoil, 7105, 0},
	} {
		t.Run(test.name, func(t *testing.T) {
			test.in.Ours = coil
			test.in.Theirs[0].Ohms, test.in.Theirs[0].ResolutionOhms = test.ohms, test.step
			result := must(t, test.in)
			first := result.Explanations[0]
			if first.Cause != test.want {
				t.Fatalf("%s ranks first, want %s: %+v", first.Cause, test.want, result.Explanations)
			}
			near(t, first.Parameter, first.Value, test.value, test.tolerance+1e-9)
			if !first.Reaches {
				t.Errorf("%s does not reach the reading it explains", first.Cause)
			}
		})
	}
}

// A control, and fingers, imply the resistance that Kirchhoff's rules give:
// 1/(1/6510 − 1/6612) = 422.0 kΩ.
func TestImpliedParallelResistance(t *testing.T) {
	celsius := 20.0
	result := must(t, Input{Ours: coil, Theirs: []Reading{{Ohms: 6510, ResolutionOhms: 1, TemperatureCelsius: &celsius,
		TemperatureUncertaintyKelvin: new(0.3), MeterPercent: new(0.05), MeterDigits: new(1.0), CableOhms: new(0.0)}}})
	for _, cause := range []Cause{ParallelControl, ParallelHands} {
		i := slices.IndexFunc(result.Explanations, func(x Explanation) bool { return x.Cause == cause })
		if i < 0 {
			t.Errorf("%s is not listed", cause)
			continue
		}
		x := result.Explanations[i]
		near(t, string(cause), x.Value, 422e3, 40e3)
		if x.Low > 422e3 || x.High < 422e3 {
			t.Errorf("%s: %.0f to %.0f Ω leaves out 422 kΩ", cause, x.Low, x.High)
		}
	}
}

// Several readings narrow what one leaves open: a cold one alone may be a short;
// with one at a known temperature it was the cold.
func TestSeveralReadings(t *testing.T) {
	low := Reading{Ohms: 6280, ResolutionOhms: 10}
	rested := Reading{Ohms: 6620, ResolutionOhms: 10, TemperatureCelsius: new(21.0)}
	stillLow := Reading{Ohms: 6300, ResolutionOhms: 10, TemperatureCelsius: new(21.0), Clips: Leads, Hands: HandsOff}
	one := must(t, Input{Ours: coil, Theirs: []Reading{low}})
	sound := must(t, Input{Ours: coil, Theirs: []Reading{low, rested}})
	bad := must(t, Input{Ours: coil, Theirs: []Reading{low, stillLow}})
	if sound.Explanations[0].Cause != Temperature || sound.Damage.Probability > one.Damage.Probability/5 {
		t.Errorf("after a rested reading: %s first, damage %.4f, was %.4f", sound.Explanations[0].Cause, sound.Damage.Probability,
			one.Damage.Probability)
	}
	if bad.Damage.Probability < 5*one.Damage.Probability || !bad.Damage.Plausible {
		t.Errorf("after a second low reading: damage %.4f, was %.4f", bad.Damage.Probability, one.Damage.Probability)
	}
	if bad.Agrees || len(bad.Settings) != 2 {
		t.Errorf("two low readings: agrees %v, %d settings", bad.Agrees, len(bad.Settings))
	}
	if x := sound.Explanations[0]; !strings.HasPrefix(x.Sentence, "Reading 1 (6.28 kΩ): ") {
		t.Errorf("the sentence does not say which reading: %s", x.Sentence)
	}
}

// Two causes at once are named where no single harmless one reaches: both coils
// in series behind a control of 500 kΩ, 13224·500000/513224 = 12883 Ω.
func TestCombinations(t *testing.T) {
	in := Input{Ours: coil, Mate: &coil, Theirs: []Reading{{Ohms: 12883, ResolutionOhms: 1, TemperatureCelsius: new(20.0),
		TemperatureUncertaintyKelvin: new(0.5), MeterPercent: new(0.1), MeterDigits: new(1.0)}}}
	named := func(r Result) int {
		return slices.IndexFunc(r.Explanations, func(x Explanation) bool {
			return slices.Equal(x.Parts, []Cause{WiringSeries, ParallelControl})
		})
	}
	r := must(t, in)
	i := named(r)
	if i < 0 {
		t.Fatalf("no combination named for a reading nothing single reaches: %+v", r.Explanations)
	}
	near(t, "the control implied", r.Explanations[i].Value, 500e3, 60e3)
	in.Theirs[0].Ohms = 13224
	if r := must(t, in); named(r) >= 0 || r.Explanations[0].Cause != WiringSeries {
		t.Errorf("%s first, and a combination named where one cause does", r.Explanations[0].Cause)
	}
}

func TestDamageIsNeverExplainedAway(t *testing.T) {
	for _, test := range []struct {
		name string
		ohms float64
	}{{"a little low", 6500}, {"low", 6300}, {"half", 3300}, {"high", 6900}, {"twice", 13200}} {
		t.Run(test.name, func(t *testing.T) {
			r := must(t, Input{Ours: coil, Theirs: []Reading{{Ohms: test.ohms, ResolutionOhms: 1, TemperatureCelsius: new(20.0),
				MeterPercent: new(0.2), MeterDigits: new(1.0)}}})
			if r.Agrees || !r.Damage.Plausible || !strings.Contains(r.Damage.Advice, "send ") {
				t.Errorf("agrees %v, damage %+v", r.Agrees, r.Damage)
			}
		})
	}
	agreeing := must(t, Input{Ours: coil, Theirs: []Reading{{Ohms: 6612, ResolutionOhms: 1, TemperatureCelsius: new(20.0)}}})
	if !agreeing.Agrees || !strings.Contains(agreeing.Meaning, "no proof of a sound coil") || agreeing.Damage.Advice == "" {
		t.Errorf("agreement is told as proof: %s %s", agreeing.Meaning, agreeing.Damage.Advice)
	}
}

// A winding shorted from end to end, or broken so badly that little is explained,
// is never told as nothing: what was on the probes may be the coil.
func TestWhatNothingExplainsMayBeAFault(t *testing.T) {
	for _, test := range []struct {
		name string
		r    Reading
		want Cause
	}{
		{"a fraction of an ohm", Reading{Ohms: 0.4, ResolutionOhms: 0.1, Clips: Leads}, ShortedTurns},
		{"two ohms", Reading{Ohms: 2.1, ResolutionOhms: 0.1, Clips: Leads}, ShortedTurns},
		{"twelve ohms, nobody knows where", Reading{Ohms: 12, ResolutionOhms: 1}, ControlPosition},
		// 0.0004 of a control of 500 kΩ is 200 Ω.
		{"at the jack, control down", Reading{Ohms: 200, ResolutionOhms: 1, Clips: Jack, ControlOhms: new(500e3)}, ControlPosition},
		{"at the jack, control all the way down", Reading{Ohms: 2, ResolutionOhms: 0.1, Clips: Jack, ControlOhms: new(500e3)}, ControlPosition},
		{"a billion ohms", Reading{Ohms: 9e8, ResolutionOhms: 1e8, Clips: Leads}, Unexplained},
	} {
		t.Run(test.name, func(t *testing.T) {
			r := must(t, Input{Ours: coil, Theirs: []Reading{test.r}})
			if first := r.Explanations[0]; first.Cause != test.want || !first.Reaches {
				t.Errorf("%s ranks first (reaches %v), want %s", first.Cause, first.Reaches, test.want)
			}
			if !r.Damage.Plausible || !strings.Contains(r.Damage.Advice, "send it back") &&
				!strings.Contains(r.Damage.Advice, "send the coil back") {
				t.Errorf("damage %+v", r.Damage)
			}
		})
	}
}

// Who says "6.3k" has rounded; their meter shows a digit more, so two steps of
// what was told are not its limits of error.
func TestFewFiguresAreRounded(t *testing.T) {
	told := func(r Reading) Result { return must(t, Input{Ours: coil, Theirs: []Reading{r}}) }
	rounded, exact := told(Reading{Ohms: 6300, ResolutionOhms: 100}), told(Reading{Ohms: 6300, ResolutionOhms: 10})
	// Half-widths in ohms: 0.8 % and two digits of 10, and half of what was told.
	half := 0.008*6300 + 2*10
	want := normalFactor * math.Sqrt((half*half+50*50)/3)
	if got := rounded.TheirsExpandedUncertaintyOhms; math.Abs(got-want) > 0.03*want || got <= exact.TheirsExpandedUncertaintyOhms {
		t.Errorf("6.3k is taken as ± %.0f Ω, 6.30k as ± %.0f Ω; want about %.0f and less", got, exact.TheirsExpandedUncertaintyOhms, want)
	}
	const says = "6.3 kΩ was rounded when it was told, by up to 50 Ω"
	if text := strings.Join(rounded.Assumptions, "\n"); !strings.Contains(text, says) ||
		strings.Contains(strings.Join(exact.Assumptions, "\n"), "rounded") {
		t.Errorf("assumed: %s", text)
	}
}

func TestEverythingUnknownIsListed(t *testing.T) {
	unknown := must(t, Input{Ours: coil, Theirs: []Reading{{Ohms: 6600}}})
	if n := len(unknown.Assumptions); n != 8 {
		t.Errorf("%d assumptions, want 8: wire, temperature, digits, meter, leads, clips, second coil, fingers: %q", n, unknown.Assumptions)
	}
	full := coil
	full.AlphaPerKelvin = float64(copper.Standard)
	known := must(t, Input{Ours: full, Theirs: []Reading{{Ohms: 6600, ResolutionOhms: 1, TemperatureCelsius: new(20.0),
		TemperatureUncertaintyKelvin: new(1.0),
		MeterPercent:                 new(0.5), MeterDigits: new(1.0), Clips: Leads, Wiring: Single, Hands: HandsOff, CableOhms: new(0.3)}}})
	if len(known.Assumptions) != 0 {
		t.Errorf("nothing was left open, and yet assumed: %q", known.Assumptions)
	}
	two := must(t, Input{Ours: full, Theirs: []Reading{{Ohms: 6600, ResolutionOhms: 1},
		{Ohms: 6600, ResolutionOhms: 1, TemperatureCelsius: new(20.0)}}})
	if !slices.ContainsFunc(two.Assumptions, func(a string) bool {
		return strings.HasPrefix(a, "reading 1 (6.600 kΩ): the coil's temperature was not told")
	}) {
		t.Errorf("no assumption names its reading: %q", two.Assumptions)
	}
}

// The same question has the same answer, to the last bit; another seed moves the
// interval only by the noise of the trials.
func TestReproducible(t *testing.T) {
	in := Input{Ours: coil, Theirs: []Reading{{Ohms: 6500, ResolutionOhms: 10, Clips: Jack}}, Seed: 7}
	a, b := must(t, in), must(t, in)
	if !reflect.DeepEqual(a, b) {
		t.Error("two answers to one question differ")
	}
	if a.MonteCarlo == nil || a.Seed != 7 || a.Formula != Formula {
		t.Errorf("seed %d, formula %d, Monte Carlo %v", a.Seed, a.Formula, a.MonteCarlo)
	}
	in.Seed = 8
	c := must(t, in)
	if a.ExpectedLowOhms == c.ExpectedLowOhms {
		t.Error("another seed changes nothing")
	}
	near(t, "the lower end with another seed", c.ExpectedLowOhms, a.ExpectedLowOhms, 0.02*a.ExpectedExpandedUncertaintyOhms)
}

// A record with what it was computed from is known best at the temperature it
// was measured at, as r20.At says.
func TestMeasuredRecord(t *testing.T) {
	m := r20.Inputs{ResistanceOhms: 6690, Readings: 1, ResolutionOhms: 1, MeterPercent: 0.05, TemperatureCelsius: 23,
		ProbeHalfWidthKelvin: 0.3,
		AlphaPerKelvin:       0.00393, AlphaStandardUncertaintyPerKelvin: copper.StandardUncertaintyPerKelvin}
	evaluated, err := r20.Evaluate(m)
	if err != nil {
		t.Fatal(err)
	}
	ours := Record{R20Ohms: evaluated.R20Ohms, ExpandedUncertaintyOhms: evaluated.ExpandedUncertaintyOhms, Measured: &m}
	for _, celsius := range []float64{10, 23, 35} {
		want, err := r20.At(m, celsius)
		if err != nil {
			t.Fatal(err)
		}
		got := must(t, Input{Ours: ours, Theirs: []Reading{{Ohms: 6690, ResolutionOhms: 1, TemperatureCelsius: &celsius,
			TemperatureUncertaintyKelvin: new(float64)}}})
		near(t, "expected", got.ExpectedOhms, want.ResistanceOhms, 1e-6*want.ResistanceOhms)
		near(t, "expanded uncertainty", got.ExpectedExpandedUncertaintyOhms, want.ExpandedUncertaintyOhms, 0.01*want.ExpandedUncertaintyOhms)
	}
}

func TestBadInputNamesItsField(t *testing.T) {
	good := Reading{Ohms: 6600, ResolutionOhms: 10}
	with := func(change func(*Reading)) Input {
		r := good
		change(&r)
		return Input{Ours: coil, Theirs: []Reading{r}}
	}
	for _, test := range []struct {
		field string
		in    Input
	}{
		{"ours.r20_ohms", Input{Theirs: []Reading{good}}},
		{"ours.r20_ohms", Input{Ours: Record{R20Ohms: -1}, Theirs: []Reading{good}}},
		{"ours.expanded_uncertainty_ohms", Input{Ours: Record{R20Ohms: 6600, ExpandedUncertaintyOhms: 6600}, Theirs: []Reading{good}}},
		{"ours.alpha_per_kelvin", Input{Ours: Record{R20Ohms: 6600, AlphaPerKelvin: 0.393}, Theirs: []Reading{good}}},
		{"ours.measured", Input{Ours: Record{R20Ohms: 6600, Measured: &r20.Inputs{}}, Theirs: []Reading{good}}},
		{"mate.r20_ohms", Input{Ours: coil, Mate: &Record{}, Theirs: []Reading{good}}},
		{"others", Input{Ours: coil, Others: make([]Record, MaxOthers+1), Theirs: []Reading{good}}},
		{"others[0].r20_ohms", Input{Ours: coil, Others: make([]Record, 1), Theirs: []Reading{good}}},
		{"theirs", Input{Ours: coil}},
		{"theirs", Input{Ours: coil, Theirs: make([]Reading, MaxReadings+1)}},
		{"theirs[0].ohms", with(func(r *Reading) { r.Ohms = 0 })},
		{"theirs[0].ohms", with(func(r *Reading) { r.Ohms = -6600 })},
		{"theirs[0].ohms", with(func(r *Reading) { r.Ohms = 1e12 })},
		{"theirs[0].ohms", with(func(r *Reading) { r.Ohms = math.NaN() })},
		{"theirs[0].ohms", with(func(r *Reading) { r.Ohms = math.Inf(1) })},
		{"theirs[0].resolution_ohms", with(func(r *Reading) { r.ResolutionOhms = -1 })},
		{"theirs[0].temperature_celsius", with(func(r *Reading) { r.TemperatureCelsius = new(-300.0) })},
		{"theirs[0].temperature_uncertainty_kelvin", with(func(r *Reading) { r.TemperatureUncertaintyKelvin = new(1.0) })},
		{"theirs[0].temperature_uncertainty_kelvin", with(func(r *Reading) {
			r.TemperatureCelsius, r.TemperatureUncertaintyKelvin = new(-40.0),
				new(20.0)
		})},
		{"theirs[0].meter_percent", with(func(r *Reading) { r.MeterPercent = new(-0.5) })},
		{"theirs[0].meter_digits", with(func(r *Reading) { r.MeterDigits = new(math.Inf(1)) })},
		{"theirs[0].meter_expanded_uncertainty_ohms", with(func(r *Reading) {
			r.MeterExpandedUncertaintyOhms, r.MeterDigits = new(1.0),
				new(1.0)
		})},
		{"theirs[0].clips", with(func(r *Reading) { r.Clips = "nose" })},
		{"theirs[0].wiring", with(func(r *Reading) { r.Wiring = Series })},
		{"theirs[0].wiring", with(func(r *Reading) { r.Wiring = "star" })},
		{"theirs[0].hands", with(func(r *Reading) { r.Hands = "cold" })},
		{"theirs[0].control_ohms", with(func(r *Reading) { r.ControlOhms = new(0.0) })},
		{"theirs[0].control_tolerance_percent", with(func(r *Reading) { r.ControlTolerancePercent = new(100.0) })},
		{"theirs[0].cable_ohms", with(func(r *Reading) { r.CableOhms = new(-1.0) })},
	} {
		_, err := Compare(test.in)
		var bad *InputError
		if !errors.As(err, &bad) || bad.Field != test.field || bad.Problem == "" {
			t.Errorf("%s: got %v", test.field, err)
		}
	}
}

// Whatever the numbers, an answer is finite, adds up and can be written as JSON.
func FuzzCompare(f *testing.F) {
	f.Add(6612.0, 13.0, 6280.0, 10.0, 23.0, true, 0.8, 500e3, uint8(0))
	f.Add(15000.0, 0.0, 1e-3, 0.0, -50.0, true, 0.0, 250e3, uint8(255))
	f.Add(1.0, 0.1, 1e9, 1e8, 0.0, false, 50.0, 1e3, uint8(37))
	f.Fuzz(func(t *testing.T, ours, u, theirs, step, celsius float64, known bool, percent, control float64, bits uint8) {
		r := Reading{Ohms: theirs, ResolutionOhms: step, MeterPercent: &percent, ControlOhms: &control, ControlFull: bits&1 > 0,
			Clips: []Clips{"", Leads, Jack, Jack}[bits>>1&3], Hands: []Hands{"", HandsOn}[bits>>3&1],
			Wiring: []Wiring{"", Series, Parallel, Single}[bits>>4&3]}
		if known {
			r.TemperatureCelsius = &celsius
		}
		in := Input{Ours: Record{R20Ohms: ours, ExpandedUncertaintyOhms: u}, Mate: &Record{R20Ohms: ours}, Theirs: []Reading{r}}
		if bits>>6&1 > 0 {
			in.Theirs = append(in.Theirs, Reading{Ohms: theirs / 2, Clips: Leads})
		}
		result, err := compare(in, 100)
		var bad *InputError
		if errors.As(err, &bad) {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		if _, err := json.Marshal(result); err != nil {
			t.Fatalf("not JSON: %v\n%+v", err, result)
		}
		total := result.UnlistedProbability
		for _, x := range result.Explanations {
			total += x.Probability
			if x.Low > x.High || x.Sentence == "" || x.Test == "" {
				t.Errorf("explanation %+v", x)
			}
		}
		near(t, "the sum of all probabilities", total, 1, 1e-6)
	})
}

// An answer takes under 20 ms, with a Monte Carlo propagation under
// 200 ms.
func BenchmarkCompare(b *testing.B) {
	for _, bench := range []struct {
		name   string
		theirs []Reading
	}{
		{"propagation", []Reading{{Ohms: 6280, ResolutionOhms: 10, TemperatureCelsius: new(20.0)}}},
		{"Monte Carlo", []Reading{{Ohms: 6280, ResolutionOhms: 10, Clips: Jack}}},
		{"two readings", []Reading{{Ohms: 6280, ResolutionOhms: 10, TemperatureCelsius: new(10.0)},
			{Ohms: 6600, ResolutionOhms: 10, TemperatureCelsius: new(20.0), Clips: Leads}}},
	} {
		b.Run(bench.name, func(b *testing.B) {
			for b.Loop() {
				if _, err := Compare(Input{Ours: coil, Theirs: bench.theirs}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// What a test would show is worked from the reading the cause acts on, and is
// right for either cause: the numbers of the sentence "6.64 kΩ if it was cold,
// 6.31 kΩ if turns are shorted" by hand, 6612·(1 + 0.00393·1) = 6638 Ω and the
// reading itself.
func TestSeparatingTest(t *testing.T) {
	low := Reading{Ohms: 6310, ResolutionOhms: 10, TemperatureCelsius: new(21.0), Clips: Leads, Hands: HandsOff, MeterPercent: new(0.5),
		MeterDigits: new(1.0)}
	r := must(t, Input{Ours: coil, Theirs: []Reading{low}})
	first := r.Explanations[0]
	if want := "Let it lie an hour beside a thermometer and measure again, at 21 °C on it: 6.64 kΩ if it was cold, 6.31 kΩ if turns are " +
		"shorted."; first.Test != want {
		t.Errorf("test %q\nwant %q", first.Test, want)
	}
	// The same reading second, after one that agrees, which shorted turns would
	// not let it: now fingers are the rival.
	good := low
	good.Ohms = 6640
	good.Clips = ""
	both := must(t, Input{Ours: coil, Theirs: []Reading{good, low}})
	for _, x := range both.Explanations {
		if x.Cause == Temperature && (!strings.HasPrefix(x.Sentence, "Reading 2 (6.31 kΩ): ") ||
			x.Test != "Clip the leads on, take both hands away and measure again: 6.31 kΩ if it was cold, 6.64 kΩ if fingers were on the probes.") {
			t.Errorf("%s %s", x.Sentence, x.Test)
		}
	}
	if both.Explanations[0].Cause != Temperature {
		t.Errorf("%s first", both.Explanations[0].Cause)
	}
}
