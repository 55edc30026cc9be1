package drift

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/control"
)

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)+1e-15) {
		t.Errorf("%s: got %.12g, want %.12g", what, got, want)
	}
}

func contains(t *testing.T, what, text string, words ...string) {
	t.Helper()
	for _, w := range words {
		if !strings.Contains(text, w) {
			t.Errorf("%s lacks %q: %s", what, w, text)
		}
	}
}

// The step at a change of spool is found at its coil, billed to the spool and
// not to the meter or the room, and turned into turns.
func TestStepAtSpoolChange(t *testing.T) {
	w := newWorkshop(2).wind(40, "SP-07", unmoved).wind(30, "SP-08", movedBy(0.012))
	r := analysed(t, w.coils, ordinary())
	if len(r.ChangePoints) != 1 {
		t.Fatalf("%d changes, want one: %+v", len(r.ChangePoints), r.ChangePoints)
	}
	c := r.ChangePoints[0]
	if c.Low > 40 || c.High < 40 || c.High-c.Low > 10 {
		t.Errorf("last before the change in %d to %d, want about 40", c.Low, c.High)
	}
	if c.ShiftRatioLow > 0.012 || c.ShiftRatioHigh < 0.012 {
		t.Errorf("shift %.4f to %.4f, want it to hold 0.012", c.ShiftRatioLow, c.ShiftRatioHigh)
	}
	if r.Attribution[0].Cause != "spool" {
		t.Errorf("billed to %q, want the spool", r.Attribution[0].Cause)
	}
	contains(t, "summary", r.Summary, "From coil 41", "at the change to spool SP-08", "the check standard did not move",
		"the room hardly moved (1.1 K) and did not matter", "Take off")
	// 1.2 % of 8000 turns, each on the outside 1.125 times the mean: 85.
	if a := r.Advice; !a.Act || *a.High < -85-15 || *a.Low > -85+15 || *a.Low > -84.3 || *a.High < -84.3 {
		t.Errorf("advice %v turns (%v to %v), act %v; want about -84", *a.Turns, *a.Low, *a.High, a.Act)
	}
	if r.Spread == nil || r.Spread.Components[1].Level != "spool" || r.Spread.Components[1].Percent < 50 {
		t.Errorf("spread %+v, want most of it between spools", r.Spread)
	}
	if got := r.Spools[1]; got.P == nil || *got.P > 1e-6 || *got.TurnsForTarget > 7950 || *got.TurnsForTarget < 7880 {
		t.Errorf("spool book %+v", got)
	}
}

// A change of spool within a real slope is told, and not called the cause.
func TestSpoolChangeWithinTrend(t *testing.T) {
	rising := func(from int) func(int) float64 { return func(i int) float64 { return 0.0004 * float64(from+i) } }
	r := analysed(t, newWorkshop(3).wind(30, "SP-07", rising(0)).wind(30, "SP-08", rising(30)).coils, ordinary())
	contains(t, "summary", r.Summary, "rise by",
		"the change to spool SP-08 at coil 31 (HN-0031) lies within it, but a step there fits less well")
}

func TestDriftingMeterIsBilledToTheMeter(t *testing.T) {
	for _, tt := range []struct {
		name  string
		drift func(i int) float64
		moved string
	}{
		{"slowly", func(i int) float64 { return 0.00015 * float64(i) }, "+1.3 %"},
		{"at once", func(i int) float64 { return 0.01 * float64(i/50) }, "+1.0 %"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			coils := newWorkshop(5).wind(100, "SP-07", unmoved).coils
			coils[50].Spool = "SP-08" // an innocent bystander
			for i := range coils {
				f := 1 + tt.drift(i)
				coils[i].R20Ohms *= f
				for j := range coils[i].CheckStandardOhms {
					coils[i].CheckStandardOhms[j] *= f
				}
			}
			r := analysed(t, coils, ordinary())
			if !r.Drifting || len(r.Attribution) == 0 || r.Attribution[0].Cause != "meter" {
				t.Fatalf("billed to %+v, want the meter", r.Attribution)
			}
			if r.Advice.Act {
				t.Errorf("turns are advised for a drift of the meter: %s", r.Advice.Sentence)
			}
			contains(t, "summary", r.Summary, "the meter or its leads, not the winder", "Leave it alone")
			contains(t, "check standard", r.CheckStandard.Sentence, "its last 3 readings stand "+tt.moved+" from its first 3")
		})
	}
}

