package control

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"coilkeep/internal/published"
	"coilkeep/internal/statistics"
)

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)+1e-12) {
		t.Errorf("%s: got %.12g, want %.12g", what, got, want)
	}
}

func nearList(t *testing.T, what string, got, want []float64, relative float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: %d values, want %d", what, len(got), len(want))
	}
	for i := range want {
		near(t, what, got[i], want[i], relative)
	}
}

// Constants of control charts, integrated independently to nine decimals; they
// agree with the printed tables of ASTM MNL 7 and ISO 7870-2 quoted in textbooks.
func TestConstants(t *testing.T) {
	for _, row := range published.Table(t, "spc/charts/constants.csv") {
		n := int(row.Number("n"))
		c, err := ConstantsFor(n)
		if err != nil {
			t.Fatal(err)
		}
		for name, got := range map[string]float64{
			"d2": c.MeanRange, "d3": c.RangeSD, "D3": c.D3, "D4": c.D4,
		} {
			if want := row.Number(name); math.Abs(got-want) > 2e-8 {
				t.Errorf("n = %d: %s is %.9f, want %.9f", n, name, got, want)
			}
		}
	}
	for _, n := range []int{1, 26} {
		if _, err := ConstantsFor(n); !errors.Is(err, ErrInput) {
			t.Errorf("n = %d: got %v, want ErrInput", n, err)
		}
	}
}

// NIST/SEMATECH e-Handbook 6.3.2.2 (flow rate), and the antifreeze data of
// Wetherill and Brown 1991, p. 120, both with 3/1.128.
func TestIndividuals(t *testing.T) {
	type chart struct {
		Data      []float64
		Expected  map[string]any
		Published map[string]any
	}
	for name, digits := range map[string]float64{"individuals_nist_flow": 1e-4, "individuals_antifreeze": 1e-6} {
		t.Run(name, func(t *testing.T) {
			var want chart
			published.JSON(t, "spc/charts/"+name+".json", &want)
			c, err := ChartIndividuals(want.Data)
			if err != nil {
				t.Fatal(err)
			}
			expect := func(key string) float64 { return want.Expected[key].(float64) }
			lower, upper := c.Centre-3*c.Sigma, c.Centre+3*c.Sigma
			near(t, "mean", c.Centre, expect("mean"), 1e-12)
			near(t, "mean range", c.MeanRange, expect("mr_bar"), 1e-9)
			near(t, "upper", upper, expect("x_ucl_with_d2_rounded_1_128"), 1e-9)
			near(t, "lower", lower, expect("x_lcl_with_d2_rounded_1_128"), 1e-9)
			near(t, "range limit", RangeLimit(c.MeanRange), expect("mr_ucl_D4_exact"), 1e-9)
			near(t, "robust sigma", RobustSigma(want.Data), expect("sigma_from_median_mr"), 1e-9)
			if math.Abs(upper-want.Published["x_ucl"].(float64)) > digits || math.Abs(lower-want.Published["x_lcl"].(float64)) > digits {
				t.Errorf("limits %.7g and %.7g, printed are %v and %v", lower, upper, want.Published["x_lcl"], want.Published["x_ucl"])
			}
		})
	}
	if _, err := ChartIndividuals([]float64{1}); !errors.Is(err, ErrInput) {
		t.Errorf("one value: got %v, want ErrInput", err)
	}
}

