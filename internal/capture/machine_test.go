package capture

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/conformity"
)

func one(t *testing.T, results []*Result) *Result {
	t.Helper()
	if len(results) != 1 {
		t.Fatalf("got %d measurements, want 1", len(results))
	}
	return results[0]
}

func none(t *testing.T, results []*Result) {
	t.Helper()
	if len(results) != 0 {
		t.Fatalf("got %d measurements, want none; the first: %.2f Ω at 20 °C", len(results), results[0].R20.R20Ohms)
	}
}

func wantState(t *testing.T, m *Machine, want State, words string) {
	t.Helper()
	v := m.View()
	if v.State != want || !strings.Contains(v.Words, words) {
		t.Errorf("state %q, %q; want %q with %q", v.State, v.Words, want, words)
	}
}

func TestClearCoilTakesSeconds(t *testing.T) {
	g := newRig(1, testSettings())
	none(t, g.open(2*time.Second))
	wantState(t, g.m, Open, "clips open")
	g.clip(6650, 0.2)
	r := one(t, g.run(10*time.Second))
	if took := r.Time.Sub(r.Contact); took > 7*time.Second {
		t.Errorf("a clear coil took %v, want a few seconds", took)
	}
	if off := math.Abs(r.R20.R20Ohms - 6650); off > r.R20.ExpandedUncertaintyOhms {
		t.Errorf("R20 %.2f Ω is %.2f Ω off, beyond U = %.2f Ω", r.R20.R20Ohms, off, r.R20.ExpandedUncertaintyOhms)
	}
	if r.Judgement.Verdict != conformity.In || r.Judgement.Probability < 0.95 {
		t.Errorf("verdict %v with probability %.3f, want in at 0.95 or more", r.Judgement.Verdict, r.Judgement.Probability)
	}
	wantState(t, g.m, Recorded, "take it off")

	before := r.R20.ExpandedUncertaintyOhms
	none(t, g.run(time.Minute))
	if after := g.m.View().R20; after == nil || after.ExpandedUncertaintyOhms >= before {
		t.Errorf("U did not shrink while the coil stayed on: %v, was %.2f Ω", after, before)
	}
}

func TestBorderlineCoilIsGivenTime(t *testing.T) {
	s := testSettings()
	g := newRig(2, s)
	g.open(2 * time.Second)
	g.clip(6900, 0) // on the upper limit: no amount of time decides it
	r := one(t, g.run(40*time.Second))
	if took := r.Time.Sub(r.Contact); took < s.Patience || took > s.Patience+s.HandsOff+2*time.Second {
		t.Errorf("recorded after %v, want at the end of patience (%v)", took, s.Patience)
	}
	if p := r.Judgement.Probability; p < 0.05 || p > 0.95 {
		t.Errorf("probability of conformity %.3f, want in doubt", p)
	}
}

func TestGuardBandLeavesUndecided(t *testing.T) {
	s := testSettings()
	s.Tolerance.GuardFactor = 1
	g := newRig(3, s)
	g.open(2 * time.Second)
	g.clip(6900, 0)
	if r := one(t, g.run(40*time.Second)); r.Judgement.Verdict != conformity.Undecided {
		t.Errorf("verdict %q, want undecided", r.Judgement.Verdict)
	}
}

func TestThermalDriftIsNamed(t *testing.T) {
	for _, tt := range []struct {
		name       string
		difference float64
		want       State
	}{{"8 K above the room", 8, Cooling}, {"8 K below the room", -8, Warming}} {
		t.Run(tt.name, func(t *testing.T) {
			g := newRig(9, testSettings())
			g.open(2 * time.Second)
			g.clip(6650, tt.difference)
			none(t, g.run(40*time.Second))
			v := g.m.View()
			if v.State != tt.want || v.Copper == nil {
				t.Fatalf("state %s %q, want %s with a difference", v.State, v.Words, tt.want)
			}
			if truth := g.differenceNow(); math.Abs(v.Copper.Kelvin-truth) > v.Copper.HalfWidthKelvin {
				t.Errorf("difference %.1f ± %.1f K, truly %.1f K", v.Copper.Kelvin, v.Copper.HalfWidthKelvin, truth)
			}
			g.every = 500 * time.Millisecond // a fifth of the readings to reckon through
			r := one(t, g.run(45*time.Minute))
			if !g.near(r) {
				t.Errorf("recorded with the coil %.2f K off, estimated %.2f ± %.2f K", g.differenceNow(), r.Copper.Kelvin, r.Copper.HalfWidthKelvin)
			}
		})
	}
}

