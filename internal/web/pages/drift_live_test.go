package pages

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/drift"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

var noon = time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC)

// woundCoils are n invented coils of 6690 Ω with a scatter of 0.3 % (seeded), each
// moved by ratio(i), i from 0, and changed by change where that is given.
func woundCoils(n int, ratio func(i int) float64, change func(i int, c *drift.Coil)) []drift.Coil {
	random := rand.New(rand.NewPCG(3, 4))
	coils := make([]drift.Coil, n)
	for i := range coils {
		celsius := 21 + 0.2*random.NormFloat64()
		coils[i] = drift.Coil{Sequence: i + 1, Serial: fmt.Sprintf("HN-%04d", i+1), Time: noon.Add(time.Duration(i) * time.Minute), Spool: "S-7",
			Winder: "W1", Operator: "Ada", Batch: "LM-1", TemperatureCelsius: &celsius, ExpandedUncertaintyOhms: 4,
			R20Ohms: 6690 * (1 + ratio(i) + 0.003*random.NormFloat64())}
		if change != nil {
			change(i, &coils[i])
		}
	}
	return coils
}

// stepAt is a level that is higher by 2 % from coil number k+1 on.
func stepAt(k int) func(int) float64 {
	return func(i int) float64 {
		if i >= k {
			return 0.02
		}
		return 0
	}
}

func noDrift(int) float64 { return 0 }

// checkedBy measures a check standard with every second coil.
func checkedBy(ratio func(i int) float64) func(int, *drift.Coil) {
	random := rand.New(rand.NewPCG(5, 6))
	return func(i int, c *drift.Coil) {
		if i%2 == 0 {
			c.CheckStandardOhms = []float64{10000 * (1 + ratio(i) + 1e-5*random.NormFloat64())}
		}
	}
}

// However short it is, what would keep a winder from turning anything is told.
func TestGlanceKeepsCautions(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		coils           []drift.Coil
		act             bool
		moved, do, says string
	}{
		"quiet": {woundCoils(45, noDrift, nil), false, "No drift in 45 coils", "leave it alone: the level is not shown to be off target", ""},
		"a spool, the meter not cleared": {woundCoils(60, stepAt(30), func(i int, c *drift.Coil) {
			if i >= 30 {
				c.Spool = "S-8"
			}
		}), true, "at the change to spool S-8", "take off ", "No check standard was measured, so the meter is not cleared"},
		"a spool, the meter cleared": {woundCoils(60, stepAt(30), func(i int, c *drift.Coil) {
			checkedBy(noDrift)(i, c)
			if i >= 30 {
				c.Spool = "S-8"
			}
		}), true, "at the change to spool S-8", "take off ", "The check standard did not move with it"},
		"the meter": {woundCoils(60, stepAt(30), checkedBy(stepAt(30))), false, "and the check standard with it",
			"leave it alone: look at the meter first", "it is the meter or its leads, not the winder"},
		"too few coils": {woundCoils(43, stepAt(40), nil), false, "From coil 41",
			"leave it alone: only 3 coils since the last change; wind 2 more before judging", ""},
		"the winding": {woundCoils(60, stepAt(30), nil), true, "From coil 31", "take off ",
			"Nothing recorded changed there: look at tension, felt, counter and guides"},
		"a trend": {woundCoils(80, func(i int) float64 { return 0.0004 * float64(i) }, nil), true, " a coil", "take off ",
			"The level is still moving: find the cause as well."},
		"the last coil stands apart": {woundCoils(45, func(i int) float64 {
			if i == 44 {
				return -0.09
			}
			return 0
		}, nil), false, "Coil 45 (HN-0045) stands apart", "leave it alone",
			"Look for shorted turns, a miscount, or something across the leads; the next coils will tell"},
		"a step, and the last coil stands apart": {woundCoils(61, func(i int) float64 {
			if i == 60 {
				return -0.09
			}
			return stepAt(30)(i)
		}, nil), true, "From coil 31", "take off ", "Coil 61 (HN-0061) stands apart"},
		"the room": {woundCoils(60, func(i int) float64 { return 0.004 * float64(i%7-3) }, func(i int, c *drift.Coil) {
			celsius := 21 + float64(i%7-3)
			c.TemperatureCelsius = &celsius
		}), false, "", "leave it alone", "with the temperature it was measured at, which it must not"},
		"the meter alone": {woundCoils(60, noDrift, checkedBy(stepAt(30))), false, "The check standard stands +2.0 % from where it began",
			"leave it alone", "The check standard moves"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			report, err := drift.Analyse(tt.coils, drift.Options{TargetOhms: 6690, LowerOhms: 6289, UpperOhms: 7091,
				Winding: drift.Winding{Turns: 8000}})
			if err != nil {
				t.Fatal(err)
			}
			g := driftView{Drift: &workshop.Drift{Report: report, Standing: workshop.StandingSignals(report)}}.Glance()
			// The notice at the top has less room; a meter nobody can vouch for is in it.
			if got, want := g.Uncleared != "", g.Act && !strings.Contains(name, "the meter cleared"); got != want {
				t.Errorf("says of the meter %q", g.Uncleared)
			}
			do, evidence := g.Do+": "+g.Why, strings.Join(g.Evidence, " ")
			if g.Act != tt.act || !strings.Contains(g.Moved, tt.moved) || !strings.HasPrefix(do, tt.do) || !strings.Contains(evidence, tt.says) {
				t.Errorf("act %v; moved %q; do %q; evidence %q\nwant %v, %q, %q, %q", g.Act, g.Moved, do, evidence, tt.act, tt.moved, tt.do, tt.says)
			}
		})
	}
}

