package statistics

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"coilkeep/internal/published"
)

// near fails unless got and want agree to a relative tolerance.
func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s: got %.17g, want %.17g (off by %.2g, tolerance %.2g)", what, got, want, math.Abs(got/want-1), relative)
	}
}

func column(t testing.TB, table, name string) []float64 {
	t.Helper()
	var values []float64
	for _, row := range published.Table(t, table) {
		values = append(values, row.Number(name))
	}
	return values
}

func number(t testing.TB, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

type certified struct {
	Univariate map[string]struct {
		Certified struct {
			Mean string `json:"mean"`
			SD   string `json:"sd_n_minus_1"`
			R1   string `json:"autocorr_lag1"`
		}
		Exact struct{ Mean, SD, R1 float64 } `json:"exact_rational_on_float64_inputs"`
	}
	ANOVA map[string]struct {
		Groups    int
		Certified struct {
			F        string
			Between  string `json:"ss_between"`
			Within   string `json:"ss_within"`
			RSquared string `json:"r_squared"`
		}
		Exact struct {
			Between float64 `json:"ss_between"`
			Within  float64 `json:"ss_within"`
			F       float64
		} `json:"exact_rational_on_float64_inputs"`
	}
	Regression map[string]struct {
		WithIntercept struct {
			B0         float64
			B1         float64
			SEB1       float64 `json:"se_b1"`
			ResidualSD float64 `json:"residual_sd"`
			RSS        float64
		} `json:"exact_rational_with_intercept"`
	}
}

func readCertified(t testing.TB) certified {
	var c certified
	published.JSON(t, "spc/strd/certified.json", &c)
	return c
}

// NIST Statistical Reference Datasets, univariate summary statistics. The last
// sets are beyond what decimal text keeps in a float64, so they are held to the
// exact value of the numbers read as well.
func TestUnivariateStRD(t *testing.T) {
	all := readCertified(t).Univariate
	for _, name := range []string{"Lew", "Mavro", "PiDigits", "NumAcc1", "NumAcc2", "NumAcc4"} {
		t.Run(name, func(t *testing.T) {
			want := all[name]
			values := column(t, "spc/strd/univ_"+name+".csv", "y")
			m := MomentsOf(values)
			r, err := Autocorrelation(values, 1)
			if err != nil {
				t.Fatal(err)
			}
			toCertified := 1e-11
			if name == "NumAcc4" {
				toCertified = 1e-8
			}
			near(t, "mean", m.Mean, number(t, want.Certified.Mean), 1e-14)
			near(t, "sd", m.StandardDeviation(), number(t, want.Certified.SD), toCertified)
			near(t, "lag 1", r[0], number(t, want.Certified.R1), toCertified)
			near(t, "exact sd", m.StandardDeviation(), want.Exact.SD, 1e-12)
			near(t, "exact lag 1", r[0], want.Exact.R1, 1e-12)
			var a Accumulator
			for _, v := range values {
				a.Add(v)
			}
			near(t, "streamed mean", a.Moments().Mean, number(t, want.Certified.Mean), 1e-14)
			near(t, "streamed sd", a.Moments().StandardDeviation(), want.Exact.SD, 1e-11)
		})
	}
}

// The same, one-way analysis of variance. SmLs09 is written by its rule.
func TestOneWayStRD(t *testing.T) {
	all := readCertified(t).ANOVA
	for _, tt := range []struct {
		name             string
		certified, exact float64
	}{
		{"SiRstv", 1e-11, 1e-12}, {"SmLs01", 1e-12, 1e-12}, {"SmLs04", 1e-9, 1e-10}, {"SmLs07", 1e-3, 1e-9}, {"SmLs09", 1e-3, 1e-9},
	} {
		t.Run(tt.name, func(t *testing.T) {
			want := all[tt.name]
			groups := smLs09()
			if tt.name != "SmLs09" {
				groups = grouped(t, "spc/strd/anova_"+tt.name+".csv", "group", "y")
			}
			got, err := AnalyseOneWay(groups)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "F", got.F, number(t, want.Certified.F), tt.certified)
			near(t, "F of the numbers read", got.F, want.Exact.F, tt.exact)
			near(t, "between", got.Between, want.Exact.Between, tt.exact)
			near(t, "within", got.Within, want.Exact.Within, tt.exact)
			near(t, "R squared", got.EtaSquared, number(t, want.Certified.RSquared), 10*tt.certified)
		})
	}
}