func TestAFastDriftIsNoScatter(t *testing.T) {
	s := testSettings()
	s.TimeConstant = 20 * time.Second
	g := newRig(23, s)
	g.open(2 * time.Second)
	g.clip(6650, 19)
	none(t, g.run(6*time.Second))
	wantState(t, g.m, Cooling, "above the probe")
}

func TestForce(t *testing.T) {
	g := newRig(10, testSettings())
	g.open(2 * time.Second)
	if _, err := g.m.Force("hurry"); err == nil || !strings.Contains(err.Error(), "overload") {
		t.Errorf("forcing open clips: error %v, want one that names the overload", err)
	}
	g.clip(6650, 8)
	g.run(3500 * time.Millisecond)
	if _, err := g.m.Force("hurry"); err == nil || !strings.Contains(err.Error(), "too few") {
		t.Errorf("forcing at once: error %v, want too few readings", err)
	}
	none(t, g.run(20*time.Second))
	out, err := g.m.Force("buyer waits")
	if err != nil || out.Result == nil {
		t.Fatalf("Force: %v, %v", out, err)
	}
	r := out.Result
	if r.Manner != ByForce || r.Reason != "buyer waits" {
		t.Errorf("manner %q, reason %q", r.Manner, r.Reason)
	}
	if off := math.Abs(r.R20.R20Ohms - 6650); off > r.R20.ExpandedUncertaintyOhms {
		t.Errorf("forced R20 is %.0f Ω off, U only %.0f Ω", off, r.R20.ExpandedUncertaintyOhms)
	}
	if !g.near(r) {
		t.Errorf("forced with the coil %.2f K off, estimated %.2f ± %.2f K", g.differenceNow(), r.Copper.Kelvin, r.Copper.HalfWidthKelvin)
	}
	if got, told := r.Inputs.CoilDifferenceHalfWidthKelvin, g.m.settings.CoilDifferenceKelvin; got != 2*told {
		t.Errorf("places within %.2f K, want twice the %.2f K told: what is forced is trusted less", got, told)
	}
	if _, err := g.m.Force("again"); err == nil {
		t.Error("a recorded coil was forced a second time")
	}
	none(t, g.run(time.Minute))
}

func TestNoTemperatureNoResult(t *testing.T) {
	t.Run("no probe", func(t *testing.T) {
		g := newRig(11, testSettings())
		g.noProbe = true
		g.open(2 * time.Second)
		g.clip(6650, 0)
		none(t, g.run(time.Minute))
		wantState(t, g.m, NoTemperature, "no temperature")
		if v := g.m.View(); v.R20 != nil || v.TemperatureCelsius != nil {
			t.Errorf("a bench without temperature shows R20 %v, temperature %v", v.R20, v.TemperatureCelsius)
		}
		if _, err := g.m.Force("please"); err == nil {
			t.Error("forced without a temperature")
		}
	})
	t.Run("stale", func(t *testing.T) {
		g := newRig(12, testSettings())
		g.open(2 * time.Second)
		g.noProbe = true
		g.open(6 * time.Second)
		g.clip(6650, 0)
		none(t, g.run(time.Minute))
		wantState(t, g.m, NoTemperature, "old")
		g.noProbe = false
		one(t, g.run(10*time.Second))
	})
	t.Run("impossible", func(t *testing.T) {
		g := newRig(13, testSettings())
		g.open(2 * time.Second)
		g.noProbe = true
		g.m.Probe(driver.Reading{Time: g.at, Status: driver.Impossible, Reason: "85 °C is a power-on value"})
		g.clip(6650, 0)
		none(t, g.run(time.Minute))
		wantState(t, g.m, NoTemperature, "power-on")
	})
}