// A probe that does not follow the coils makes R20 move with the room.
func TestRoomIsBilledToTheRoom(t *testing.T) {
	coils := newWorkshop(7).wind(80, "SP-07", unmoved).coils
	for i := range coils {
		celsius := 21 + 3*math.Sin(float64(i)/9)
		coils[i].TemperatureCelsius = &celsius
		coils[i].R20Ohms *= 1 - 0.003*(celsius-21)
	}
	r := analysed(t, coils, ordinary())
	if r.Temperature == nil || !r.Temperature.Flagged || math.Abs(r.Temperature.RatioPerK+0.003) > 0.001 {
		t.Fatalf("temperature %+v, want about -0.3 %%/K flagged", r.Temperature)
	}
	contains(t, "summary", r.Summary, "the probe is not at the temperature of the coils")
	if r.Advice.Act {
		t.Errorf("turns are advised for a drift of the room: %s", r.Advice.Sentence)
	}
	for _, a := range r.Attribution {
		if a.Cause == "winding" {
			t.Errorf("billed to the winding: %s", a.Sentence)
		}
	}
	// A jump of the room together with the coils cannot be told from a step.
	coils = newWorkshop(8).wind(80, "SP-07", unmoved).coils
	for i := range coils[40:] {
		*coils[40+i].TemperatureCelsius += 5
		coils[40+i].R20Ohms *= 0.985
	}
	r = analysed(t, coils, ordinary())
	if len(r.Attribution) == 0 || r.Attribution[0].Cause != "temperature" || r.Advice.Act {
		t.Errorf("billed to %+v, act %v; want the temperature suspected and no turns", r.Attribution, r.Advice.Act)
	}
}

func TestTrend(t *testing.T) {
	for _, tt := range []struct {
		name        string
		quiet, from int
		seed        uint64
	}{{"from the first coil", 0, 1, 3}, {"from coil 61", 60, 61, 4}} {
		t.Run(tt.name, func(t *testing.T) {
			const slope = 0.0003
			r := analysed(t, newWorkshop(tt.seed).wind(tt.quiet, "SP-07", unmoved).wind(50, "SP-07",
				func(i int) float64 { return slope * float64(i) }).coils, ordinary())
			if r.Trend == nil || !r.Trend.Real {
				t.Fatalf("no trend: %s", r.Summary)
			}
			// Twenty coils move the level by less than two sigma.
			if got := r.Trend.FromSequence; math.Abs(float64(got-tt.from)) > 20 {
				t.Errorf("from coil %d, want about %d", got, tt.from)
			}
			if r.Trend.SlopeLow > slope*targetOhms || r.Trend.SlopeHigh < slope*targetOhms {
				t.Errorf("slope %v to %v ohms a coil, want it to hold %v", r.Trend.SlopeLow, r.Trend.SlopeHigh, slope*targetOhms)
			}
			// The line ends 1.5 % up, 3 % is the limit: 50 coils to go.
			if n := r.Trend.CoilsToLimit; n == nil || *n < 30 || *n > 75 {
				t.Errorf("coils to the limit %v, want about 50", n)
			}
			contains(t, "summary", r.Summary, "rise by", "leaves the tolerance", "nothing recorded changed on the way")
		})
	}
}