func grouped(t testing.TB, table, group, value string) [][]float64 {
	t.Helper()
	var groups [][]float64
	index := map[string]int{}
	for _, row := range published.Table(t, table) {
		g := row.Text(group)
		if _, ok := index[g]; !ok {
			index[g] = len(groups)
			groups = append(groups, nil)
		}
		groups[index[g]] = append(groups[index[g]], row.Number(value))
	}
	return groups
}

func smLs09() [][]float64 {
	groups := make([][]float64, 9)
	for g, tenths := range []float64{4, 3, 5, 3, 5, 3, 5, 3, 5} {
		// The decimal text is what the certified file holds, so parse the same.
		at := func(tenths float64) float64 {
			v, _ := strconv.ParseFloat(fmt.Sprintf("1000000000000.%d", int(tenths)), 64)
			return v
		}
		groups[g] = append(groups[g], at(tenths))
		for i := range 2000 {
			groups[g] = append(groups[g], at(tenths-1+2*float64(i%2)))
		}
	}
	return groups
}

// The same, linear regression.
func TestLineStRD(t *testing.T) {
	all := readCertified(t).Regression
	for _, name := range []string{"Norris", "NoInt2"} {
		t.Run(name, func(t *testing.T) {
			want := all[name].WithIntercept
			table := "spc/strd/reg_" + name + ".csv"
			got, err := FitLine(column(t, table, "x"), column(t, table, "y"))
			if err != nil {
				t.Fatal(err)
			}
			near(t, "intercept", got.At(0), want.B0, 1e-9)
			near(t, "slope", got.Slope, want.B1, 1e-12)
			near(t, "error of the slope", got.SlopeError, want.SEB1, 1e-9)
			near(t, "residual sd", got.ResidualSD, want.ResidualSD, 1e-9)
			near(t, "residual sum of squares", got.ResidualSumOfSquares, want.RSS, 1e-9)
		})
	}
}

type trendCase struct {
	Expected struct {
		Intercept, Slope float64
		SESlope          float64   `json:"se_slope"`
		P                float64   `json:"p_slope"`
		DF               int       `json:"df"`
		ResidualSD       float64   `json:"residual_sd"`
		CI               []float64 `json:"slope_ci95"`
		At               *float64  `json:"at"`
		Fit              float64   `json:"fit_at"`
	}
}

// Straight lines as computed by R 4.2.2 (lm), on a small constructed set with
// coil numbers and with seconds since 1970, NIST check standard 41, StRD Mavro
// and the Nile.
func TestLineAgainstR(t *testing.T) {
	var all struct{ Cases map[string]trendCase }
	published.JSON(t, "spc/stats/trend.json", &all)
	small := column(t, "spc/stats/trend_small.csv", "y")
	days := make([]float64, len(small))
	for i := range days {
		days[i] = 1735689600 + 86400*float64(i)
	}
	mavro := column(t, "spc/strd/univ_Mavro.csv", "y")
	numbers := make([]float64, len(mavro))
	for i := range numbers {
		numbers[i] = float64(i + 1)
	}
	for name, xy := range map[string][2][]float64{
		"small":           {column(t, "spc/stats/trend_small.csv", "x"), small},
		"small_unix_time": {days, small},
		"mass_all":        {column(t, "spc/charts/check_standard_mass.csv", "year"), column(t, "spc/charts/check_standard_mass.csv", "value_mg")},
		"mavro":           {numbers, mavro},
		"nile":            {column(t, "spc/stats/nile.csv", "year"), column(t, "spc/stats/nile.csv", "flow")},
	} {
		t.Run(name, func(t *testing.T) {
			want := all.Cases[name].Expected
			got, err := FitLine(xy[0], xy[1])
			if err != nil {
				t.Fatal(err)
			}
			tolerance := 1e-9
			if name == "small_unix_time" {
				tolerance = 1e-8 // R itself loses digits here: its p differs from that of the same data in days
				near(t, "slope a day", 86400*got.Slope, all.Cases["small"].Expected.Slope, 1e-12)
			}
			near(t, "slope", got.Slope, want.Slope, tolerance)
			near(t, "intercept", got.At(0), want.Intercept, tolerance)
			near(t, "error of the slope", got.SlopeError, want.SESlope, tolerance)
			near(t, "residual sd", got.ResidualSD, want.ResidualSD, tolerance)
			near(t, "p", got.P(), want.P, 10*tolerance)
			half := StudentQuantile(0.975, float64(got.DegreesOfFreedom)) * got.SlopeError
			near(t, "low", got.Slope-half, want.CI[0], 10*tolerance)
			near(t, "high", got.Slope+half, want.CI[1], 10*tolerance)
			if want.At != nil {
				near(t, "height", got.At(*want.At), want.Fit, tolerance)
			}
		})
	}
}

