package capture

import (
	"math"
	"testing"
	"time"

	"coilkeep/driver"
)

func TestClips(t *testing.T) {
	tests := []struct {
		name string
		// between is what happens after the first coil is recorded.
		between func(g *rig) int
		want    int // measurements after it
	}{
		{"a slip of 0.4 s is the same coil", func(g *rig) int {
			coil := g.coil
			n := len(g.open(400 * time.Millisecond))
			g.coil = coil
			return n + len(g.run(20*time.Second))
		}, 0},
		{"an equal neighbour is another coil", func(g *rig) int {
			n := len(g.open(1500 * time.Millisecond))
			g.clip(6650, 0)
			return n + len(g.run(20*time.Second))
		}, 1},
		{"a coil left on is recorded once", func(g *rig) int { return len(g.run(5 * time.Minute)) }, 0},
		{"a change without opening is asked about", func(g *rig) int {
			g.clip(6700, 0)
			n := len(g.run(30 * time.Second))
			if s := g.m.View().State; s != Asking {
				return 100
			}
			return n
		}, 0},
		{"a coil swapped while the cable was out is asked about", func(g *rig) int {
			g.m.Lost(g.at, "unplugged")
			g.at = g.at.Add(20 * time.Second)
			g.clip(6650, 0)
			n := len(g.run(30 * time.Second))
			if s := g.m.View().State; s != Asking {
				return 100
			}
			return n
		}, 0},
		{"asked, answered and measured again", func(g *rig) int {
			g.m.Lost(g.at, "unplugged")
			g.at = g.at.Add(20 * time.Second)
			g.run(time.Second)
			if err := g.m.Restart(); err != nil {
				return 100
			}
			return len(g.run(20 * time.Second))
		}, 1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			g := newRig(4, testSettings())
			g.open(2 * time.Second)
			g.clip(6650, 0)
			one(t, g.run(10*time.Second))
			if got := tt.between(g); got != tt.want {
				t.Errorf("got %d more measurements (state %s), want %d", got, g.m.View().State, tt.want)
			}
		})
	}
}

// A fixed range that is too small looks the same as open leads. The words of
// the first seconds are short: one coil is being changed for the next.
func TestARangeTooSmallIsToldAsSuch(t *testing.T) {
	for _, tt := range []struct {
		name  string
		shows func(driver.Reading) driver.Reading
		want  string
	}{
		{"an overload", func(r driver.Reading) driver.Reading {
			return driver.Reading{Time: r.Time, Status: driver.Overload}
		}, "the meter's range is too small"},
		{"a value above the contact range", func(r driver.Reading) driver.Reading {
			return driver.Reading{Time: r.Time, Status: driver.OK, Value: 250e3}
		}, "250 kΩ is above the contact range"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			g := newRig(6, testSettings())
			g.open(2 * time.Second)
			g.clip(6650, 0)
			one(t, g.run(10*time.Second))
			g.override = tt.shows // the next coil, beyond what the meter can show
			none(t, g.run(2*time.Second))
			if v := g.m.View(); v.State != Open || v.Words != "clips open" {
				t.Errorf("just after a coil: %s %q, want clips open", v.State, v.Words)
			}
			none(t, g.run(waitsLong))
			wantState(t, g.m, Open, tt.want)

			g.override = nil
			g.clip(6660, 0)
			one(t, g.run(10*time.Second))
			g.open(2 * time.Second)
			if v := g.m.View(); v.State != Open || v.Words != "clips open" {
				t.Errorf("after another coil: %s %q, want clips open", v.State, v.Words)
			}
		})
	}
}

func TestCoilOnTheClipsAtStartIsAskedAbout(t *testing.T) {
	g := newRig(5, testSettings())
	g.clip(6650, 0)
	none(t, g.run(30*time.Second))
	wantState(t, g.m, Asking, "")
	if err := g.m.Restart(); err != nil {
		t.Fatal(err)
	}
	one(t, g.run(15*time.Second))
}

