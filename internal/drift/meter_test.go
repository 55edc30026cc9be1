package drift

import (
	"math"
	"slices"
	"strings"
	"testing"
)

// checked are coils whose check standard reads a ratio away from 10 kΩ, with the
// coils as a meter off by that much shows them.
func checked(seed uint64, n int, meter func(i int) float64, winder func(i int) float64) []Coil {
	coils := newWorkshop(seed).wind(n, "SP-07", winder).coils
	for i := range coils {
		coils[i].R20Ohms *= 1 + meter(i)
		for j := range coils[i].CheckStandardOhms {
			coils[i].CheckStandardOhms[j] *= 1 + meter(i)
		}
	}
	return coils
}

func during(from, to int, ratio float64) func(int) float64 {
	return func(i int) float64 {
		if i >= from && i < to {
			return ratio
		}
		return 0
	}
}

// Coils that fell by as much as the meter rose look still; that is not said to be
// no drift, and no turns are advised.
func TestMeterHidesADrift(t *testing.T) {
	r := analysed(t, checked(21, 80, during(40, 80, 0.012), during(40, 80, -0.012)), ordinary())
	contains(t, "summary", r.Summary, "The check standard moves: its last 3 readings stand +1.2 %",
		"may have moved by as much the other way", "look at the meter first")
	if strings.Contains(r.Summary, "No drift") || r.Advice.Act {
		t.Errorf("act %v: %s", r.Advice.Act, r.Summary)
	}
}

// Coils that fell by more than the meter rose are told, with what is hidden.
func TestMeterMovesTheOtherWay(t *testing.T) {
	r := analysed(t, checked(22, 80, during(40, 80, 0.012), during(40, 80, -0.03)), ordinary())
	contains(t, "summary", r.Summary, "the check standard moved the other way (+1.2 %", "the coils moved by more than they seem to")
	if r.Advice.Act || r.MeterCleared {
		t.Errorf("act %v, meter cleared %v", r.Advice.Act, r.MeterCleared)
	}
}

// A meter that is put right again is no reason to leave a later step alone.
func TestMeterThatWasMended(t *testing.T) {
	away := during(30, 60, 0.02)
	r := analysed(t, checked(23, 90, away, unmoved), ordinary())
	contains(t, "check standard", r.CheckStandard.Sentence, "moved at coil 31 (HN-0031), and is back since coil 61 (HN-0061)")
	if r.CheckStandard.AwayRatio != nil {
		t.Errorf("stands %v away", *r.CheckStandard.AwayRatio)
	}
	for _, a := range r.Attribution {
		if a.Cause != "meter" {
			t.Errorf("billed to %s: %s", a.Cause, a.Sentence)
		}
	}
	r = analysed(t, checked(23, 110, away, during(80, 110, 0.02)), ordinary())
	contains(t, "summary", r.Summary, "From coil 81 (HN-0081), +", "the check standard did not move with it", "Take off")
	if !r.Advice.Act {
		t.Errorf("no turns are advised: %s", r.Advice.Sentence)
	}
}

// Half of a step is the meter's: the rest is not said to be.
func TestMeterMadeAPart(t *testing.T) {
	wrong := 0
	for seed := range uint64(40) {
		r := analysed(t, checked(seed, 80, during(40, 80, 0.003), during(40, 80, 0.006)), ordinary())
		for _, a := range r.Attribution {
			wrong += count01(a.Cause == "meter")
		}
	}
	if wrong > 1 {
		t.Errorf("%d of 40 are billed to the meter, which made a third", wrong)
	}
}

// When the room warmed just as the winder moved, the coils cannot tell which it
// was: neither is named as the cause.
func TestRoomThatWentAlong(t *testing.T) {
	for name, tt := range map[string]struct{ winder, room func(i int) float64 }{
		"step":  {during(40, 80, 0.012), during(40, 80, 3)},
		"slope": {func(i int) float64 { return 0.0004 * float64(i) }, func(i int) float64 { return 0.05 * float64(i) }},
	} {
		wrong := 0
		for seed := range uint64(40) {
			coils := newWorkshop(seed).wind(80, "SP-07", tt.winder).coils
			for i := range coils {
				*coils[i].TemperatureCelsius += tt.room(i)
			}
			r := analysed(t, coils, ordinary())
			wrong += count01(strings.Contains(r.Summary, "not the winder"))
		}
		t.Logf("%s: the room is said to be the cause in %d of 40", name, wrong)
		if wrong > 2 {
			t.Errorf("%s: the room is said to be the cause in %d of 40", name, wrong)
		}
	}
}