// NIST/SEMATECH e-Handbook 6.3.2.4.
func TestEWMAHandbook(t *testing.T) {
	var want struct {
		Data       []float64
		Parameters struct {
			Lambda, L, Target, Sigma float64
		}
		Published struct{ EWMA []float64 }
		Expected  struct {
			Z     []float64 `json:"z"`
			Upper []float64 `json:"ucl_exact"`
		}
	}
	published.JSON(t, "spc/charts/ewma_nist.json", &want)
	p := want.Parameters
	m, err := NewMonitor(Scheme{Lambda: p.Lambda, EWMALimit: p.L, Slack: 0.5, DecisionInterval: 5})
	if err != nil {
		t.Fatal(err)
	}
	for i, x := range want.Data {
		s := m.Add((x - p.Target) / p.Sigma)
		near(t, "EWMA", p.Target+p.Sigma*s.EWMA, want.Expected.Z[i], 1e-9)
		near(t, "upper limit", p.Target+p.Sigma*s.EWMALimit, want.Expected.Upper[i], 1e-9)
		if got := p.Target + p.Sigma*s.EWMA; math.Abs(got-want.Published.EWMA[i]) > 0.00501 {
			t.Errorf("point %d: %.4f, printed %v", i+1, got, want.Published.EWMA[i])
		}
		if s.EWMASignal {
			t.Errorf("signal at point %d, want none", i+1)
		}
	}
}

// NIST/SEMATECH e-Handbook 6.3.2.3: k and h there are in the unit of the data.
func TestCUSUMHandbook(t *testing.T) {
	var want struct {
		Data       []float64
		Parameters struct {
			Target float64
			K      float64 `json:"k_in_data_units"`
			H      float64 `json:"h_in_data_units"`
			Sigma  float64 `json:"sigma_of_mean"`
		}
		Published struct {
			High []float64 `json:"s_hi"`
			Low  []float64 `json:"s_lo"`
		}
		Expected struct {
			Plus      []float64 `json:"c_plus"`
			Minus     []float64 `json:"c_minus"`
			PlusRun   []int     `json:"n_plus"`
			MinusRun  []int     `json:"n_minus"`
			PlusAbove []int     `json:"obs_c_plus_above_h"`
		}
	}
	published.JSON(t, "spc/charts/cusum_nist.json", &want)
	p := want.Parameters
	m, err := NewMonitor(Scheme{Lambda: 0.2, EWMALimit: 3, Slack: p.K / p.Sigma, DecisionInterval: p.H / p.Sigma})
	if err != nil {
		t.Fatal(err)
	}
	var signals []int
	for i, x := range want.Data {
		s := m.Add((x - p.Target) / p.Sigma)
		if math.Abs(s.Up*p.Sigma-want.Expected.Plus[i]) > 1e-9 || math.Abs(s.Down*p.Sigma-want.Expected.Minus[i]) > 1e-9 {
			t.Errorf("point %d: %v and %v, want %v and %v", i+1, s.Up*p.Sigma, s.Down*p.Sigma, want.Expected.Plus[i], want.Expected.Minus[i])
		}
		if math.Abs(s.Up*p.Sigma-want.Published.High[i]) > 0.0051 || math.Abs(s.Down*p.Sigma-want.Published.Low[i]) > 0.0051 {
			t.Errorf("point %d: printed are %v and %v", i+1, want.Published.High[i], want.Published.Low[i])
		}
		if s.UpRun != want.Expected.PlusRun[i] || s.DownRun != want.Expected.MinusRun[i] {
			t.Errorf("point %d: runs %d and %d, want %d and %d", i+1, s.UpRun, s.DownRun, want.Expected.PlusRun[i], want.Expected.MinusRun[i])
		}
		if s.CUSUMSignal {
			signals = append(signals, i+1)
		}
	}
	if !slices.Equal(signals, want.Expected.PlusAbove) {
		t.Errorf("signals at %v, want %v", signals, want.Expected.PlusAbove)
	}
}

