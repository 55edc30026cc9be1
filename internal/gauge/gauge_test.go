package gauge

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"coilkeep/internal/control"
	"coilkeep/internal/published"
)

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)+1e-15) {
		t.Errorf("%s: got %.12g, want %.12g", what, got, want)
	}
}

type model struct {
	Variance     map[string]float64
	SD           map[string]float64
	Contribution map[string]float64 `json:"pct_contribution"`
	Study        map[string]float64 `json:"pct_study"`
	Tolerance    map[string]float64 `json:"pct_tolerance"`
	Raw          float64            `json:"ndc_raw"`
	NDC          int                `json:"ndc"`
	Interaction  float64            `json:"interaction_raw"`
	FPart        float64            `json:"F_part"`
	FOperator    float64            `json:"F_op"`
	POperator    float64            `json:"p_op"`
}

// The worked example of the Measurement Systems Analysis Reference Manual, 4th
// ed.: 10 parts, 3 appraisers, 3 trials. Recomputed with R and statsmodels.
func TestCrossedManual(t *testing.T) {
	var want struct {
		Published struct {
			SS     map[string]float64
			Pooled struct{ EV, AV, GRR, PV, TV float64 } `json:"pooled_model"`
		}
		Expected struct {
			Width float64 `json:"tolerance_width"`
			ANOVA []struct{ SS, MS float64 }
			Tests struct {
				PInt float64 `json:"p_int"`
			} `json:"random_effects_tests"`
			Pooled model     `json:"pooled_model"`
			CI     []float64 `json:"repeatability_sd_ci95_chisq_pooled"`
		}
	}
	published.JSON(t, "spc/gauge/msa_10x3x3.json", &want)
	var readings []Reading
	for _, row := range published.Table(t, "spc/gauge/msa_10x3x3.csv") {
		readings = append(readings, Reading{row.Text("part"), row.Text("appraiser"), row.Number("y")})
	}
	s, err := AnalyseCrossed(readings, want.Expected.Width)
	if err != nil {
		t.Fatal(err)
	}
	for i, e := range []Effect{s.Part, s.Operator, s.Interaction, s.Error} {
		near(t, fmt.Sprintf("sum of squares %d", i), e.SumOfSquares, want.Expected.ANOVA[i].SS, 1e-9)
		near(t, fmt.Sprintf("mean square %d", i), e.MeanSquare, want.Expected.ANOVA[i].MS, 1e-9)
	}
	near(t, "p of the interaction", *s.Interaction.P, want.Expected.Tests.PInt, 1e-8)
	if !s.Pooled {
		t.Fatal("the interaction is not pooled")
	}
	w := want.Expected.Pooled
	near(t, "F of operators", *s.Operator.F, w.FOperator, 1e-9)
	near(t, "p of operators", *s.Operator.P, w.POperator, 1e-6)
	near(t, "F of parts", *s.Part.F, w.FPart, 1e-9)
	for name, got := range map[string]Share{"repeatability": s.Repeatability, "reproducibility": s.Reproducibility, "grr": s.Gauge,
		"part": s.PartVariation} {
		near(t, name, got.Variance, w.Variance[name], 1e-9)
		near(t, name+" sd", got.StandardDeviation, w.SD[name], 1e-9)
		near(t, name+" contribution", got.ContributionPercent, w.Contribution[name], 1e-9)
		near(t, name+" of study", got.StudyPercent, w.Study[name], 1e-9)
		near(t, name+" of tolerance", *got.TolerancePercent, w.Tolerance[name], 1e-9)
	}
	near(t, "distinct categories", s.DistinctCategoriesRaw, w.Raw, 3e-3) // there by 1.41
	if s.DistinctCategories != w.NDC {
		t.Errorf("%d distinct categories, want %d", s.DistinctCategories, w.NDC)
	}
	near(t, "repeatability, low", s.RepeatabilityLow, want.Expected.CI[0], 1e-8)
	near(t, "repeatability, high", s.RepeatabilityHigh, want.Expected.CI[1], 1e-8)
	p := want.Published.Pooled
	for name, pair := range map[string][2]float64{
		"EV": {s.Repeatability.StandardDeviation, p.EV}, "AV": {s.Reproducibility.StandardDeviation, p.AV},
		"GRR": {s.Gauge.StandardDeviation, p.GRR}, "PV": {s.PartVariation.StandardDeviation, p.PV},
	} {
		if math.Abs(pair[0]-pair[1]) > 2e-6 {
			t.Errorf("%s: %.6f, printed %v", name, pair[0], pair[1])
		}
	}
	if s.LimitedBy != ByOperators {
		t.Errorf("limited by %q, want the operators", s.LimitedBy)
	}
	if got := "the measuring takes up 23 % of the tolerance: usable with care; what limits it is the difference between " +
		"operators"; s.Sentence != got {
		t.Errorf("got %q, want %q", s.Sentence, got)
	}
}