// Single bad coils are named and change nothing else.
func TestOutliersAreNamedAndLeftOut(t *testing.T) {
	clean := newWorkshop(6).wind(60, "SP-07", unmoved).coils
	spoiled := slices.Clone(clean)
	spoiled[20].R20Ohms *= 0.9
	spoiled[33].R20Ohms *= 1.25
	a, b := analysed(t, clean, ordinary()), analysed(t, spoiled, ordinary())
	var named []int
	for _, o := range b.Outliers {
		named = append(named, o.Sequence)
	}
	if !slices.Equal(named, []int{21, 34}) || len(a.Outliers) != 0 {
		t.Fatalf("outliers %v and %v, want 21 and 34 and none", named, a.Outliers)
	}
	if math.Abs(b.Baseline.MeanOhms/a.Baseline.MeanOhms-1) > 0.0005 ||
		math.Abs(b.Baseline.SigmaWithinOhms/a.Baseline.SigmaWithinOhms-1) > 0.15 {
		t.Errorf("the baseline moved from %+v to %+v", a.Baseline, b.Baseline)
	}
	if b.Drifting || b.Points[20].InBaseline {
		t.Errorf("drifting %v, in baseline %v; want neither", b.Drifting, b.Points[20].InBaseline)
	}
	contains(t, "sentence", b.Outliers[0].Sentence, "shorted turns")
	contains(t, "sentence", b.Outliers[1].Sentence, "gauge")
	if !slices.Contains(b.Charts.Individuals.Signals, 21) || !slices.ContainsFunc(b.Rules,
		func(r RuleSignal) bool { return r.Rule == "WE1" && r.Sequence == 34 }) {
		t.Errorf("the outliers are not beyond the limits of the individuals: %v, %v", b.Charts.Individuals.Signals, b.Rules)
	}
	// The last coil alone is provisional; with two followers it is a new level.
	last := slices.Clone(clean)
	last[59].R20Ohms *= 1.05
	if r := analysed(t, last, ordinary()); len(r.Outliers) != 1 || !r.Outliers[0].Provisional {
		t.Errorf("outliers %+v, want the last one, provisional", r.Outliers)
	}
	last[58].R20Ohms *= 1.05
	last[57].R20Ohms *= 1.05
	if r := analysed(t, last, ordinary()); len(r.Outliers) != 0 || len(r.ChangePoints) != 1 || r.ChangePoints[0].LastBefore != 57 {
		t.Errorf("outliers %+v, changes %+v; want a new level from coil 58", r.Outliers, r.ChangePoints)
	}
}

// With few coils the report says so and gives what it can.
func TestFewCoils(t *testing.T) {
	for n := 1; n <= 12; n++ {
		r := analysed(t, newWorkshop(8).wind(n, "SP-07", unmoved).coils, ordinary())
		if (r.Baseline != nil) != (n >= control.LeastBaseline) {
			t.Errorf("%d coils: baseline %v", n, r.Baseline)
		}
		if r.Drifting || r.Advice != nil && r.Advice.Act {
			t.Errorf("%d coils: %s", n, r.Summary)
		}
		if n < control.LeastBaseline && !slices.ContainsFunc(r.Notes,
			func(s string) bool { return strings.Contains(s, "too few good coils for control limits") }) {
			t.Errorf("%d coils: notes %q", n, r.Notes)
		}
		if n == 12 && !r.Baseline.Short {
			t.Errorf("a baseline of 12 is not marked as short")
		}
		if _, err := json.Marshal(r); err != nil {
			t.Errorf("%d coils: %v", n, err)
		}
	}
}

// Values without any scatter, and a step between two such levels, divide by
// nothing.
func TestWithoutScatter(t *testing.T) {
	flat := make([]Coil, 40)
	for i := range flat {
		flat[i].R20Ohms = 6690
	}
	r := analysed(t, flat, ordinary())
	if r.Baseline != nil || r.Drifting || len(r.Outliers) != 0 {
		t.Errorf("baseline %v, drifting %v, outliers %v; want none", r.Baseline, r.Drifting, r.Outliers)
	}
	if !slices.ContainsFunc(r.Notes, func(s string) bool { return strings.Contains(s, "stuck") }) {
		t.Errorf("notes %q do not ask whether the meter is stuck", r.Notes)
	}
	for i := range flat[20:] {
		flat[20+i].R20Ohms = 6700
	}
	r = analysed(t, flat, ordinary())
	if len(r.ChangePoints) != 1 || r.ChangePoints[0].LastBefore != 20 || r.ChangePoints[0].Low != 20 || r.ChangePoints[0].High != 20 {
		t.Errorf("changes %+v, want one after coil 20", r.ChangePoints)
	}
	for i := range flat {
		flat[i].R20Ohms = 6690 + float64(i)
	}
	r = analysed(t, flat, ordinary())
	if r.Trend == nil || !r.Trend.Real || math.Abs(r.Trend.SlopeOhmsPerCoil-1) > 1e-9 || len(r.ChangePoints) != 0 {
		t.Errorf("trend %+v, changes %+v; want a slope of 1", r.Trend, r.ChangePoints)
	}
	if _, err := json.Marshal(r); err != nil {
		t.Error(err)
	}
}