// A chart that signals before anything is established tells to watch, and how
// often that happens for nothing.
func TestGlanceOfABareSignal(t *testing.T) {
	t.Parallel()
	report := drift.Report{Headline: "Coil 12 raises the EWMA", FalseAlarms: &drift.FalseAlarmRate{RunLength: 52}}
	view := driftView{Drift: &workshop.Drift{Report: report, Standing: []string{workshop.SignalEWMA}}}
	got, want := view.Glance().Evidence, []string{"Wind on and watch: a quiet process raises some signal about every 52 coils."}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestLiveRun(t *testing.T) {
	t.Parallel()
	named := func(i int, c *drift.Coil) { c.MeasurementID = fmt.Sprint("m", i+1) }
	report, err := drift.Analyse(woundCoils(60, stepAt(30), named), drift.Options{TargetOhms: 6690, LowerOhms: 6289, UpperOhms: 7091})
	if err != nil {
		t.Fatal(err)
	}
	var coils []record.Measurement
	for _, p := range report.Points {
		coils = append(coils, record.Measurement{ID: p.MeasurementID, Sequence: p.Sequence, Serial: p.Serial, R20Ohms: p.R20Ohms,
			Status: record.Recorded})
	}
	spools := []record.SpoolMark{{FromSequence: 1, Spool: "S-7"}, {FromSequence: 20, Spool: "S-8"}, {FromSequence: 50, Spool: "S-9"},
		{FromSequence: 61, Spool: "S-10"}}
	run := liveRun(&report, coils[40:], spools)
	if len(run.Measurements) != 20 || run.Measurements[0].ID != "m41" || run.Limits == nil || len(run.Level) != 1 {
		t.Errorf("the newest 20: %d from %s, limits %v, level %v", len(run.Measurements), run.Measurements[0].ID, run.Limits, run.Level)
	}
	potted := slices.Clone(coils[40:])
	for i := range potted {
		potted[i].ID += "-potted"
	}
	if run = liveRun(&report, potted, spools); len(run.Measurements) != 20 || run.Limits != nil {
		t.Errorf("only later stages: %d, limits %v, want them plain", len(run.Measurements), run.Limits)
	}
	if run = liveRun(nil, coils, spools); len(run.Measurements) != 60 || run.Limits != nil || !slices.Equal(run.Spools, spools) {
		t.Errorf("without an analysis: %d, %v", len(run.Measurements), run.Spools)
	}
	for first, want := range map[int]string{1: "[{1 S-7} {20 S-8} {50 S-9} {61 S-10}]", 20: "[{20 S-8} {50 S-9} {61 S-10}]",
		41: "[{41 S-8} {50 S-9} {61 S-10}]", 70: "[{70 S-10}]"} {
		var got []string
		for _, m := range spoolsFrom(spools, first) {
			got = append(got, fmt.Sprintf("{%d %s}", m.FromSequence, m.Spool))
		}
		if fmt.Sprint(got) != want {
			t.Errorf("spools from coil %d: %v, want %s", first, got, want)
		}
	}
}
