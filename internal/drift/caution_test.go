package drift

import (
	"math"
	"strings"
	"testing"
)

// sparse keeps the check standard of every nth coil only.
func sparse(coils []Coil, n int) []Coil {
	for i := range coils {
		if i%n != 0 {
			coils[i].CheckStandardOhms = nil
		}
	}
	return coils
}

// A meter that steps is never turned after, however seldom it was checked.
func TestMeterStepStopsTheAdvice(t *testing.T) {
	for _, every := range []int{5, 15, 20, 25, 40, 60} {
		for seed := range uint64(20) {
			r := analysed(t, sparse(checked(seed, 100, during(40, 100, 0.02), unmoved), every), ordinary())
			if r.Advice.Act {
				t.Errorf("checked every %d coils, seed %d: %s", every, seed, r.Summary)
			}
		}
	}
	r := analysed(t, sparse(checked(1, 100, during(40, 100, 0.02), unmoved), 20), ordinary())
	contains(t, "summary", r.Summary, "it is the meter or its leads, not the winder",
		"Leave it alone: look at the meter first: the check standard moved with the coils")
	if strings.Contains(r.CheckStandard.Sentence, "within its limits") {
		t.Errorf("five readings of which some moved: %s", r.CheckStandard.Sentence)
	}
	r = analysed(t, sparse(checked(1, 100, during(40, 100, 0.02), unmoved), 60), ordinary())
	contains(t, "summary", r.Summary, "measure the check standard again first: it reads +2.0 % from what it read at first")
}

// A winder that stepped is turned after where the check standard stayed.
func TestWinderStepIsActedOn(t *testing.T) {
	for _, every := range []int{5, 20, 60} {
		acted := 0
		for seed := range uint64(20) {
			r := analysed(t, sparse(checked(seed, 100, unmoved, during(40, 100, 0.02)), every), ordinary())
			acted += count01(r.Advice.Act)
		}
		if acted < 19 {
			t.Errorf("checked every %d coils: turns advised in %d of 20", every, acted)
		}
	}
}

// A meter off its reference throughout shows in no chart of its own.
func TestMeterOffItsReference(t *testing.T) {
	o := ordinary()
	coils := checked(5, 60, movedBy(0.02), unmoved)
	if r := analysed(t, coils, o); !r.Advice.Act {
		t.Errorf("without a reference: %s", r.Summary)
	}
	o.CheckReferenceOhms = 10000
	r := analysed(t, coils, o)
	contains(t, "summary", r.Summary, "look at the meter first: the check standard reads +2.0 % from its reference")
	if r.Advice.Act || r.CheckStandard.OffReferenceRatio == nil {
		t.Errorf("act %v, off %v", r.Advice.Act, r.CheckStandard.OffReferenceRatio)
	}
	// It does not hide what the winder does by itself.
	if r := analysed(t, checked(5, 60, unmoved, movedBy(0.02)), o); !r.Advice.Act {
		t.Errorf("with a meter on its reference: %s", r.Summary)
	}
}

// The coils before a change of spool do not tell what to turn for those after it.
func TestFreshSpoolEndsTheAdvice(t *testing.T) {
	high := newWorkshop(9).wind(40, "SP-1", movedBy(0.02)).coils
	o := ordinary()
	if r := analysed(t, high, o); !r.Advice.Act {
		t.Fatalf("no turns for a high spool: %s", r.Summary)
	}
	o.Next = &Coil{Batch: "spring-3", Spool: "SP-2", Winder: "W2", Operator: "Mira"}
	r := analysed(t, high, o)
	contains(t, "advice", r.Advice.Sentence, "leave it alone: no coil yet since the change to spool SP-2; wind 5 before judging")
	o.Next = &Coil{Batch: "spring-3", Spool: "SP-1", Winder: "W2", Operator: "Mira", Noted: "77 turns off"}
	r = analysed(t, high, o)
	contains(t, "advice", r.Advice.Sentence, `leave it alone: no coil yet since the note "77 turns off"; wind 5 before judging`)
	o.Next = nil
	for n := 1; n < 5; n++ {
		for seed := range uint64(10) {
			r := analysed(t, newWorkshop(seed).wind(40, "SP-1", movedBy(0.02)).wind(n, "SP-2", movedBy(-0.003)).coils, o)
			if r.Advice.Act {
				t.Errorf("%d coils of the new spool, seed %d: %s", n, seed, r.Advice.Sentence)
			}
		}
	}
	r = analysed(t, newWorkshop(3).wind(40, "SP-1", movedBy(0.02)).wind(1, "SP-2", movedBy(0.02)).coils, o)
	contains(t, "advice", r.Advice.Sentence, "leave it alone: only 1 good coil since the change to spool SP-2; wind 4 more before judging")
}

// Who turned something and said so is the cause of what follows.
func TestNoteIsACause(t *testing.T) {
	right := 0
	for seed := range uint64(20) {
		coils := newWorkshop(seed).wind(30, "SP-1", movedBy(0.02)).wind(20, "SP-1", unmoved).coils
		coils[30].Noted = "160 turns off"
		r := analysed(t, coils, ordinary())
		right += count01(strings.Contains(r.Summary, `From coil 31 (HN-0031), -`) && strings.Contains(r.Summary, `at the note "160 turns off"`))
	}
	if right < 19 {
		t.Errorf("the note is named in %d of 20", right)
	}
}