// NIST/SEMATECH e-Handbook 2.6.1, run 1, wafers by probes with the days as
// repeats: a study whose interaction may not be told from chance.
func TestCrossedHandbook(t *testing.T) {
	var want struct {
		Expected struct {
			ANOVA map[string]struct{ SS, MS float64 } `json:"crossed_anova_run1_wafer_x_probe"`
		}
	}
	published.JSON(t, "spc/gauge/nist_resistivity_nested.json", &want)
	var readings []Reading
	for _, row := range published.Table(t, "spc/gauge/nist_resistivity_nested.csv") {
		if row.Text("run") == "1" {
			readings = append(readings, Reading{row.Text("wafer"), row.Text("probe"), row.Number("mean6_ohm_cm")})
		}
	}
	s, err := AnalyseCrossed(readings, 0)
	if err != nil {
		t.Fatal(err)
	}
	for name, got := range map[string]Effect{"C(wafer)": s.Part, "C(probe)": s.Operator, "C(wafer):C(probe)": s.Interaction,
		"Residual": s.Error} {
		near(t, name, got.SumOfSquares, want.Expected.ANOVA[name].SS, 1e-8)
	}
	if s.Gauge.TolerancePercent != nil {
		t.Error("a share of a tolerance that is not known")
	}
}

func TestCrossedClipsAndKeeps(t *testing.T) {
	// Operators alike but for an interaction: their own component is negative.
	var readings []Reading
	for part, row := range map[string][2]float64{"a": {1, 2}, "b": {2, 1}, "c": {5, 6}, "d": {6, 5}} {
		for i, operator := range []string{"x", "y"} {
			readings = append(readings, Reading{part, operator, row[i]}, Reading{part, operator, row[i] + 0.01})
		}
	}
	s, err := AnalyseCrossed(readings, 0)
	if err != nil {
		t.Fatal(err)
	}
	if s.Pooled || !s.OperatorVariation.Clipped || s.OperatorVariation.Variance != 0 || s.OperatorVariation.Raw >= 0 {
		t.Errorf("pooled %v, operators %+v; want the interaction kept and a negative component clipped", s.Pooled, s.OperatorVariation)
	}
	if s.LimitedBy != ByInteraction || !strings.Contains(s.Sentence, "operators differing on some coils and not on others") {
		t.Errorf("limited by %q: %s", s.LimitedBy, s.Sentence)
	}
	flat := []Reading{{"a", "x", 1}, {"a", "x", 1}, {"a", "y", 1}, {"a", "y", 1}, {"b", "x", 1}, {"b", "x", 1}, {"b", "y", 1}, {"b", "y", 1}}
	if s, err := AnalyseCrossed(flat, 1); err != nil || s.Gauge.Variance != 0 || math.IsNaN(s.DistinctCategoriesRaw) {
		t.Errorf("values all alike: %+v, %v", s.Gauge, err)
	}
}

