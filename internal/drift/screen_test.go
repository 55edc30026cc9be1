package drift

import "testing"

// Two coils of what may be a step, or bad, are named and wait for a third: no
// slope is drawn up to them from coils before, and no turns are advised by it.
func TestTwoCoilsWaitForAThird(t *testing.T) {
	for _, rise := range []float64{0.01, 0.02, 0.03, 0.07} {
		told, acted := 0, 0
		for seed := range uint64(40) {
			r := analysed(t, newWorkshop(seed).wind(60, "SP-1", unmoved).wind(2, "SP-1", movedBy(rise)).coils, ordinary())
			told += count01(r.Drifting)
			acted += count01(r.Advice.Act)
		}
		if told > 2 || acted > 0 {
			t.Errorf("two coils of %+.0f %%: %d of 40 told as drifting, turns advised in %d", 100*rise, told, acted)
		}
	}
	r := analysed(t, newWorkshop(3).wind(60, "SP-1", unmoved).wind(2, "SP-1", movedBy(0.07)).coils, ordinary())
	contains(t, "summary", r.Summary, "No drift in 60 coils", "Coil 61 (HN-0061) and coil 62 (HN-0062) stand together, +",
		"a third will tell whether it is a step or two bad coils")
	if len(r.Outliers) != 2 || !r.Outliers[0].Provisional || !r.Outliers[1].Provisional {
		t.Errorf("outliers %+v", r.Outliers)
	}
	// At a change on record two are a level.
	r = analysed(t, newWorkshop(3).wind(60, "SP-1", unmoved).wind(2, "SP-2", movedBy(0.07)).coils, ordinary())
	contains(t, "summary", r.Summary, "From coil 61 (HN-0061), +", "at the change to spool SP-2")
}

// A step is told at its very coil as soon as three coils show it, and none of
// them is taken for a bad one.
func TestStepOfThreeCoils(t *testing.T) {
	for _, rise := range []float64{0.02, 0.03, 0.07} {
		for after := 3; after <= 8; after++ {
			right, outliers := 0, 0
			for seed := range uint64(40) {
				r := analysed(t, newWorkshop(seed).wind(60, "SP-1", unmoved).wind(after, "SP-1", movedBy(rise)).coils, ordinary())
				right += count01(len(r.ChangePoints) == 1 && r.ChangePoints[0].LastBefore == 60)
				outliers += count01(len(r.Outliers) > 0)
			}
			if right < 37 || outliers > 3 {
				t.Errorf("%d coils of %+.0f %%: told right in %d of 40, coils named as bad in %d", after, 100*rise, right, outliers)
			}
		}
	}
}

// Two bad coils at the beginning are no level, and no limits are made of them.
func TestTwoBadFirstCoils(t *testing.T) {
	for seed := range uint64(20) {
		r := analysed(t, newWorkshop(seed).wind(2, "SP-1", movedBy(-0.07)).wind(60, "SP-1", unmoved).coils, ordinary())
		if r.Drifting || len(r.Outliers) != 2 || r.Outliers[1].Sequence != 2 || r.Outliers[1].Provisional || r.Baseline.FirstSequence != 3 {
			t.Errorf("seed %d: drifting %v, outliers %+v, baseline from coil %d", seed, r.Drifting, r.Outliers, r.Baseline.FirstSequence)
		}
	}
}