func TestOutliersAreCountedAndLeftOut(t *testing.T) {
	s := testSettings()
	s.Readings, s.Window = 12, time.Second
	s.Tolerance = &conformity.Tolerance{LowerOhms: 1000, UpperOhms: 20000} // clear at once
	g := newRig(16, s)
	g.open(2 * time.Second)
	g.clip(6650, 0)
	n := 0
	g.override = func(r driver.Reading) driver.Reading {
		if n++; n == 38 {
			r.Value += 20
		}
		return r
	}
	r := one(t, g.run(20*time.Second))
	if r.Outliers != 1 || r.Inputs.Readings != 11 {
		t.Errorf("%d outliers, mean of %d; want 1 and 11", r.Outliers, r.Inputs.Readings)
	}
	if math.Abs(r.R20.R20Ohms-6650) > 2 {
		t.Errorf("R20 %.2f Ω, want 6650 Ω", r.R20.R20Ohms)
	}
}

func TestScatterIsRefused(t *testing.T) {
	g := newRig(17, testSettings())
	g.noise = 40
	g.open(2 * time.Second)
	g.clip(6650, 0)
	none(t, g.run(time.Minute))
	wantState(t, g.m, Refused, "reseat the clips")
	g.open(2 * time.Second)
	last := g.outcomes[len(g.outcomes)-20:]
	for _, o := range last {
		if o.Ended != nil && o.Ended.Refusal == Unsteady {
			return
		}
	}
	t.Error("taking the coil off did not count it as unsteady")
}

func TestCoilTakenOffUnsavedCountsAsHeld(t *testing.T) {
	g := newRig(61, testSettings())
	g.m.Unsaved("disk full")
	g.open(2 * time.Second)
	g.clip(6700, 0)
	none(t, g.run(10*time.Second))
	g.outcomes = nil
	g.open(2 * time.Second)
	for _, o := range g.outcomes {
		if o.Ended != nil {
			if o.Ended.Refusal != OnHold {
				t.Errorf("counted as %q, want %q", o.Ended.Refusal, OnHold)
			}
			return
		}
	}
	t.Error("the contact did not end")
}

func TestClockSetBack(t *testing.T) {
	for _, measured := range []bool{false, true} {
		g := newRig(22, testSettings())
		g.open(2 * time.Second)
		g.clip(6650, 0)
		got := len(g.run(map[bool]time.Duration{false: 2 * time.Second, true: 20 * time.Second}[measured]))
		g.at = g.at.Add(-time.Hour)
		g.m.ClockSet()
		got += len(g.run(20 * time.Second))
		if got != 1 {
			t.Errorf("%d measurements of one coil with the clock set back (measured before: %v), want 1", got, measured)
		}
		g.open(2 * time.Second)
		g.clip(6660, 0)
		one(t, g.run(20*time.Second))
	}
}

func TestTimeConstantIsLearned(t *testing.T) {
	s := testSettings()
	g := newRig(21, s)
	g.open(2 * time.Second)
	g.clip(6650, 9)
	g.coil.tau = 4 * time.Minute
	g.run(20 * time.Minute)
	g.open(2 * time.Second)
	for _, o := range g.outcomes {
		if o.Ended != nil && o.Ended.TimeConstant != nil {
			if got := o.Ended.TimeConstant; math.Abs(got.TimeConstant.Minutes()-4) > 0.2 || got.QuickShare > 0.02 {
				t.Errorf("learned %+v, truly 4 min and no quick share", *got)
			}
			return
		}
	}
	t.Error("a coil left on for five time constants taught nothing")
}

// hunting makes a meter ring around the true value after contact, as an
// autoranging one does on a large inductance: at first by 30 %, dying away
// with a time constant of four seconds.
func (g *rig) hunting() {
	g.override = func(r driver.Reading) driver.Reading {
		if r.Status == driver.OK {
			s := g.at.Sub(g.coil.since).Seconds() / 4
			r.Value *= 1 + 0.3*math.Exp(-s)*math.Cos(2*math.Pi*s)
		}
		return r
	}
}

