package capture

import (
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/conformity"
	"coilkeep/internal/r20"
)

var partsStart = time.Date(2031, 3, 4, 9, 0, 0, 0, time.UTC)

// tenth is a reading of so many ohms at so many tenths of a second.
func tenth(n int, ohms float64) driver.Reading {
	return driver.Reading{Time: partsStart.Add(time.Duration(n) * 100 * time.Millisecond), Status: driver.OK, Value: ohms, Resolution: 0.1}
}

func TestClipsSee(t *testing.T) {
	t.Parallel()
	var c clips
	c.see(readingOpen, partsStart)
	c.see(readingOpen, partsStart.Add(time.Second))
	if !c.aboveSince.Equal(partsStart) {
		t.Errorf("above since %v, want the first of the run", c.aboveSince)
	}
	c.see(readingShort, partsStart.Add(2*time.Second))
	if !c.short || !c.aboveSince.IsZero() {
		t.Errorf("after a short: %+v", c)
	}
	c.see(readingBad, partsStart.Add(3*time.Second))
	if !c.short {
		t.Error("an unreadable line says that the clips are no longer short")
	}
	c.see(readingIn, partsStart.Add(4*time.Second))
	if c.short {
		t.Error("a coil shows as short")
	}
}

func TestContactTakesWhatCounts(t *testing.T) {
	t.Parallel()
	c := newContact(partsStart, nil)
	counted := 0
	for i := range 10 {
		if c.take(tenth(i, 6690), 500*time.Millisecond) {
			counted++
		}
	}
	// 0 and 1 straddle the contact, 2 to 4 are from before hands off.
	if counted != 5 || len(c.usable) != 5 || len(c.course) != 5 || len(c.early) != 3 {
		t.Errorf("%d counted, %d usable, %d early, want 5, 5 and 3", counted, len(c.usable), len(c.early))
	}
	c.settleAnew(partsStart.Add(time.Second))
	if c.take(tenth(11, 6690), 0) || c.take(tenth(12, 6690), 0) || !c.take(tenth(13, 6690), 0) {
		t.Error("after a slip not the first two are left out")
	}
}

func TestContactDropsAStepAndKeepsADrift(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		ohms    func(i int) float64
		dropped bool
	}{
		"a hand taken off": {func(i int) float64 { return 6500 + 190*float64(i/12) }, true},
		"a cooling coil":   {func(i int) float64 { return 6700 - 0.5*float64(i) }, false},
	} {
		k := newContact(partsStart, nil)
		dropped := false
		for i := range 15 {
			k.use(tenth(i, c.ohms(i)))
			dropped = k.dropStep() || dropped
		}
		if dropped != c.dropped || dropped && (len(k.usable) != stepReadings || len(k.course) != stepReadings) {
			t.Errorf("%s: dropped %t with %d readings left, want %t", name, dropped, len(k.usable), c.dropped)
		}
	}
}

func TestShortfall(t *testing.T) {
	t.Parallel()
	known := &r20.Result{R20Ohms: 6690, ExpandedUncertaintyOhms: 66.9}
	open := &conformity.Judgement{Verdict: conformity.Undecided, Probability: 0.5}
	spoiled := window{readings: []driver.Reading{tenth(0, 1), tenth(1, 1), tenth(2, 9)}, outlier: []bool{false, false, true}, kept: 2}
	for name, c := range map[string]struct {
		present, kept assessment
		patienceOver  bool
		want          shortfall
	}{
		"a steady window of open verdict": {kept: assessment{good: true, state: Steady, r20: known, judgement: open},
			want: shortfall{Undecided, "it came off before the verdict was certain: U was still 1 %"}},
		"a cooling one": {kept: assessment{good: true, state: Cooling, words: "still cooling", r20: known, judgement: open},
			want: shortfall{Drifting, "it was still cooling"}},
		"a last reading spoiled by the clips": {present: assessment{refusal: Unsteady, window: spoiled},
			want: shortfall{TooShort, TooShort.words()}},
		"the same with patience over": {present: assessment{refusal: Unsteady, window: spoiled}, patienceOver: true,
			want: shortfall{Unsteady, Unsteady.words()}},
		"no temperature": {present: assessment{refusal: Temperature, words: "the probe is out"},
			want: shortfall{Temperature, "the probe is out"}},
	} {
		if got := shortfallOf(c.present, c.kept, c.patienceOver); got != c.want {
			t.Errorf("%s: %+v, want %+v", name, got, c.want)
		}
	}
	noted := shortfall{Temperature, "the probe is out"}
	if got := noted.wordsFor(Temperature); got != noted.words {
		t.Errorf("its own reason: %q", got)
	}
	if got := noted.wordsFor(MeterLost); got != MeterLost.words() {
		t.Errorf("another reason: %q", got)
	}
}