// Montgomery 1991, pp. 206-213 (piston rings), also with unequal subgroups, and
// the gear diameters of NIST GEAR.DAT.
func TestSubgroups(t *testing.T) {
	var rings, gear struct{ Expected map[string]any }
	published.JSON(t, "spc/charts/xbar_pistonrings.json", &rings)
	published.JSON(t, "spc/charts/xbar_gear.json", &gear)
	for _, tt := range []struct {
		name   string
		groups [][]float64
		want   map[string]any
	}{
		{"piston rings", subgroups(t, "spc/charts/xbar_pistonrings.csv", "sample", nil)[:25], rings.Expected},
		{"gear", subgroups(t, "spc/charts/xbar_gear.csv", "batch", nil), gear.Expected},
	} {
		t.Run(tt.name, func(t *testing.T) {
			expect := func(key string) float64 { return tt.want[key].(float64) }
			n := len(tt.groups[0])
			c, err := ChartSubgroups(tt.groups)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "centre", c.Centre, expect("grand_mean"), 1e-12)
			near(t, "mean range", statistics.MomentsOf(c.Ranges).Mean, expect("r_bar"), 1e-9)
			near(t, "sigma", c.Sigma, expect("sigma_within_rbar_over_d2"), 1e-8)
			lower, upper := c.MeanLimits(n)
			near(t, "lower by A2", lower, expect("xbar_lcl_A2"), 1e-8)
			near(t, "upper by A2", upper, expect("xbar_ucl_A2"), 1e-8)
			lower, upper, err = c.RangeLimits(n)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "range, lower", lower, expect("r_lcl_D3"), 1e-8)
			near(t, "range, upper", upper, expect("r_ucl_D4"), 1e-8)
		})
	}
	rings40 := subgroups(t, "spc/charts/xbar_pistonrings.csv", "sample", nil)
	for name, tt := range map[string]struct {
		groups [][]float64
		first  int // so many set the limits
		want   []int
	}{
		"gear":                          {subgroups(t, "spc/charts/xbar_gear.csv", "batch", nil), 10, []int{5}},
		"rings, limits of the first 25": {rings40, 25, []int{37, 38, 39}},
	} {
		limits, err := ChartSubgroups(tt.groups[:tt.first])
		if err != nil {
			t.Fatal(err)
		}
		all, err := ChartSubgroups(tt.groups)
		if err != nil {
			t.Fatal(err)
		}
		lower, upper := limits.MeanLimits(len(tt.groups[0]))
		var outside []int
		for i, mean := range all.Means {
			if mean < lower || mean > upper {
				outside = append(outside, i+1)
			}
		}
		if !slices.Equal(outside, tt.want) {
			t.Errorf("%s: means outside %v, want %v", name, outside, tt.want)
		}
	}
}

func TestUnequalSubgroups(t *testing.T) {
	var want struct {
		Removed  []int `json:"removed_rows_1based"`
		Expected struct {
			Centre float64              `json:"center_weighted_by_size"`
			Sigma  float64              `json:"sigma_mean_of_R_over_d2(n)"`
			Limits map[string][]float64 `json:"limits_by_subgroup_size"`
		}
	}
	published.JSON(t, "spc/charts/xbar_pistonrings_unequal.json", &want)
	c, err := ChartSubgroups(subgroups(t, "spc/charts/xbar_pistonrings.csv", "sample", want.Removed)[:25])
	if err != nil {
		t.Fatal(err)
	}
	near(t, "centre", c.Centre, want.Expected.Centre, 1e-12)
	near(t, "sigma", c.Sigma, want.Expected.Sigma, 1e-8)
	for _, n := range []int{3, 4, 5} {
		limits := want.Expected.Limits[string(rune('0'+n))]
		lower, upper := c.MeanLimits(n)
		nearList(t, "limits", []float64{lower, upper}, limits, 1e-8)
	}
}

func subgroups(t testing.TB, table, group string, without []int) [][]float64 {
	t.Helper()
	var groups [][]float64
	last := ""
	for i, row := range published.Table(t, table) {
		if g := row.Text(group); g != last {
			last = g
			groups = append(groups, nil)
		}
		if !slices.Contains(without, i+1) {
			groups[len(groups)-1] = append(groups[len(groups)-1], row.Number("diameter"))
		}
	}
	return groups
}

type sequence struct {
	ID  string
	Z   []*float64
	Raw *struct {
		Values        []float64
		Centre, Sigma float64
	} `json:"z_raw"`
	All map[string][]int `json:"all_fires_obs"`
}