// On a meter whose steps are coarser than the coils scatter, quiet batches stay
// quiet and no coil stands apart.
func TestCoarseMeterStaysQuiet(t *testing.T) {
	for _, tt := range []struct{ sd, step float64 }{{1, 5}, {3, 10}, {5, 10}, {10, 10}} {
		drifting, apart := 0, 0
		for seed := range uint64(60) {
			coils := newWorkshop(seed).wind(60, "SP-07", unmoved).coils
			for i := range coils {
				scatter := (coils[i].R20Ohms - targetOhms) / (sigmaRatio * targetOhms)
				coils[i].R20Ohms = math.Round((targetOhms+scatter*tt.sd)/tt.step) * tt.step
			}
			r := analysed(t, coils, ordinary())
			drifting += count01(r.Drifting)
			apart += count01(len(r.Outliers) > 0)
		}
		t.Logf("sd %g, steps of %g: %d drifting, %d with outliers, of 60", tt.sd, tt.step, drifting, apart)
		if drifting > 3 || apart > 3 {
			t.Errorf("sd %g, steps of %g: %d drifting, %d with outliers, of 60", tt.sd, tt.step, drifting, apart)
		}
	}
}

// Spools of five coils each cannot part wire from winder: a slope over them is not
// billed to the winding, and no turns are advised for it.
func TestShortSpoolsAreNotBilledToTheWinding(t *testing.T) {
	billed := 0
	for seed := range uint64(60) {
		w := newWorkshop(seed)
		for i := range 12 {
			w.wind(5, "SP-"+string(rune('A'+i)), movedBy(1.5*sigmaRatio*w.random.NormFloat64()))
		}
		r := analysed(t, w.coils, ordinary())
		if r.Trend != nil && r.Trend.Real {
			billed += count01(slices.ContainsFunc(r.Attribution, func(a Attribution) bool {
				return a.Cause == "winding" &&
					a.Sequence == r.Trend.FromSequence
			}))
		}
	}
	t.Logf("a slope over short spools is billed to the winding in %d of 60", billed)
	if billed > 2 {
		t.Errorf("a slope over short spools is billed to the winding in %d of 60", billed)
	}
}

// A slope within the baseline is said, and the capability is that of a process
// that moved.
func TestSlopeWithinBaselineIsSaid(t *testing.T) {
	ramp := func(i int) float64 { return 0.0008 * float64(min(i, 30)) }
	r := analysed(t, newWorkshop(31).wind(80, "SP-07", ramp).coils, ordinary())
	if len(r.EarlierTrends) == 0 || r.Capability.Stable {
		t.Errorf("%d ended slopes, stable %v: %s", len(r.EarlierTrends), r.Capability.Stable, r.Summary)
	}
	if !slices.ContainsFunc(r.Notes, func(s string) bool { return strings.Contains(s, "of the slope from coil") }) {
		t.Errorf("notes %q", r.Notes)
	}
}

// Two coils of a new spool are told at their coil, not from the coil before.
func TestNewSpoolOfTwoCoils(t *testing.T) {
	told, wrong := 0, 0
	for seed := range uint64(60) {
		r := analysed(t, newWorkshop(seed).wind(58, "SP-07", unmoved).wind(2, "SP-08", movedBy(-4*sigmaRatio)).coils, ordinary())
		for _, c := range r.ChangePoints {
			told++
			wrong += count01(c.LastBefore != 58)
		}
	}
	t.Logf("two coils of a new spool: %d steps told, %d at another coil", told, wrong)
	if told < 30 || wrong > 2 {
		t.Errorf("two coils of a new spool: %d steps told, %d at another coil", told, wrong)
	}
	// Without a record three are needed, and two are not told from the coil before.
	coils := newWorkshop(3).wind(60, "SP-07", during(58, 60, -0.1)).coils
	if r := analysed(t, coils, ordinary()); len(r.ChangePoints) != 0 {
		t.Errorf("two bad coils at the end: %s", r.Summary)
	}
}

// A target that cannot be that of these coils gives no turns.
func TestAnotherDesignGivesNoTurns(t *testing.T) {
	o := ordinary()
	o.TargetOhms, o.LowerOhms, o.UpperOhms = 669000, 600000, 700000
	if r := analysed(t, newWorkshop(5).wind(40, "SP-07", unmoved).coils, o); r.Advice.Act || !strings.Contains(r.Advice.Sentence,
		"likely another one") {
		t.Errorf("act %v: %s", r.Advice.Act, r.Advice.Sentence)
	}
}