func TestLineRefuses(t *testing.T) {
	for name, xy := range map[string][2][]float64{
		"two points": {{1, 2}, {1, 2}}, "one x": {{3, 3, 3}, {1, 2, 3}}, "not finite": {{1, 2, 3},
			{1, math.Inf(1), 3}}, "lengths differ": {{1, 2, 3, 4}, {1, 2, 3}},
	} {
		if l, err := FitLine(xy[0], xy[1]); err == nil {
			t.Errorf("%s: got slope %v, want an error", name, l.Slope)
		}
	}
}

// A perfect line has no residual: the division by it is guarded.
func TestLineWithoutResidual(t *testing.T) {
	l, err := FitLine([]float64{1, 2, 3, 4}, []float64{2, 4, 6, 8})
	if err != nil || l.Slope != 2 || l.P() != 0 {
		t.Errorf("got slope %v, p %v, %v; want 2 and certainty", l.Slope, l.P(), err)
	}
	flat, err := FitLine([]float64{1, 2, 3, 4}, []float64{5, 5, 5, 5})
	if err != nil || flat.P() != 1 {
		t.Errorf("a flat line has p %v, %v; want 1", flat.P(), err)
	}
}

// NIST check standard 41, values before and after 1985.4, Welch test by scipy
// and R.
func TestCompareWelch(t *testing.T) {
	var want struct {
		Expected struct {
			N     int     `json:"n_baseline"`
			Shift float64 `json:"shift"`
			T     float64 `json:"welch_t"`
			P     float64 `json:"welch_p"`
		}
	}
	published.JSON(t, "spc/charts/check_standard_mass.json", &want)
	values := column(t, "spc/charts/check_standard_mass.csv", "value_mg")
	d, err := Compare(MomentsOf(values[:want.Expected.N]), MomentsOf(values[want.Expected.N:]))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "shift", d.Value, want.Expected.Shift, 1e-8)
	near(t, "t", d.Value/d.StandardError, want.Expected.T, 1e-8)
	near(t, "p", d.P, want.Expected.P, 1e-7)
}

// The autocorrelations of R 4.2.2 (acf, Box.test).
func TestAutocorrelationAgainstR(t *testing.T) {
	var all struct {
		Cases map[string]struct {
			Expected struct {
				ACF []float64              `json:"acf"`
				Box struct{ Q, P float64 } `json:"ljung_box"`
			}
		}
	}
	published.JSON(t, "spc/stats/autocorrelation.json", &all)
	for name, file := range map[string][2]string{
		"lew": {"spc/strd/univ_Lew.csv", "y"}, "mavro": {"spc/strd/univ_Mavro.csv", "y"}, "lh": {"spc/stats/lh.csv",
			"y"}, "nile": {"spc/stats/nile.csv", "flow"},
	} {
		t.Run(name, func(t *testing.T) {
			want := all.Cases[name].Expected
			values := column(t, file[0], file[1])
			got, err := Autocorrelation(values, len(want.ACF))
			if err != nil {
				t.Fatal(err)
			}
			for i := range want.ACF {
				if math.Abs(got[i]-want.ACF[i]) > 2e-11 {
					t.Errorf("lag %d: got %v, want %v", i+1, got[i], want.ACF[i])
				}
			}
			q, p := LjungBox(got, len(values))
			near(t, "Q", q, want.Box.Q, 1e-9)
			if want.Box.P > 0 { // 0 stands for less than R can hold; far out gonum keeps fewer digits
				near(t, "p", p, want.Box.P, 1e-5)
			}
		})
	}
}

