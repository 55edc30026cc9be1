package web

import (
	"fmt"
	"math"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/conformity"
	"coilkeep/internal/gauge"
	"coilkeep/internal/published"
	"coilkeep/internal/record"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

// refuses asks for path, which must be answered with a problem of this status
// that names the field and says what is wrong.
func (w *testShop) refuses(t *testing.T, path string, status int, field, says string) {
	t.Helper()
	got := want[problem.Details](t, w.ask(t, "GET", path, nil), status)
	if got.Field != field || !strings.Contains(got.Detail, says) {
		t.Errorf("%s: field %q, %q; want field %q and %q", path, got.Field, got.Detail, field, says)
	}
}

func TestSpoolsAPI(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.start(t)
	const path = "/api/v1/spools"
	if got := want[api.SpoolBook](t, w.ask(t, "GET", path, nil), http.StatusOK); got.Design != nil || got.NewestCoils != nil ||
		got.Spools == nil || len(got.Spools) != 0 {
		t.Errorf("before anything is wound: %+v", got)
	}
	w.refuses(t, path+"?design=Long+Meadow", http.StatusUnprocessableEntity, "design", `there is no design "Long Meadow"`)
	w.refuses(t, path+"?desing=x", http.StatusUnprocessableEntity, "desing", "known is design")
	w.wind(t)
	if _, err := w.store.AddDesign(t.Context(), record.Design{Name: "Fen", TargetOhms: 8000, LowerOhms: 7600, UpperOhms: 8400,
		AlphaPerKelvin: 0.00393}, ""); err != nil {
		t.Fatal(err)
	}
	if got := want[api.SpoolBook](t, w.ask(t, "GET", path+"?design=Fen", nil), http.StatusOK); got.Design == nil || *got.Design != "Fen" ||
		len(got.Spools) != 0 {
		t.Errorf("a design that was never wound: %+v", got)
	}
	// Divided by 1 + 0.00393 · 2.35 K (IEC 60028), the mean of the three is 6688.2308 Ω;
	// with the 5600 turns of the design that is 1.1943269 Ω a turn.
	for i, ohms := range []float64{6740, 6750, 6760} {
		w.measure(t, fmt.Sprintf("HN-%04d", i+1), ohms, noon.Add(time.Duration(i-100)*time.Minute))
	}
	for _, query := range []string{"", "?design=Long+Meadow"} {
		got := want[api.SpoolBook](t, w.ask(t, "GET", path+query, nil), http.StatusOK)
		if got.Design == nil || *got.Design != "Long Meadow" || got.NewestCoils != nil || len(got.Spools) != 1 {
			t.Fatalf("%q: %+v", query, got)
		}
		s := got.Spools[0]
		if s.Spool != "S-7" || s.Count != 3 || math.Abs(s.MeanOhms-6688.2308) > 1e-4 || s.OhmsPerTurn == nil ||
			math.Abs(*s.OhmsPerTurn-1.1943269) > 1e-7 || s.DifferenceRatio != nil {
			t.Errorf("%q: spool %+v", query, s)
		}
	}
}

func TestPairsAPI(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	const path = "/api/v1/pairs"
	w.refuses(t, path, http.StatusUnprocessableEntity, "first", "is missing")
	w.refuses(t, path+"?first=LM-9", http.StatusUnprocessableEntity, "first", `there is no batch "LM-9"`)
	w.refuses(t, path+"?first=LM-1&within=1", http.StatusUnprocessableEntity, "within", "known ones are first, second and within_percent")
	for _, within := range []string{"x", "0", "-1", "51", "NaN", "Inf"} {
		w.refuses(t, path+"?first=LM-1&within_percent="+within, http.StatusUnprocessableEntity, "within_percent", "not a number of percent")
	}
	w.refuses(t, path+"?first=LM-1", http.StatusConflict, "first", "no single coil in tolerance, so that there is nothing to pair")
	if r := w.ask(t, "GET", "/pairs?first=LM-1", nil); r.status != http.StatusConflict ||
		!strings.Contains(string(r.body), "there is nothing to pair") {
		t.Errorf("the page without a coil: status %d", r.status)
	}
	for i, ohms := range []float64{6740, 6900, 6745, 6905, 6300, 6820} {
		w.measure(t, fmt.Sprintf("HN-%04d", i+1), ohms, noon.Add(time.Duration(i-100)*time.Minute))
	}
	w.refuses(t, path+"?first=LM-1&second=LM-9", http.StatusUnprocessableEntity, "second", "there is no batch")
	for _, query := range []string{"?first=LM-1&within_percent=0.5", "?first=LM-1&second=LM-1&within_percent=0.5"} {
		got := want[workshop.PickList](t, w.ask(t, "GET", path+query, nil), http.StatusOK)
		if got.FirstBatch != "LM-1" || got.SecondBatch != nil || got.WithinPercent != 0.5 || got.NotInTolerance != 1 || len(got.Pairs) != 2 ||
			len(got.LeftOver) != 1 {
			t.Fatalf("%s: %+v", query, got)
		}
		// Divided by 1 + 0.00393 · 2.35 K (IEC 60028).
		const toR20 = 1 / (1 + 0.00393*2.35)
		for i, pair := range [][2]float64{{6740, 6745}, {6900, 6905}} {
			p := got.Pairs[slices.IndexFunc(got.Pairs, func(p workshop.PickedPair) bool { return p.First == fmt.Sprintf("HN-%04d", i+1) })]
			if p.Second != fmt.Sprintf("HN-%04d", i+3) || math.Abs(p.FirstR20Ohms-pair[0]*toR20) > 1e-6 ||
				math.Abs(p.SecondR20Ohms-pair[1]*toR20) > 1e-6 ||
				math.Abs(p.DifferenceRatio-math.Log(pair[1]/pair[0])) > 1e-12 {
				t.Errorf("pair %+v, want coils of %v Ω as read", p, pair)
			}
		}
		if l := got.LeftOver[0]; l.Serial != "HN-0006" || math.Abs(l.R20Ohms-6820*toR20) > 1e-6 {
			t.Errorf("left over %+v", l)
		}
	}
	if got := want[workshop.PickList](t, w.ask(t, "GET", path+"?first=LM-1&within_percent=0.01", nil), http.StatusOK); len(got.Pairs) != 0 ||
		len(got.LeftOver) != 5 {
		t.Errorf("no two so close: %+v", got)
	}
	// A coil that is sold as half of a pair is no stock.
	if _, err := w.store.AddAssembly(t.Context(), record.Assembly{Serial: "A-1", First: "HN-0001", Second: "HN-0006"}, false); err != nil {
		t.Fatal(err)
	}
	if got := want[workshop.PickList](t, w.ask(t, "GET", path+"?first=LM-1&within_percent=0.5", nil), http.StatusOK); got.InAssembly != 2 ||
		len(got.Pairs) != 1 || got.Pairs[0].First != "HN-0002" {
		t.Errorf("with a pair sold: %+v", got)
	}
}

// A coil that was measured in two batches, at two stages, is one coil: it is
// never paired with itself, and counts where it was measured last.
func TestPairsAcrossStages(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	first := w.measure(t, "HN-0001", 6740, noon.Add(-100*time.Minute))
	w.measure(t, "HN-0002", 6760, noon.Add(-99*time.Minute))
	if _, err := w.store.OpenBatch(t.Context(), record.BatchStart{Name: "LM-2", Bench: "south", Design: "Long Meadow"}); err != nil {
		t.Fatal(err)
	}
	again := func(stage string, verdict conformity.Verdict, minutes int) {
		t.Helper()
		m, _, err := w.store.Measurement(t.Context(), first.ID)
		if err != nil {
			t.Fatal(err)
		}
		m.ID, m.Sequence, m.Batch, m.Bench, m.Stage, m.Verdict, m.Time = "", 0, "LM-2", "south", stage, verdict,
			noon.Add(time.Duration(minutes)*time.Minute)
		if _, err := w.store.Record(t.Context(), m, nil); err != nil {
			t.Fatal(err)
		}
	}
	again("potted", conformity.In, -50)
	const path = "/api/v1/pairs?first=LM-1&second=LM-2"
	got := want[workshop.PickList](t, w.ask(t, "GET", path, nil), http.StatusOK)
	if got.SecondBatch == nil || *got.SecondBatch != "LM-2" || len(got.Pairs) != 1 || got.Pairs[0].First != "HN-0002" ||
		got.Pairs[0].Second != "HN-0001" || len(got.LeftOver) != 0 {
		t.Errorf("%+v, want HN-0002 with HN-0001 of the later batch", got)
	}
	again("assembled", conformity.High, -40)
	w.refuses(t, path, http.StatusConflict, "second", "batch LM-2 has no single coil in tolerance")
}

func TestStudiesAPI(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	type list struct {
		Studies []record.Study `json:"studies"`
	}
	if got := want[list](t, w.ask(t, "GET", "/api/v1/studies", nil), http.StatusOK); got.Studies == nil || len(got.Studies) != 0 {
		t.Errorf("without a study: %+v", got)
	}
	w.refuses(t, "/api/v1/studies/spring%20check", http.StatusNotFound, "", `there is no study "spring check"`)
	w.refuses(t, "/api/v1/studies?design=Fen", http.StatusUnprocessableEntity, "design", "none is known")
	design := longMeadow()
	design.Revision = 1
	take := func(part, operator string) {
		t.Helper()
		if _, err := w.north.MeasureStudy(t.Context(), bench.StudyCoil{Study: "spring check", Part: part, Operator: operator,
			Design: design}); err != nil {
			t.Fatal(err)
		}
	}
	const path = "/api/v1/studies/spring%20check"
	take("1", "Ada")
	got := want[workshop.StudyAnswer](t, w.ask(t, "GET", path, nil), http.StatusOK)
	if got.Result != nil || got.Readings != nil || got.ReadingsTaken != 1 || got.Incomplete == nil ||
		!strings.Contains(*got.Incomplete, "two of each are the least") {
		t.Errorf("after one reading: %+v", got)
	}
	for i := 1; i < 12; i++ {
		take(fmt.Sprint(i%3+1), []string{"Ada", "Ben"}[i/3%2])
	}
	w.refuses(t, path+"?parts=3", http.StatusUnprocessableEntity, "parts", "none is known")
	got = want[workshop.StudyAnswer](t, w.ask(t, "GET", path, nil), http.StatusOK)
	if got.Study != "spring check" || got.Design != "Long Meadow" || got.DesignRevision != 1 || got.Bench != "north" ||
		!slices.Equal(got.Parts, []string{"1", "2", "3"}) ||
		!slices.Equal(got.Operators, []string{"Ada", "Ben"}) || got.ReadingsTaken != 12 || len(got.Readings) != 12 || got.Incomplete != nil ||
		got.Result == nil {
		t.Fatalf("got %+v", got)
	}
	if !strings.Contains(got.Result.Sentence, "the measuring takes up 0 % of the tolerance: good") || got.Result.Repeats != 2 ||
		got.Result.DistinctCategories == nil {
		t.Errorf("result %+v", got.Result)
	}
	listed := want[list](t, w.ask(t, "GET", "/api/v1/studies", nil), http.StatusOK)
	if len(listed.Studies) != 1 || listed.Studies[0].Name != "spring check" || listed.Studies[0].Readings != 12 ||
		listed.Studies[0].Design != "Long Meadow" {
		t.Errorf("listed %+v", listed)
	}
}

// The worked example of the Measurement Systems Analysis Reference Manual, 4th
// ed. (10 parts, 3 appraisers, 3 trials, a tolerance 8 wide), told as ohms about
// the target of a design: its printed components come out with their units, each
// at its own name.
func TestPublishedStudyAPI(t *testing.T) {
	t.Parallel()
	var manual struct {
		Published struct {
			Pooled struct {
				EV, AV, GRR, PV, TV float64
				Study               map[string]float64 `json:"pct_study"`
				Contribution        map[string]float64 `json:"pct_contribution"`
				NDC                 int                `json:"ndc"`
			} `json:"pooled_model"`
		}
		Expected struct {
			CI []float64 `json:"repeatability_sd_ci95_chisq_pooled"`
		}
	}
	published.JSON(t, "spc/gauge/msa_10x3x3.json", &manual)
	w := newWorkshop(t)
	w.start(t)
	design := longMeadow()
	design.LowerOhms, design.UpperOhms = 6686, 6694
	design, err := w.store.AddDesign(t.Context(), design, "")
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range published.Table(t, "spc/gauge/msa_10x3x3.csv") {
		if _, err := w.store.AddStudyReading(t.Context(), record.StudyReading{Bench: "north", Study: "manual", Design: design.Name,
			DesignRevision: design.Revision, Part: row.Text("part"),
			Operator: row.Text("appraiser"), ResistanceOhms: 6690 + row.Number("y"), TemperatureCelsius: 20,
			AlphaPerKelvin: design.AlphaPerKelvin}); err != nil {
			t.Fatal(err)
		}
	}
	got := want[workshop.StudyAnswer](t, w.ask(t, "GET", "/api/v1/studies/manual", nil), http.StatusOK)
	if got.Result == nil || got.LowerOhms != 6686 || got.UpperOhms != 6694 {
		t.Fatalf("got %+v", got)
	}
	near := func(what string, got *float64, want, within float64) {
		t.Helper()
		if got == nil {
			t.Errorf("%s: got nothing, want %v", what, want)
		} else if !(math.Abs(*got-want) <= within) {
			t.Errorf("%s: got %.9g, want %v", what, *got, want)
		}
	}
	c, p := got.Result.Components, manual.Published.Pooled
	for name, tt := range map[string]struct {
		share workshop.StudyShare
		ohms  float64
		// within is a unit of the last printed digit; two where it comes of rounded
		// ones.
		within float64
	}{"EV": {c.Repeatability, p.EV, 1e-6}, "AV": {c.Reproducibility, p.AV, 1e-6}, "GRR": {c.Measuring, p.GRR, 2e-6},
		"PV": {c.CoilToCoil, p.PV, 1e-6}, "TV": {c.Total, p.TV, 1e-3}} {
		near(name, &tt.share.StandardDeviationOhms, tt.ohms, tt.within)
		near(name+" of the tolerance", tt.share.TolerancePercent, 100*6*tt.ohms/8, 100*6*tt.within/8)
		if name == "TV" {
			continue // not printed: 100 by definition
		}
		near(name+" of the spread", tt.share.StudyPercent, p.Study[name], 0.06) // printed with one decimal
		near(name+" of the variance", tt.share.ContributionPercent, p.Contribution[name], 0.06)
	}
	near("operators, without an interaction", &c.Operators.StandardDeviationOhms, p.AV, 1e-6)
	near("interaction, pooled", &c.Interaction.StandardDeviationOhms, 0, 0)
	near("total", c.Total.StudyPercent, 100, 1e-9)
	near("repeatability, low", &got.Result.RepeatabilityLowOhms, manual.Expected.CI[0], 1e-6)
	near("repeatability, high", &got.Result.RepeatabilityHighOhms, manual.Expected.CI[1], 1e-6)
	if !got.Result.InteractionPooled || got.Result.DistinctCategories == nil || *got.Result.DistinctCategories != p.NDC ||
		got.Result.LimitedBy != gauge.ByOperators || !strings.Contains(got.Result.Sentence,
		"what limits it is the difference between operators") {
		t.Errorf("result %+v", got.Result)
	}
}

// Readings that do not spread at all say nothing of where spread comes from.
func TestStudyWithoutSpreadAPI(t *testing.T) {
	t.Parallel()
	w := newWorkshop(t)
	w.wind(t)
	w.start(t)
	for i := range 8 {
		if _, err := w.store.AddStudyReading(t.Context(), record.StudyReading{Bench: "north", Study: "flat", Design: "Long Meadow",
			DesignRevision: 1,
			Part:           fmt.Sprint(i % 2), Operator: []string{"Ada", "Ben"}[i/2%2], ResistanceOhms: 6700, TemperatureCelsius: 20,
			AlphaPerKelvin: 0.00393}); err != nil {
			t.Fatal(err)
		}
	}
	got := want[workshop.StudyAnswer](t, w.ask(t, "GET", "/api/v1/studies/flat", nil), http.StatusOK)
	if got.Result == nil || got.Result.DistinctCategories != nil || got.Result.Components.Measuring.StudyPercent != nil ||
		got.Result.Components.Total.ContributionPercent != nil ||
		got.Result.LimitedBy != gauge.ByResolution || !strings.Contains(got.Result.Sentence, "no scatter of the measuring shows at all") {
		t.Errorf("got %+v", got.Result)
	}
}
