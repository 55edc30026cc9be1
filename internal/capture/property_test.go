package capture

import (
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"coilkeep/driver"
)

// TestNoSequenceGivesAWrongMeasurement lets anything happen at the clips, the
// meter and the probe. Whatever it is, one contact gives at most one
// measurement, none comes from an old temperature and none from outside the
// contact range.
func TestNoSequenceGivesAWrongMeasurement(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := testSettings()
		s.Readings = rapid.IntRange(2, 10).Draw(t, "readings")
		s.Patience = time.Duration(rapid.IntRange(1, 20).Draw(t, "patience")) * time.Second
		m := New(s)
		at := day
		lastGoodTemperature := time.Time{}
		var openFrom time.Time // since when only open readings came
		sawOpen, measured := false, false

		check := func(out Outcome) {
			r := out.Result
			if r == nil {
				return
			}
			ending := r.AtRemoval || r.Improves // the clips are open by now
			if ending && out.Ended == nil {
				t.Fatalf("taken at removal, and the contact goes on at %v", r.Time.Sub(day))
			}
			if measured && !ending {
				t.Fatalf("a second measurement for one contact at %v", r.Time.Sub(day))
			}
			if !sawOpen {
				t.Fatal("measured a coil that was on the clips before they were seen open")
			}
			measured = measured || !ending
			if age := r.Time.Sub(lastGoodTemperature); age > s.MaxAge {
				t.Fatalf("measured with a temperature %v old", age)
			}
			for _, e := range r.Readings {
				if e.InWindow && !e.Outlier && (e.Status != driver.OK || e.Value < s.MinOhms || e.Value > s.MaxOhms) {
					t.Fatalf("the window holds %v %g", e.Status, e.Value)
				}
			}
			if v := r.Inputs.ResistanceOhms; v < s.MinOhms || v > s.MaxOhms {
				t.Fatalf("measured %g Ω, outside the contact range", v)
			}
			if math.IsNaN(r.R20.R20Ohms) || r.R20.ExpandedUncertaintyOhms <= 0 {
				t.Fatalf("result %v", r.R20)
			}
		}
		lastReading := at
		meter := func(r driver.Reading) {
			if r.Time.Sub(lastReading) > s.MaxGap {
				openFrom = time.Time{}
			}
			lastReading = r.Time
			open := r.Status == driver.Overload || r.Status == driver.OK && (r.Value > s.MaxOhms || r.Value < s.MinOhms)
			switch {
			case open && openFrom.IsZero():
				openFrom = r.Time
			case open && r.Time.Sub(openFrom) >= s.Bounce:
				sawOpen, measured = true, false
			case r.Status == driver.OK && !open:
				openFrom = time.Time{}
			}
			check(m.Meter(r))
		}
		value := 6650.0
		for range rapid.IntRange(5, 60).Draw(t, "steps") {
			step := rapid.SampledFrom([]string{"open", "coil", "coil", "coil", "jump", "wild", "bad", "probe gone",
				"probe odd", "lost", "gap", "clock back"}).Draw(t, "what")
			n := rapid.IntRange(1, 60).Draw(t, "how many")
			every := time.Duration(rapid.SampledFrom([]int{50, 100, 200, 700}).Draw(t, "every")) * time.Millisecond
			switch step {
			case "lost":
				check(m.Lost(at, "unplugged"))
				openFrom = time.Time{}
				continue
			case "gap":
				at = at.Add(time.Duration(n) * time.Second)
				continue
			case "jump":
				value = rapid.Float64Range(90, 210e3).Draw(t, "value")
			case "clock back":
				// A reading from the past changes nothing.
				check(m.Meter(driver.Reading{Time: at.Add(-time.Duration(n) * time.Second), Status: driver.OK, Value: value}))
				continue
			}
			for range n {
				at = at.Add(every)
				switch step {
				case "probe gone":
				case "probe odd":
					m.Probe(driver.Reading{Time: at, Status: driver.Impossible, Reason: "odd"})
				default:
					m.Probe(driver.Reading{Time: at, Status: driver.OK, Value: 21 + rapid.Float64Range(-0.1, 0.1).Draw(t, "t"), Resolution: 0.01})
					lastGoodTemperature = at
				}
				at = at.Add(time.Millisecond)
				r := driver.Reading{Time: at, Status: driver.OK, Resolution: 0.1, Value: value + rapid.Float64Range(-0.3, 0.3).Draw(t, "n")}
				switch step {
				case "open":
					r.Status, r.Value = driver.Overload, 0
				case "wild":
					r.Value = rapid.Float64Range(-10, 300e3).Draw(t, "wild")
				case "bad":
					r.Status, r.Value = driver.Unreadable, 0
				}
				meter(r)
			}
		}
	})
}