func TestFitTwo(t *testing.T) {
	u, v := []float64{0, 0, 0, 0, 1, 1, 1, 1}, []float64{1, 2, 3, 4, 1, 2, 3, 5}
	y := make([]float64, len(u))
	for i := range y {
		y[i] = 7 + 3*u[i] - 2*v[i]
	}
	a, b, ok := FitTwo(u, v, y)
	if !ok || math.Abs(a.Slope-3) > 1e-12 || math.Abs(b.Slope+2) > 1e-12 {
		t.Errorf("got %v, %v, %v; want 3 and -2", a.Slope, b.Slope, ok)
	}
	if _, _, ok := FitTwo(u, u, y); ok {
		t.Error("a predictor was parted from itself")
	}
}

// The noncentral t against the central one; the drift tests hold it against R
// 4.2.2, through the exact limits of capability.
func TestNoncentralT(t *testing.T) {
	for _, df := range []float64{2, 5, 30, 400} {
		for _, x := range []float64{-1.5, 0, 2, 6} {
			near(t, fmt.Sprintf("central, df %g at %g", df, x), NoncentralTCDF(x, df, 0),
				1-math.Copysign(StudentP(x, df)/2, x)-boolFloat(x < 0), 2e-4)
		}
	}
	d := NoncentralTDelta(12, 50, 0.3)
	near(t, "inverse", NoncentralTCDF(12, 50, d), 0.3, 1e-8)
}

func boolFloat(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// The test holds its level and has power: 5 % of normal samples are
// called not normal at p = 0.05, and plainly skewed ones nearly always (seeded).
func TestNormality(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	normal, skewed := 0, 0
	const samples = 2000
	for range samples {
		a, b := make([]float64, 60), make([]float64, 60)
		for i := range a {
			a[i], b[i] = 6690+20*r.NormFloat64(), 6690+20*r.ExpFloat64()
		}
		if p, err := NormalityP(a); err != nil || p < 0.05 {
			normal++
		}
		if p, err := NormalityP(b); err != nil || p < 0.05 {
			skewed++
		}
	}
	// Three standard errors of a share of 0.05 in 2000 are 0.015.
	if share := float64(normal) / samples; math.Abs(share-0.05) > 0.015 {
		t.Errorf("%.3f of normal samples are called not normal, want 0.05", share)
	}
	if skewed < samples*99/100 {
		t.Errorf("%d of %d exponential samples are seen to be not normal", skewed, samples)
	}
}

// Clopper and Pearson 1934: the interval of k = 0 of n reaches to 1 − 0.025^(1/n).
func TestProportionInterval(t *testing.T) {
	low, high := ProportionInterval(0, 20, 0.95)
	if low != 0 {
		t.Errorf("low %v, want 0", low)
	}
	near(t, "high of 0 in 20", high, 1-math.Pow(0.025, 1.0/20), 1e-9)
	low, high = ProportionInterval(20, 20, 0.95)
	near(t, "low of 20 in 20", low, math.Pow(0.025, 1.0/20), 1e-9)
	if high != 1 {
		t.Errorf("high %v, want 1", high)
	}
}

// The chance of a change anywhere holds its level: of quiet series of 100
// normal values no more than 5 % have one with p < 0.05, nor far fewer (seeded).
func TestAnyChangeHoldsItsLevel(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	const series, n, edge = 2000, 100, 3
	alarms := 0
	for range series {
		sums := make([]float64, n+1)
		for i := range n {
			sums[i+1] = sums[i] + r.NormFloat64()
		}
		largest := 0.0
		for k := edge; k <= n-edge; k++ {
			d := sums[k]/float64(k) - (sums[n]-sums[k])/float64(n-k)
			largest = max(largest, math.Abs(d)/math.Sqrt(1/float64(k)+1/float64(n-k)))
		}
		if AnyChangeP(largest, edge/float64(n)) < 0.05 {
			alarms++
		}
	}
	share := float64(alarms) / series
	t.Logf("%.3f of quiet series alarm at p = 0.05", share)
	if share > 0.055 || share < 0.015 {
		t.Errorf("%.3f of quiet series alarm at p = 0.05", share)
	}
}