// Constructed sequences with every firing of every rule of the Western Electric
// handbook (1956) and Nelson (1984), set by hand and by two other
// implementations.
func TestRunRules(t *testing.T) {
	var table struct{ Sequences []sequence }
	published.JSON(t, "spc/charts/runrules.json", &table)
	if len(table.Sequences) < 30 {
		t.Fatalf("%d sequences only", len(table.Sequences))
	}
	for _, s := range table.Sequences {
		t.Run(s.ID, func(t *testing.T) { checkFirings(t, s.Z, s.All) })
	}
}

func checkFirings(t *testing.T, z []*float64, want map[string][]int) {
	t.Helper()
	var r runs
	got := map[string][]int{}
	for i, v := range z {
		if v == nil {
			continue // a reading that is missing
		}
		for _, rule := range r.rulesCompletedBy(*v).Rules() {
			got[rule.String()] = append(got[rule.String()], i+1)
		}
	}
	for rule := range ruleCount {
		if name := rule.String(); !slices.Equal(got[name], want[name]) {
			t.Errorf("%s (%s) fires at %v, want %v", name, rule.Meaning(), got[name], want[name])
		}
	}
}

// The conventions where publications leave a choice.
func TestRunRulePolicies(t *testing.T) {
	var table struct {
		Cases []sequence `json:"policy_cases"`
	}
	published.JSON(t, "spc/charts/runrules.json", &table)
	want := map[string]map[string][]int{
		"policy_pair_then_quiet":  {"WE2": {2}, "N5": {2}},
		"policy_mixture_one_side": {"WE3": {4, 5, 6, 7, 8}, "N6": {4, 5, 6, 7, 8}, "WE4": {8}},
		"policy_zoneC_boundary":   {"N4": {14, 15, 16}},
		// Two points on 3 sigma: neither is beyond it, both are beyond 2 sigma.
		"policy_float_noise": {"WE2": {2}, "N5": {2}},
		"policy_gap":         {"WE4": {9}},
	}
	if len(table.Cases) != len(want) {
		t.Fatalf("%d cases, want %d", len(table.Cases), len(want))
	}
	for _, c := range table.Cases {
		t.Run(c.ID, func(t *testing.T) {
			z := c.Z
			if c.Raw != nil {
				for _, v := range c.Raw.Values {
					x := (v - c.Raw.Centre) / c.Raw.Sigma
					z = append(z, &x)
				}
			}
			checkFirings(t, z, want[c.ID])
		})
	}
}

func TestParseRules(t *testing.T) {
	for text, want := range map[string]RuleSet{
		"western-electric": WesternElectric, "nelson": Nelson, "both": WesternElectric | Nelson, "none": 0,
		"WE1, n3": 1<<WE1 | 1<<N3,
	} {
		if got, err := ParseRules(text); err != nil || got != want {
			t.Errorf("%q: got %b, %v; want %b", text, got, err, want)
		}
	}
	for _, text := range []string{"", "WE5", "everything"} {
		if _, err := ParseRules(text); !errors.Is(err, ErrInput) {
			t.Errorf("%q: got %v, want ErrInput", text, err)
		}
	}
}

func TestSchemeCheck(t *testing.T) {
	good := StandardScheme()
	if err := good.Check(); err != nil {
		t.Fatal(err)
	}
	for name, spoil := range map[string]func(*Scheme){
		"lambda 0":   func(s *Scheme) { s.Lambda = 0 },
		"lambda 2":   func(s *Scheme) { s.Lambda = 2 },
		"lambda NaN": func(s *Scheme) { s.Lambda = math.NaN() },
		"no limit":   func(s *Scheme) { s.EWMALimit = 0 },
		"slack":      func(s *Scheme) { s.Slack = -1 },
		"interval":   func(s *Scheme) { s.DecisionInterval = math.Inf(1) },
	} {
		s := good
		spoil(&s)
		if _, err := NewMonitor(s); !errors.Is(err, ErrInput) {
			t.Errorf("%s: got %v, want ErrInput", name, err)
		}
	}
}