// A coil known less well than the others has wider limits, and does not join the
// baseline when it was forced.
func TestUncertainCoilsHaveWiderLimits(t *testing.T) {
	coils := newWorkshop(9).wind(60, "SP-07", unmoved).coils
	coils[50].R20Ohms = targetOhms * 1.014 // 4 sigma
	if r := analysed(t, coils, ordinary()); !slices.Contains(r.Charts.Individuals.Signals, 51) {
		t.Error("a coil 4 sigma off is within its limits")
	}
	coils[50].ExpandedUncertaintyOhms = 80
	coils[5].Doubtful = "forced"
	r := analysed(t, coils, ordinary())
	if slices.Contains(r.Charts.Individuals.Signals, 51) {
		t.Error("a coil that may be off by as much as it is raises a signal")
	}
	if r.Points[5].InBaseline || r.Baseline.Count != DefaultBaseline || r.Baseline.LastSequence != 41 {
		t.Errorf("baseline %+v, want 40 coils without the forced one", r.Baseline)
	}
}

func TestBaselineChoices(t *testing.T) {
	coils := newWorkshop(10).wind(80, "SP-07", unmoved).coils
	o := ordinary()
	o.BaselineCount = 25
	if b := analysed(t, coils, o).Baseline; b.Count != 25 || b.LastSequence != 25 || !b.Short {
		t.Errorf("baseline %+v, want the first 25, short", b)
	}
	o = ordinary()
	o.BaselineFrom, o.BaselineTo = coils[20].Time, coils[70].Time
	b := analysed(t, coils, o).Baseline
	if b.FirstSequence != 21 || b.LastSequence != 70 || b.Count != 50 {
		t.Errorf("baseline %+v, want coils 21 to 70", b)
	}
	o = ordinary()
	o.Frozen = b
	r := analysed(t, coils[:5], o)
	if r.Baseline == nil || !r.Baseline.Frozen || r.Baseline.MeanOhms != b.MeanOhms || r.Charts == nil {
		t.Errorf("baseline %+v, want the frozen one and charts even of 5 coils", r.Baseline)
	}
}

func TestChangeWithinBaselineIsSaid(t *testing.T) {
	r := analysed(t, newWorkshop(16).wind(15, "SP-07", unmoved).wind(60, "SP-08", movedBy(0.02)).coils, ordinary())
	if !slices.ContainsFunc(r.Notes, func(s string) bool { return strings.Contains(s, "the baseline holds the change at coil 16") }) {
		t.Errorf("notes %q", r.Notes)
	}
}

func TestAutocorrelationIsFlagged(t *testing.T) {
	random := rand.New(rand.NewPCG(11, 12))
	coils, x := make([]Coil, 150), 0.0
	for i := range coils {
		x = 0.6*x + random.NormFloat64()
		coils[i].R20Ohms = targetOhms * (1 + 0.003*x)
	}
	r := analysed(t, coils, Options{})
	if r.Autocorrelation == nil || !r.Autocorrelation.Flagged || r.Autocorrelation.Widening < 1.2 {
		t.Errorf("autocorrelation %+v, want it flagged", r.Autocorrelation)
	}
	quiet := analysed(t, newWorkshop(13).wind(150, "", unmoved).coils, ordinary())
	if quiet.Autocorrelation.Flagged || quiet.Autocorrelation.Widening != 1 {
		t.Errorf("independent coils are flagged: %+v", quiet.Autocorrelation)
	}
}