// A room that moved together with a step stops the advice, whatever was recorded
// there; that of an earlier step does not for ever.
func TestRoomAtAChangeOfSpool(t *testing.T) {
	warm := func(coils []Coil, from, to int, kelvin float64) []Coil {
		for i := from; i < to; i++ {
			*coils[i].TemperatureCelsius += kelvin
		}
		return coils
	}
	for seed := range uint64(20) {
		r := analysed(t, warm(newWorkshop(seed).wind(40, "SP-1", unmoved).wind(40, "SP-2", movedBy(0.012)).coils, 40, 80, 4), ordinary())
		if r.Advice.Act || !strings.Contains(r.Advice.Why, "the temperature") {
			t.Errorf("seed %d: %s", seed, r.Summary)
		}
	}
	wound := newWorkshop(4).wind(40, "SP-1", unmoved).wind(40, "SP-2", movedBy(0.012)).wind(40, "SP-3", unmoved)
	coils := warm(wound.wind(40, "SP-4", movedBy(0.015)).coils, 40, 80, 4)
	if r := analysed(t, coils, ordinary()); !r.Advice.Act {
		t.Errorf("an earlier step with the room stops the advice for ever: %s", r.Summary)
	}
}

// Coils of one spool from before and after somebody turned something do not tell
// how many turns its wire takes.
func TestSpoolOfTwoWindings(t *testing.T) {
	coils := newWorkshop(7).wind(20, "SP-1", unmoved).wind(30, "SP-2", movedBy(0.02)).wind(20, "SP-2", unmoved).coils
	r := analysed(t, coils, ordinary())
	if n := len(r.Spools); n != 2 || r.Spools[0].MovedAt != 0 || r.Spools[0].TurnsForTarget == nil || r.Spools[1].MovedAt != 51 ||
		r.Spools[1].TurnsForTarget != nil || r.Spools[1].OhmsPerTurn != nil {
		t.Fatalf("spools %+v", r.Spools)
	}
	contains(t, "spool", r.Spools[1].Sentence, "spool SP-2, 50 coils from coil 21", "its coils move at coil 51, so they do not tell the turns")
}

// Advice and spool book reckon alike: the same turns, the same interval.
func TestOneSumForTurns(t *testing.T) {
	r := analysed(t, newWorkshop(7).wind(60, "SP-1", movedBy(0.02)).coils, ordinary())
	s := r.Spools[0]
	for name, pair := range map[string][2]float64{
		"turns": {*s.TurnsForTarget, 8000 + *r.Advice.Turns},
		"low":   {*s.TurnsForTargetLow, 8000 + *r.Advice.Low},
		"high":  {*s.TurnsForTargetHigh, 8000 + *r.Advice.High},
	} {
		if math.Abs(pair[0]-pair[1]) > 0.01 {
			t.Errorf("%s: spool book %.3f, advice %.3f", name, pair[0], pair[1])
		}
	}
}

// While two coils wait for a third nothing is turned: they may be what somebody
// has corrected already.
func TestNothingIsTurnedWhileTwoWait(t *testing.T) {
	r := analysed(t, newWorkshop(5).wind(38, "SP-1", movedBy(0.025)).wind(2, "SP-1", movedBy(-0.005)).coils, ordinary())
	contains(t, "advice", r.Advice.Sentence, "leave it alone: the last two coils stand apart; wind one more before judging")
}

// Winders that take turns never have five coils in a row; that is no reason to
// wait for ever.
func TestTurnsWithoutDifferenceAreNoFreshChange(t *testing.T) {
	w := newWorkshop(5).wind(60, "SP-1", movedBy(0.025))
	for i := range w.coils {
		w.coils[i].Winder = []string{"W1", "W2"}[i%2]
	}
	if r := analysed(t, w.coils, ordinary()); !r.Advice.Act {
		t.Errorf("no turns are advised: %s", r.Advice.Sentence)
	}
}

// A check standard that moved by next to nothing is no news and stops nothing.
func TestCheckStandardThatHardlyMoved(t *testing.T) {
	coils := newWorkshop(5).wind(80, "SP-1", movedBy(0.025)).coils
	for i := range coils {
		if coils[i].CheckStandardOhms != nil {
			coils[i].CheckStandardOhms = []float64{10000 + 0.001*float64(i%3)}
			if i >= 40 {
				coils[i].CheckStandardOhms[0] += 0.025
			}
		}
	}
	r := analysed(t, coils, ordinary())
	if r.CheckStandard.AwayRatio != nil || !r.Advice.Act {
		t.Errorf("away %v: %s", r.CheckStandard.AwayRatio, r.Summary)
	}
}

// Coils of a spool that rise all through do not tell what its wire takes.
func TestSpoolDuringASlope(t *testing.T) {
	coils := newWorkshop(5).wind(15, "SP-1", unmoved).wind(15, "SP-1", func(i int) float64 { return 0.002 * float64(i) }).
		wind(30, "SP-2", func(i int) float64 { return 0.03 + 0.002*float64(i) }).coils
	for _, s := range analysed(t, coils, ordinary()).Spools {
		if s.MovedAt == 0 || s.TurnsForTarget != nil {
			t.Errorf("spool %s: moved at %d, turns %v", s.Spool, s.MovedAt, s.TurnsForTarget)
		}
	}
}
