package drift

import (
	"testing"
	"time"
)

// interleaved has every other coil made as odd says, 0.8 % higher.
func interleaved(seed uint64, n int, odd func(c *Coil)) []Coil {
	coils := newWorkshop(seed).wind(n, "SP-1", func(i int) float64 { return 0.008 * float64(i%2) }).coils
	for i := range coils {
		if i%2 == 1 {
			odd(&coils[i])
		}
	}
	return coils
}

// Two people, spools or kinds of coils in turn are told as that, and no turns are
// advised that would be wrong for both.
func TestInTurn(t *testing.T) {
	for name, c := range map[string]struct {
		odd   func(c *Coil)
		words string
	}{
		"operator": {func(c *Coil) { c.Operator = "Bo" }, "the coils of operator Bo stand +0."},
		"winder":   {func(c *Coil) { c.Winder = "W3" }, "the coils of winder W3 stand +0."},
		"spool":    {func(c *Coil) { c.Spool = "SP-2" }, "the coils of spool SP-2 stand +0."},
		"flag":     {func(c *Coil) { c.Doubtful = "forced" }, "forced coils stand +0."},
	} {
		right, act := 0, 0
		for seed := range uint64(20) {
			r := analysed(t, interleaved(seed, 100, c.odd), ordinary())
			act += count01(r.Advice.Act)
			if r.InTurn == nil || r.InTurn.Factor != name || r.Drifting {
				continue
			}
			right++
			contains(t, name, r.Summary, "No drift in 100 coils, but "+c.words, "no one correction suits both")
			contains(t, name, r.InTurn.Words, c.words)
			if n := len(r.Attribution); n != 1 || r.Attribution[0].Cause != name {
				t.Errorf("%s: attribution %+v", name, r.Attribution)
			}
		}
		if right < 18 || act > 1 {
			t.Errorf("%s: told in %d of 20, turns advised in %d", name, right, act)
		}
	}
}

// Afternoons that differ on every day are no steps up and down.
func TestAfternoonsInTurn(t *testing.T) {
	right := 0
	for seed := range uint64(20) {
		coils := newWorkshop(seed).wind(100, "SP-1", func(i int) float64 { return 0.008 * float64(i/10%2) }).coils
		for i := range coils {
			coils[i].Time = time.Date(2026, 3, 2+i/20, 9, 0, 0, 0, time.UTC).Add(time.Duration(i%20) * 18 * time.Minute)
		}
		r := analysed(t, coils, ordinary())
		right += count01(r.InTurn != nil && r.InTurn.Factor == "time of day" && len(r.ChangePoints) == 0 && !r.Advice.Act)
	}
	if right < 18 {
		t.Errorf("told as afternoons in %d of 20", right)
	}
}

// A step besides is found all the same, and what is in turn by chance is nothing.
func TestInTurnBesidesAStep(t *testing.T) {
	right, wrong := 0, 0
	for seed := range uint64(40) {
		coils := interleaved(seed, 100, func(c *Coil) { c.Operator = "Bo" })
		for i := 60; i < 100; i++ {
			coils[i].R20Ohms *= 1.012
			coils[i].Spool = "SP-2"
		}
		r := analysed(t, coils, ordinary())
		right += count01(r.InTurn != nil && r.InTurn.Factor == "operator" && len(r.ChangePoints) == 1 &&
			r.ChangePoints[0].LastBefore == 60 && r.Attribution[0].Cause == "spool")
		quiet := newWorkshop(seed).wind(100, "SP-1", unmoved).coils
		for i := range quiet {
			quiet[i].Operator = []string{"Ada", "Bo", "Cy"}[i%3]
		}
		wrong += count01(analysed(t, quiet, ordinary()).InTurn != nil)
	}
	if right < 35 || wrong > 1 {
		t.Errorf("told right in %d of 40; of 40 quiet batches %d are told to be in turn", right, wrong)
	}
}

// People who take turns by blocks of coils are no steps up and down.
func TestInTurnByBlocks(t *testing.T) {
	for _, block := range []int{4, 6, 10} {
		right, act := 0, 0
		for seed := range uint64(20) {
			coils := newWorkshop(seed).wind(120, "SP-1", func(i int) float64 { return 0.009 * float64(i/block%2) }).coils
			for i := range coils {
				coils[i].Operator = []string{"Ada", "Bo"}[i/block%2]
			}
			r := analysed(t, coils, ordinary())
			right += count01(r.InTurn != nil && r.InTurn.Factor == "operator" && !r.Drifting)
			act += count01(r.Advice.Act)
		}
		if right < 18 || act > 1 {
			t.Errorf("blocks of %d: told in %d of 20, turns advised in %d", block, right, act)
		}
	}
}

// Where both are off by far more than they differ, one correction does suit both.
func TestInTurnButBothAreOff(t *testing.T) {
	coils := newWorkshop(3).wind(80, "SP-1", func(i int) float64 { return 0.05 + 0.006*float64(i%2) }).coils
	for i := range coils {
		coils[i].Operator = []string{"Ada", "Bo"}[i%2]
	}
	r := analysed(t, coils, ordinary())
	if r.InTurn == nil || !r.Advice.Act {
		t.Errorf("in turn %v: %s", r.InTurn, r.Summary)
	}
}