func TestHuntingMeterIsWaitedFor(t *testing.T) {
	g := newRig(41, testSettings())
	g.open(2 * time.Second)
	g.clip(6650, 0)
	g.hunting()
	for range 600 {
		results := g.run(g.every)
		v := g.m.View()
		if v.State == NoTemperature || strings.Contains(v.Words, "_") {
			t.Fatalf("%v after contact: %s, %q", g.at.Sub(g.coil.since), v.State, v.Words)
		}
		if len(results) == 1 {
			r := results[0]
			if off := math.Abs(r.R20.R20Ohms - 6650); off > r.R20.ExpandedUncertaintyOhms {
				t.Errorf("R20 is off by %.2f Ω, U is %.2f Ω", off, r.R20.ExpandedUncertaintyOhms)
			}
			if r.R20.ExpandedUncertaintyOhms > 0.03*6650 || r.Judgement.Verdict != conformity.In {
				t.Errorf("U %.1f Ω, verdict %s; want a clear coil", r.R20.ExpandedUncertaintyOhms, r.Judgement.Verdict)
			}
			return
		}
	}
	t.Fatal("not recorded within a minute")
}

// A meter that picks up hum scatters far more than its accuracy. Told so, it
// is averaged; the scatter stays in U.
func TestNoisyMeterCanBeAllowed(t *testing.T) {
	s := testSettings()
	s.SpreadPercent = 0.8
	g := newRig(43, s)
	g.noise = 8
	g.open(2 * time.Second)
	g.clip(6650, 0)
	r := one(t, g.run(time.Minute))
	if off := math.Abs(r.R20.R20Ohms - 6650); off > r.R20.ExpandedUncertaintyOhms {
		t.Errorf("R20 is off by %.2f Ω, U is %.2f Ω", off, r.R20.ExpandedUncertaintyOhms)
	}
	wantState(t, g.m, Recorded, "")
	none(t, g.run(5*time.Minute))
	wantState(t, g.m, Recorded, "")
}

// What a coil that stays on is filed with in the end is the latest good window: U
// is smallest when noise makes a warm coil look like one at rest. A probe that
// moves while the coil does not leaves their difference open.
func TestTheLatestWindowIsFiled(t *testing.T) {
	covered, improved := 0, 0
	for seed := range uint64(60) {
		s := testSettings()
		s.Tolerance.LowerOhms, s.Tolerance.UpperOhms = 5900, 7400
		g := newRig(seed, s)
		g.every, g.noise = 200*time.Millisecond, 0.2
		g.open(2 * time.Second)
		g.clip(6650, 5)
		g.coil.tau = 2 * s.TimeConstant
		g.run(20 * time.Second)
		view := g.m.View()
		g.open(2 * time.Second)
		for _, r := range g.improved {
			improved++
			if math.Abs(r.R20.R20Ohms-6650) <= r.R20.ExpandedUncertaintyOhms {
				covered++
			}
			if view.R20 != nil && r.R20.ExpandedUncertaintyOhms < 0.8*view.R20.ExpandedUncertaintyOhms {
				t.Errorf("seed %d: filed with U %.1f Ω, the last shown was %.1f Ω", seed, r.R20.ExpandedUncertaintyOhms,
					view.R20.ExpandedUncertaintyOhms)
			}
		}
	}
	if improved < 10 || float64(covered) < 0.9*float64(improved) {
		t.Errorf("%d of %d values filed in the end hold the truth", covered, improved)
	}
}

func TestAMovingProbeWidens(t *testing.T) {
	g := newRig(5, testSettings())
	g.open(2 * time.Second)
	g.clip(6650, 0)
	g.run(6 * time.Second)
	still := g.m.View().R20
	clipped := g.room
	g.override = func(r driver.Reading) driver.Reading { // the door opens: the coil does not feel it yet
		r.Value = math.Round(6650*(1+0.00393*(clipped-20))*10) / 10
		return r
	}
	g.room += 2
	g.run(6 * time.Second)
	moved := g.m.View().R20
	if still == nil || moved == nil || math.Abs(moved.R20Ohms-6650) > moved.ExpandedUncertaintyOhms {
		t.Errorf("before %+v, after the probe moved %+v; want it to hold 6650 Ω", still, moved)
	}
	g.coil = nil
	g.override = nil
	g.open(2 * time.Second)
	if len(g.improved) > 0 && math.Abs(g.improved[0].R20.R20Ohms-6650) > g.improved[0].R20.ExpandedUncertaintyOhms {
		t.Errorf("a good value was replaced by %+v", g.improved[0].R20)
	}
}