func TestCrossedRefuses(t *testing.T) {
	full := []Reading{{"a", "x", 1}, {"a", "x", 2}, {"a", "y", 1}, {"a", "y", 2}, {"b", "x", 1}, {"b", "x", 2}, {"b", "y", 1}, {"b", "y", 2}}
	for name, readings := range map[string][]Reading{
		"nothing": nil, "one operator": full[:2], "a cell short": full[:7], "not finite": append(slices.Clone(full[:7]),
			Reading{"b", "y", math.NaN()}),
	} {
		if _, err := AnalyseCrossed(readings, 0); !errors.Is(err, ErrInput) {
			t.Errorf("%s: got %v, want ErrInput", name, err)
		}
	}
}

// NIST/SEMATECH e-Handbook 2.6.2: wafer 137, 25 occasions of 6 repetitions.
func TestCheckStandardResistivity(t *testing.T) {
	var want struct {
		Expected struct {
			Mean float64
			SD   float64 `json:"process_sd_level2"`
			Bias struct {
				Three []float64 `json:"three_sigma"`
			} `json:"bias_chart"`
		}
	}
	published.JSON(t, "spc/charts/check_standard_resistivity.json", &want)
	var occasions []float64
	for _, row := range published.Table(t, "spc/charts/check_standard_resistivity.csv") {
		occasions = append(occasions, row.Number("value_ohm_cm"))
	}
	c, err := WatchCheckStandard(occasions, 0, control.StandardScheme())
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean", c.Centre, want.Expected.Mean, 1e-12)
	near(t, "sd", c.Sigma, want.Expected.SD, 1e-9)
	near(t, "lower", c.Lower, want.Expected.Bias.Three[0], 1e-9)
	near(t, "upper", c.Upper, want.Expected.Bias.Three[1], 1e-9)
}

// NIST/SEMATECH e-Handbook 2.2.2.1.1 and 2.3.5.2: check standard 41, baseline of
// 105 occasions, then a real shift.
func TestCheckStandardMass(t *testing.T) {
	var want struct {
		Expected struct {
			Baseline int     `json:"n_baseline"`
			Mean     float64 `json:"baseline_mean"`
			SD       float64 `json:"baseline_sd"`
			Shewhart struct {
				Outside []int `json:"seq_outside_three_sigma"`
			}
			EWMA struct {
				First int `json:"first_seq_outside_k3_exact"`
			} `json:"ewma_lambda_0_2"`
		}
	}
	published.JSON(t, "spc/charts/check_standard_mass.json", &want)
	e := want.Expected
	var occasions []float64
	for _, row := range published.Table(t, "spc/charts/check_standard_mass.csv") {
		occasions = append(occasions, row.Number("value_mg"))
	}
	scheme := control.StandardScheme()
	scheme.EWMALimit = 3
	c, err := WatchCheckStandard(occasions, e.Baseline, scheme)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean", c.Centre, e.Mean, 1e-12)
	near(t, "sd", c.Sigma, e.SD, 1e-9)
	if !slices.Equal(c.Outside, e.Shewhart.Outside) {
		t.Errorf("outside at %v, want %v", c.Outside, e.Shewhart.Outside)
	}
	if c.EWMAOutside[0] != e.EWMA.First {
		t.Errorf("EWMA first outside at %d, want %d", c.EWMAOutside[0], e.EWMA.First)
	}
}

func TestCheckStandardRefuses(t *testing.T) {
	five := []float64{1, 2, 1, 2, 1}
	for name, occasions := range map[string][]float64{
		"four": five[:4], "not finite": append(slices.Clone(five[:4]), math.Inf(1)), "all equal": {1, 1, 1, 1, 1},
	} {
		if _, err := WatchCheckStandard(occasions, 0, control.StandardScheme()); !errors.Is(err, ErrInput) {
			t.Errorf("%s: got %v, want ErrInput", name, err)
		}
	}
}

func TestCheckBaseline(t *testing.T) {
	t.Parallel()
	for occasions, want := range map[int]int{0: 0, 3: 3, 5: 5, 9: 5, 10: 5, 12: 6, 40: 20, 500: 20} {
		if got := CheckBaseline(occasions); got != want {
			t.Errorf("%d occasions: %d set the limits, want %d", occasions, got, want)
		}
	}
}