func TestSubgroupCharts(t *testing.T) {
	o := ordinary()
	o.Subgroup = 5
	r := analysed(t, newWorkshop(14).wind(60, "", unmoved).wind(20, "", movedBy(0.006)).coils, o)
	if n := len(r.Charts.Means.Values); n != 16 {
		t.Fatalf("%d subgroups, want 16", n)
	}
	if !slices.ContainsFunc(r.Charts.Means.Signals, func(i int) bool { return i > 12 }) {
		t.Errorf("means signal at %v, want after subgroup 12", r.Charts.Means.Signals)
	}
	b := r.Baseline
	near(t, "upper limit", r.Charts.Means.Upper, b.MeanOhms+3*b.SigmaWithinOhms/math.Sqrt(5), 1e-12)
}

func TestContractNames(t *testing.T) {
	r := analysed(t, newWorkshop(2).wind(40, "SP-07", unmoved).wind(30, "SP-08", movedBy(0.012)).coils, ordinary())
	text, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var got map[string]any
	if err := json.Unmarshal(text, &got); err != nil {
		t.Fatal(err)
	}
	within := func(path ...string) {
		t.Helper()
		var at any = got
		for _, key := range path {
			if l, ok := at.([]any); ok {
				if len(l) == 0 {
					t.Errorf("%v: the list before %s is empty", path, key)
					return
				}
				at = l[0]
			}
			m, _ := at.(map[string]any)
			var ok bool
			if at, ok = m[key]; !ok {
				t.Errorf("no %v", path)
				return
			}
		}
	}
	for _, key := range []string{"points", "rules", "outliers", "summary"} {
		within(key)
	}
	for object, keys := range map[string][]string{
		"baseline":      {"mean_ohms", "sigma_within_ohms", "sigma_overall_ohms", "count"},
		"rules":         {"rule", "sequence"},
		"trend":         {"slope_ohms_per_coil", "standard_error", "p", "coils_to_limit"},
		"change_points": {"last_before", "low", "high", "shift_ohms", "shift_low", "shift_high", "p"},
		"attribution":   {"cause", "evidence", "p", "sentence"},
		"advice":        {"turns", "low", "high", "act", "sentence"},
		"capability":    {"cp", "cpk", "pp", "ppk"},
	} {
		for _, key := range keys {
			within(object, key)
		}
	}
	for _, chart := range []string{"individuals", "moving_range", "ewma", "cusum"} {
		for _, key := range []string{"centre", "lower", "upper", "values", "signals"} {
			within("charts", chart, key)
		}
	}
	for i, v := range r.Charts.CUSUM.Values {
		if up, down := *r.Charts.CUSUM.Up[i], *r.Charts.CUSUM.Down[i]; math.Abs(*v) != max(up, down) || *v < 0 && -*v != down {
			t.Errorf("CUSUM value %v at coil %d; the sums are %v up and %v down", *v, i+1, up, down)
		}
	}
	if len(r.Conventions) < 10 {
		t.Errorf("%d conventions are stated", len(r.Conventions))
	}
}

