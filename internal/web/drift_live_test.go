package web

import (
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/drift"
	"coilkeep/internal/drift/watch"
	"coilkeep/internal/record"
)

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
			g := driftView{Drift: &watch.Drift{Report: report, Standing: watch.Standing(report)}}.Glance()
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
	view := driftView{Drift: &watch.Drift{Report: report, Standing: []string{watch.EWMA}}}
	got, want := view.Glance().Evidence, []string{"Wind on and watch: a quiet process raises some signal about every 52 coils."}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

// The picture at the bench shows level and limits, what was withdrawn, and the
// spool in use when it does not reach back to its change.
func TestBenchPictureShowsTheLevel(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	const path = "/benches/north/run?width=900"
	w.windCoils(t, 1, 30, 6750)
	w.windCoils(t, 31, 45, 6850)
	last := w.measure(t, "HN-0046", 6850, noon.Add(-54*time.Minute))
	if _, err := w.store.Void(t.Context(), last.ID, "wrong coil", "Ada"); err != nil {
		t.Fatal(err)
	}
	text := w.shows(t, path, "target</text>", "level</text>", "signal</text>", "spool S-7</text>", "void</text>", `width="900"`)
	if got := strings.Count(text, `class="point"`); got != 46 {
		t.Errorf("%d coils are drawn, want 46", got)
	}
	w.windCoils(t, 47, 210, 6850)
	text = w.shows(t, path, "target</text>", "level</text>", "spool S-7</text>")
	if got := strings.Count(text, `class="point"`); got != chartedMeasurements {
		t.Errorf("%d coils are drawn, want the newest %d", got, chartedMeasurements)
	}
}

// The page of a batch that is too long for one picture shows its newest coils,
// each judged and with a way to its record.
func TestLongBatchShowsItsNewestCoils(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	const coils = listedCoils + 4
	var last record.Measurement
	for i := 1; i <= coils; i++ {
		last = w.measure(t, fmt.Sprintf("HN-%04d", i), 6750+float64(i*7919%101), noon.Add(time.Duration(i-coils)*time.Minute))
	}
	w.shows(t, "/batches/LM-1", "The picture shows the newest coils only", "spool S-7</text>",
		`class="point" href="/coils/`+last.Serial+`?measurement=`+last.ID+`"`)
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

// BenchmarkBenchRun serves what the page of a bench fetches after every coil, of
// a batch of a thousand coils: as after a coil, which is analysed first, and as
// once more.
func BenchmarkBenchRun(b *testing.B) {
	w := newWorkshop(b)
	w.wind(b)
	random := rand.New(rand.NewPCG(7, 8))
	coil := func(i int) {
		w.measure(b, fmt.Sprintf("HN-%05d", i), 6750+20*random.NormFloat64(), noon.Add(time.Duration(i-2000)*time.Minute))
	}
	for i := range 1000 {
		coil(i)
	}
	handler := w.site(&localAddress).handler()
	serve := func(b *testing.B) time.Duration {
		b.Helper()
		start := time.Now()
		answer := httptest.NewRecorder()
		request := httptest.NewRequest("GET", "/benches/north/run?width=900", nil)
		request.Host = "127.0.0.1"
		handler.ServeHTTP(answer, request)
		took := time.Since(start)
		if answer.Code != http.StatusOK || !strings.Contains(answer.Body.String(), "control limits") {
			b.Fatalf("status %d: %s", answer.Code, answer.Body)
		}
		return took
	}
	for _, c := range []struct {
		name string
		coil bool
	}{{"after a coil", true}, {"once more", false}} {
		b.Run(c.name, func(b *testing.B) {
			var longest, total time.Duration
			wound := 0
			for b.Loop() {
				if c.coil { // withdrawn again, so that there are a thousand
					b.StopTimer()
					m := w.measure(b, fmt.Sprintf("HN-X%d-%d", b.N, wound), 6750, noon)
					if _, err := w.store.Void(b.Context(), m.ID, "benchmark", ""); err != nil {
						b.Fatal(err)
					}
					wound++
					b.StartTimer()
				}
				took := serve(b)
				longest, total = max(longest, took), total+took
			}
			b.ReportMetric(float64(longest.Microseconds())/1000, "longest-ms")
		})
	}
}