// A display of 10 Ω steps hides a drift of a step. One patience is too short
// to exclude much, and U says so; nothing is recorded that could be anything.
func TestCoarseDisplayIsHonest(t *testing.T) {
	for _, c := range []struct {
		name       string
		patience   time.Duration
		difference float64
	}{
		{"at the probe's temperature", 20 * time.Second, 0},
		{"a warm coil that does not show it", 20 * time.Second, 4},
		{"given a minute", time.Minute, 2},
		{"hardly any patience", time.Second, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := testSettings()
			s.MeterPercent, s.MeterOhms, s.Patience = 0.8, 20, c.patience
			g := newRig(47, s)
			g.noise, g.digit, g.every = 2, 10, 400*time.Millisecond
			g.open(3 * time.Second)
			g.clip(6650, c.difference)
			r := one(t, g.run(2*time.Minute))
			if off := math.Abs(r.R20.R20Ohms - 6650); off > r.R20.ExpandedUncertaintyOhms {
				t.Errorf("R20 is off by %.1f Ω, U is %.1f Ω", off, r.R20.ExpandedUncertaintyOhms)
			}
			if r.Copper.HalfWidthKelvin > farthestKelvin {
				t.Errorf("recorded while the coil could be %.0f K from the probe", r.Copper.HalfWidthKelvin)
			}
		})
	}
}

// A clip that works loose looks like a coil far hotter than any that is clipped
// on; nobody is told to wait for that.
func TestFallingTooFastForACoil(t *testing.T) {
	for _, c := range []struct {
		kelvin float64
		state  State
		words  string
	}{{150, Cooling, "reseat the clips"}, {-150, Warming, "reseat the clips"}, {20, Cooling, "still cooling, about"}} {
		g := newRig(54, testSettings())
		g.open(2 * time.Second)
		g.clip(6650, c.kelvin)
		g.run(15 * time.Second)
		wantState(t, g.m, c.state, c.words)
		if v := g.m.View(); v.Copper == nil {
			t.Errorf("%g K away: no difference is shown", c.kelvin)
		}
	}
}

func TestQuestionsArePunctuated(t *testing.T) {
	g := newRig(53, testSettings())
	g.clip(6650, 0)
	g.run(2 * time.Second)
	wantState(t, g.m, Asking, "open. If it is not recorded yet, take it off")
}

// A median absolute deviation of eight readings is often small by chance;
// what is left out of a clean window for that reason misleads.
func TestCleanReadingsAreRarelyCalledOutliers(t *testing.T) {
	rng := rand.New(rand.NewPCG(59, 1))
	s := testSettings()
	for _, n := range []int{8, 16, 24} {
		const windows = 4000
		called := 0
		for range windows {
			readings := make([]driver.Reading, n)
			for i := range readings {
				readings[i] = driver.Reading{Value: 6742 + 0.5*rng.NormFloat64(), Resolution: 0.01}
			}
			if w := judgeWindow(readings, s.spreadOhms); w.kept < n {
				called++
			}
		}
		if share := float64(called) / windows; share > 0.01 {
			t.Errorf("%d readings: an outlier is called in %.1f %% of clean windows, want 1 %% at most", n, 100*share)
		}
	}
}

func TestRecordedCoilUnderAMeterThatHangs(t *testing.T) {
	g := newRig(67, testSettings())
	g.open(2 * time.Second)
	g.clip(6650, 0)
	one(t, g.run(10*time.Second))
	g.override = func(r driver.Reading) driver.Reading {
		r.Status, r.Value, r.Reason = driver.Impossible, 0, "it hangs"
		return r
	}
	none(t, g.run(time.Second))
	wantState(t, g.m, Recorded, "it hangs")
}