func TestRefuses(t *testing.T) {
	good := []Coil{{R20Ohms: 6690}}
	cold := -80.0
	for name, tt := range map[string]struct {
		coils   []Coil
		options Options
		says    string
	}{
		"no coils":         {nil, Options{}, "no coils"},
		"no resistance":    {[]Coil{{R20Ohms: 6690}, {Serial: "HN-0002"}}, Options{}, "coil 2 (HN-0002): R20 of 0 ohms"},
		"not a number":     {[]Coil{{R20Ohms: math.NaN()}}, Options{}, "coil 1"},
		"bad uncertainty":  {[]Coil{{R20Ohms: 6690, ExpandedUncertaintyOhms: -1}}, Options{}, "uncertainty"},
		"bad temperature":  {[]Coil{{R20Ohms: 6690, TemperatureCelsius: &cold}}, Options{}, "temperature"},
		"one limit":        {good, Options{UpperOhms: 7000}, "give both"},
		"limits crossed":   {good, Options{LowerOhms: 7000, UpperOhms: 6000}, "above the lower"},
		"target outside":   {good, Options{TargetOhms: 5000, LowerOhms: 6000, UpperOhms: 7000}, "outside the tolerance"},
		"short baseline":   {good, Options{BaselineCount: 3}, "takes 10 at least"},
		"useless frozen":   {good, Options{Frozen: &Baseline{MeanOhms: 6690}}, "frozen baseline"},
		"subgroups":        {good, Options{Subgroup: 99}, "subgroups"},
		"negative turns":   {good, Options{Winding: Winding{Turns: -1}}, "turns"},
		"impossible turns": {good, Options{Winding: Winding{OutermostOverMean: 0.5}}, "outermost"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Analyse(tt.coils, tt.options)
			if !errors.Is(err, ErrInput) || !strings.Contains(err.Error(), tt.says) {
				t.Errorf("got %v, want ErrInput that says %q", err, tt.says)
			}
		})
	}
}

// A pause and a change of operator at one coil cannot be told apart: both are
// listed.
func TestCoincidingMarks(t *testing.T) {
	w := newWorkshop(15).wind(40, "SP-07", unmoved).wind(40, "SP-07", movedBy(-0.015))
	for i := range w.coils[40:] {
		w.coils[40+i].Operator = "Jon"
		w.coils[40+i].Time = w.coils[40+i].Time.Add(14 * time.Hour)
	}
	r := analysed(t, w.coils, ordinary())
	var causes []string
	for _, a := range r.Attribution {
		causes = append(causes, a.Cause)
	}
	if !slices.Equal(causes, []string{"operator", "pause"}) {
		t.Errorf("causes %v, want operator and pause", causes)
	}
	contains(t, "second cause", r.Attribution[1].Sentence, "it may also be the pause of 14 hours")
	contains(t, "advice", r.Advice.Sentence, "wind on")
}

// A slope that has ended is told, with what came of it, and is not called quiet.
func TestEndedTrendIsTold(t *testing.T) {
	told := 0
	const batches = 40
	for seed := range uint64(batches) {
		ramp := func(i int) float64 { return 0.0004 * float64(i) }
		r := analysed(t, newWorkshop(seed).wind(40, "SP-07", ramp).wind(40, "SP-07", movedBy(0.016)).coils, ordinary())
		if !r.Drifting {
			t.Errorf("seed %d: called quiet: %s", seed, r.Summary)
		}
		if len(r.EarlierTrends) != 1 || r.Trend != nil && r.Trend.Real {
			continue
		}
		// Ten coils move the level by little more than a sigma.
		if e := r.EarlierTrends[0]; e.FromSequence <= 15 && e.ToSequence >= 28 && e.ToSequence <= 60 {
			told++
			if !strings.Contains(r.Summary, "the coils rose by") && !strings.Contains(r.Summary,
				"Before that: from coil "+strconv.Itoa(e.FromSequence)) {
				t.Errorf("seed %d: the summary lacks it: %s", seed, r.Summary)
			}
		}
	}
	// Others are told as steps or as one slope, which describe some as well.
	t.Logf("an ended trend is told as such in %d of %d", told, batches)
	if told < batches/2 {
		t.Errorf("an ended trend is told in %d of %d batches", told, batches)
	}
}

// A slope that begins on a new spool, beside a step there: both are told.
func TestTrendBeginsOnNewSpool(t *testing.T) {
	ramp := func(i int) float64 { return 0.012 + 0.0004*float64(i) }
	r := analysed(t, newWorkshop(4).wind(30, "SP-07", unmoved).wind(40, "SP-08", ramp).coils, ordinary())
	contains(t, "summary", r.Summary, "From coil 31 (HN-0031) the coils rise by",
		"it begins at the change to spool SP-08; nothing else recorded changed on the way",
		"Before that: from coil 31 (HN-0031), +1.")
}