func TestFingers(t *testing.T) {
	// A hand of 300 kΩ across 6.7 kΩ reads 2.2 % low and is steady.
	hand := func(until time.Duration, start func() time.Time) func(driver.Reading) driver.Reading {
		return func(r driver.Reading) driver.Reading {
			if r.Status == driver.OK && r.Time.Sub(start()) < until {
				r.Value = math.Round(r.Value*300e3/(r.Value+300e3)*10) / 10
			}
			return r
		}
	}
	t.Run("for two and a half seconds", func(t *testing.T) {
		g := newRig(6, testSettings())
		g.open(2 * time.Second)
		g.clip(6650, 0)
		on := g.at
		g.override = hand(2500*time.Millisecond, func() time.Time { return on })
		r := one(t, g.run(20*time.Second))
		if math.Abs(r.R20.R20Ohms-6650) > r.R20.ExpandedUncertaintyOhms {
			t.Errorf("R20 %.1f ± %.1f Ω, want 6650 Ω", r.R20.R20Ohms, r.R20.ExpandedUncertaintyOhms)
		}
	})
	t.Run("taken off in the window", func(t *testing.T) {
		g := newRig(7, testSettings())
		g.open(2 * time.Second)
		g.clip(6650, 0)
		on := g.at
		g.override = hand(3800*time.Millisecond, func() time.Time { return on })
		r := one(t, g.run(20*time.Second))
		if math.Abs(r.R20.R20Ohms-6650) > r.R20.ExpandedUncertaintyOhms {
			t.Errorf("R20 %.1f ± %.1f Ω, want 6650 Ω", r.R20.R20Ohms, r.R20.ExpandedUncertaintyOhms)
		}
	})
	t.Run("until after it was recorded", func(t *testing.T) {
		g := newRig(8, testSettings())
		g.open(2 * time.Second)
		g.clip(6650, 0)
		on := g.at
		g.override = hand(30*time.Second, func() time.Time { return on })
		one(t, g.run(29*time.Second))
		none(t, g.run(10*time.Second))
		wantState(t, g.m, Asking, "fingers")
	})
}

func TestStraddlingReadingsAreNotUsed(t *testing.T) {
	g := newRig(15, testSettings())
	g.open(2 * time.Second)
	g.clip(6650, 0)
	n := 0
	g.override = func(r driver.Reading) driver.Reading {
		if n++; n == 1 {
			r.Value = 13000 // half of it was still open leads
		}
		return r
	}
	r := one(t, g.run(20*time.Second))
	for _, e := range r.Readings {
		if e.InWindow && e.Value > 7000 {
			t.Errorf("the window holds %.0f Ω", e.Value)
		}
	}
}

func TestHoldWaitsForAPerson(t *testing.T) {
	g := newRig(18, testSettings())
	g.m.Hold("which coil is it?")
	g.open(2 * time.Second)
	g.clip(6650, 0)
	none(t, g.run(20*time.Second))
	wantState(t, g.m, Waiting, "which coil")
	g.m.Hold("")
	one(t, g.run(time.Second))
}

func TestUnsavedTakesNoOtherCoil(t *testing.T) {
	g := newRig(19, testSettings())
	g.open(2 * time.Second)
	g.clip(6650, 0)
	one(t, g.run(10*time.Second))
	g.m.Unsaved("disk full")
	g.open(2 * time.Second)
	g.clip(6700, 0)
	none(t, g.run(30*time.Second))
	wantState(t, g.m, Unsaved, "disk full")
	g.m.Unsaved("")
	one(t, g.run(10*time.Second))
}

func TestWrongFunctionIsRefused(t *testing.T) {
	g := newRig(14, testSettings())
	g.open(2 * time.Second)
	g.clip(6650, 0)
	g.override = func(r driver.Reading) driver.Reading { // turned to volts
		r.Status, r.Value = driver.OK, 0.0123
		return r
	}
	none(t, g.run(time.Minute))
	wantState(t, g.m, Refused, "below the contact range")
}