// aDay is what a day of coils, slips, fingers, warm coils and forced recordings
// gives.
func aDay(seed uint64) []*Result {
	s := testSettings()
	s.Tolerance.LowerOhms, s.Tolerance.UpperOhms = 6000, 7400
	g := newRig(seed, s)
	g.every = []time.Duration{50, 100, 250, 500}[seed%4] * time.Millisecond
	if seed%6 == 5 { // a switch nearby
		readings := 0
		g.override = func(r driver.Reading) driver.Reading {
			if readings++; r.Status == driver.OK && readings%11 == 0 {
				r.Value += 60
			}
			return r
		}
	}
	g.open(2 * time.Second)
	if seed%5 == 4 {
		g.m.Hold("which coil?")
	}
	g.clip(6500+float64(seed*7), float64(seed%7)-3)
	results := g.run(time.Duration(1+seed%3) * time.Second)
	if seed%3 == 1 { // the clips slip
		coil := g.coil
		g.open(500 * time.Millisecond)
		g.coil = coil
	}
	results = append(results, g.run(8*time.Second)...)
	g.m.Hold("")
	if seed%4 == 2 && len(results) == 0 {
		if out, err := g.m.Force("hurry"); err == nil {
			results = append(results, out.Result)
		}
	}
	results = append(results, g.run(30*time.Second)...)
	results = append(results, g.open(3*time.Second)...)
	return append(results, g.improved...)
}

const days = 60

// everyDay is what was measured on each of them.
var everyDay = sync.OnceValue(func() [][]*Result {
	list := make([][]*Result, days)
	for seed := range list {
		list[seed] = aDay(uint64(seed))
	}
	return list
})

// TestReplayGivesTheSame replays the readings kept with each measurement.
func TestReplayGivesTheSame(t *testing.T) {
	t.Parallel()
	measured := 0
	for seed, results := range everyDay() {
		for _, r := range results {
			measured++
			again := Replay(r.Settings, r.Circumstances(), r.Readings)
			if again == nil {
				t.Fatalf("seed %d: the replay gave no measurement (%s)", seed, r.Manner)
			}
			if got, want := asJSON(t, again), asJSON(t, r); got != want {
				t.Errorf("seed %d: replay differs\n got %.600s\nwant %.600s", seed, got, want)
			}
		}
	}
	if measured < 40 {
		t.Errorf("only %d measurements were replayed", measured)
	}
}

var update = flag.Bool("update", false, "rewrite the golden files")

// TestRulesAreThoseOfTheirVersion holds what the rules make of some days. When it
// differs because a rule was changed, Rules goes up and gets a file of its own:
// what was recorded before would otherwise look tampered with.
func TestRulesAreThoseOfTheirVersion(t *testing.T) {
	t.Parallel()
	var got strings.Builder
	outliers := 0
	for seed, results := range everyDay() {
		for _, r := range results {
			outliers += r.Outliers
			// Nine digits: processors round otherwise in the last ones.
			fmt.Fprintf(&got, "day %d: %s after %v, %d readings, %d outliers, held %t, %.9g ohms at %.9g celsius, R20 %.9g ohms, U %.9g ohms, "+
				"%s\n", seed,
				r.Manner, r.Time.Sub(r.Contact), r.Inputs.Readings, r.Outliers, !r.HeldUntil.IsZero(), r.Inputs.ResistanceOhms,
				r.Inputs.TemperatureCelsius, r.R20.R20Ohms, r.R20.ExpandedUncertaintyOhms, r.Judgement.Verdict)
		}
	}
	if outliers == 0 {
		t.Error("no outlier among them")
	}
	name := filepath.Join("testdata", fmt.Sprintf("rules-%d.txt", Rules))
	if *update {
		if err := os.WriteFile(name, []byte(got.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if got.String() != string(want) {
		t.Errorf("these rules are not those of version %d any more: raise Rules\n got %s\nwant %s", Rules, got.String(), want)
	}
}

func asJSON(t *testing.T, r *Result) string {
	t.Helper()
	b, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// TestEstimateHolds checks the claim behind the component of the copper's
// temperature: at the moment of recording the truth is within it in at least 95 %
// of captures. The truth is the simulated coil's.
func TestEstimateHolds(t *testing.T) {
	const captures = 400
	for _, c := range []struct {
		name               string
		noise, digit       float64
		every              time.Duration
		spreadKelvin       float64
		lowerOhm, upperOhm float64
	}{
		{"bench meter, 10 a second", 0.15, 0.1, 100 * time.Millisecond, 2, 6000, 7300},
		{"noisy", 0.8, 0.1, 100 * time.Millisecond, 4, 6000, 7300},
		{"coarse display", 0.3, 1, 200 * time.Millisecond, 3, 6000, 7300},
		{"narrow tolerance", 0.15, 0.1, 200 * time.Millisecond, 1, 6600, 6700},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			recorded, held := 0, 0
			for seed := range uint64(captures) {
				s := testSettings()
				s.CoilDifferenceKelvin = 0 // the estimate alone must hold
				s.Tolerance.LowerOhms, s.Tolerance.UpperOhms = c.lowerOhm, c.upperOhm
				g := newRig(seed, s)
				g.noise, g.digit, g.every = c.noise, c.digit, c.every
				g.open(2 * time.Second)
				g.clip(6650, c.spreadKelvin*g.rng.NormFloat64())
				for range 300 {
					r := g.run(g.every)
					if len(r) == 0 {
						continue
					}
					recorded++
					if g.near(r[0]) {
						held++
					}
					break
				}
			}
			if recorded < captures/4 {
				t.Fatalf("only %d of %d captures were recorded", recorded, captures)
			}
			// Two standard errors of a binomial share below 95 %.
			share := float64(held) / float64(recorded)
			if least := 0.95 - 2*math.Sqrt(0.95*0.05/float64(recorded)); share < least {
				t.Errorf("the estimate held in %.1f %% of %d captures, want at least %.1f %%", 100*share, recorded, 100*least)
			}
			t.Logf("estimate held in %.1f %% of %d", 100*share, recorded)
		})
	}
}