// Average run lengths from the zero state by the integral equations of Brook and
// Evans 1972 (CUSUM) and Crowder 1987 (EWMA with fixed limits), R package spc.
// Here by simulation, seeded: the standard error of a run length is about that
// length over the root of the runs, and four of them are allowed.
func TestRunLengths(t *testing.T) {
	const points = 150_000
	for _, row := range published.Table(t, "spc/charts/arl.csv") {
		kind, shift, want := row.Text("chart"), row.Number("shift"), row.Number("arl")
		scheme := Scheme{Lambda: 0.2, EWMALimit: 3, Slack: 0.5, DecisionInterval: 5}
		var signal func(Step) bool
		switch kind {
		case "cusum two-sided":
			scheme.Slack, scheme.DecisionInterval = row.Number("k"), row.Number("h_or_L")
			signal = func(s Step) bool { return s.CUSUMSignal }
		case "ewma two-sided":
			scheme.Lambda, scheme.EWMALimit = row.Number("lambda"), row.Number("h_or_L")
			// The table is for fixed limits, those of a long series.
			fixed := scheme.EWMALimit * math.Sqrt(scheme.Lambda/(2-scheme.Lambda))
			signal = func(s Step) bool { return math.Abs(s.EWMA) > fixed }
		default:
			scheme.Rules = 1 << WE1
			signal = func(s Step) bool { return s.Fired != 0 }
		}
		r := rand.New(rand.NewPCG(5, 6))
		m, runs := newMonitor(scheme), 0
		for range points {
			if signal(m.Add(shift + r.NormFloat64())) {
				runs++
				*m = *newMonitor(scheme)
			}
		}
		got := float64(points) / float64(runs)
		if allowed := 4*want/math.Sqrt(float64(runs)) + 0.01; math.Abs(got-want) > allowed {
			t.Errorf("%s, limit %s, lambda %s, shift %g: run length %.4g, published %.4g", kind, row.Text("h_or_L"), row.Text("lambda"), shift,
				got, want)
		}
	}
}

// Champ and Woodall 1987 (Technometrics 29, 393-399) give 91.75 for the four
// Western Electric rules together (from memory); with that, 89 % of quiet runs of
// 200 points alarm.
func TestFalseAlarms(t *testing.T) {
	s := StandardScheme()
	f := s.FalseAlarms()
	t.Logf("one false alarm in %.1f points of the standard scheme, in %.1f by its rules alone", f.RunLength, f.RulesRunLength)
	near(t, "run length of the four rules", f.RulesRunLength, 91.75, 0.1)
	near(t, "share of runs of 200", ShareWithFalseAlarm(f.RulesRunLength, 200), 0.89, 0.03)
	if f.RunLength >= f.RulesRunLength {
		t.Errorf("more charts alarm more seldom: %v against %v", f.RunLength, f.RulesRunLength)
	}
	if again := s.FalseAlarms(); again != f {
		t.Errorf("told %v, then %v", f, again)
	}
	s.Rules = 0
	if f := s.FalseAlarms(); f.RulesRunLength != 0 || ShareWithFalseAlarm(f.RulesRunLength, 100) != 0 {
		t.Errorf("no rules alarm every %v points", f.RulesRunLength)
	}
}

func BenchmarkMonitor(b *testing.B) {
	m := newMonitor(Scheme{Rules: WesternElectric | Nelson, Lambda: 0.2, EWMALimit: 2.962, Slack: 0.5, DecisionInterval: 5})
	r := rand.New(rand.NewPCG(7, 8))
	z := make([]float64, 4096)
	for i := range z {
		z[i] = r.NormFloat64()
	}
	i := 0
	for b.Loop() {
		m.Add(z[i&4095])
		i++
	}
}
