package drift

import (
	"math"
	"testing"

	"coilkeep/internal/published"
	"coilkeep/internal/statistics"
)

// Annual flow of the Nile, 1871 to 1970: one change in mean after observation 28
// (Cobb 1978; R package strucchange, interval 25 to 32 there, which lets the two
// sides differ in variance; ours takes them alike).
func TestChangePointNile(t *testing.T) {
	var want struct {
		Expected struct {
			Tau    int     `json:"tau_least_squares_last_obs_before_change"`
			RSS    float64 `json:"rss_at_tau"`
			Before float64 `json:"mean_before"`
			After  float64 `json:"mean_after"`
			SD     float64 `json:"pooled_sd"`
			T      float64 `json:"max_t_statistic"`
			CI     []int   `json:"break_ci95_obs"`
		}
	}
	published.JSON(t, "spc/stats/changepoint_nile.json", &want)
	e := want.Expected
	var coils []Coil
	var flow, ones []float64
	for _, row := range published.Table(t, "spc/stats/nile.csv") {
		coils = append(coils, Coil{R20Ohms: row.Number("flow")})
		flow, ones = append(flow, row.Number("flow")), append(ones, 1)
	}
	s := newSegmenter(flow, ones, 1, nil)
	x, ok := s.bestSplit(0, len(flow))
	if !ok || x.k != e.Tau {
		t.Fatalf("change after %d, want %d", x.k, e.Tau)
	}
	near(t, "shift", x.shift, e.After-e.Before, 1e-12)
	near(t, "pooled sd", x.residualSD, e.SD, 1e-9)
	near(t, "t", math.Abs(x.shift/x.error), e.T, 1e-9)
	near(t, "residual sum of squares", s.exactRSSAboutMean(0, x.k)+s.exactRSSAboutMean(x.k, len(flow)), e.RSS, 1e-9)
	// Below 1e-15 in the reference, which takes sigma for known; ours allows for
	// its having been estimated.
	if x.p > 1e-10 {
		t.Errorf("p = %g, want next to nothing", x.p)
	}
	r := analysed(t, coils, Options{})
	if len(r.ChangePoints) != 1 {
		t.Fatalf("changes %+v, want one", r.ChangePoints)
	}
	c := r.ChangePoints[0]
	if c.LastBefore != e.Tau || c.Low != e.CI[0] || math.Abs(float64(c.High-e.CI[1])) > 1 {
		t.Errorf("change after %d (%d to %d), want %d (%d to %d)", c.LastBefore, c.Low, c.High, e.Tau, e.CI[0], e.CI[1])
	}
}

// The 97.5 % point of the place of a change, by its distribution in closed form
// (Yao 1987; Bai 1997, appendix B).
func TestPlaceQuantile(t *testing.T) {
	x := placeQuantile
	root := math.Sqrt(x)
	phi := statistics.NormalCDF
	g := 1 + root/math.Sqrt(2*math.Pi)*math.Exp(-x/8) - (x+5)/2*phi(-root/2) + 1.5*math.Exp(x)*phi(-1.5*root)
	if math.Abs(g-0.975) > 1e-4 {
		t.Errorf("distribution at %v is %.6f, want 0.975", x, g)
	}
}

// Capability: NIST/SEMATECH e-Handbook 6.1.6, Montgomery 1991, piston rings and
// gear, with the intervals of chi squared, Bissell and the noncentral t in R.
func TestCapabilityPublished(t *testing.T) {
	var want struct {
		Cases map[string]struct {
			Inputs struct {
				Mean    float64
				Within  float64 `json:"sigma_within"`
				Overall float64 `json:"sigma_overall"`
				N       int
				Lower   float64 `json:"lsl"`
				Upper   float64 `json:"usl"`
				DF      float64 `json:"df_within"`
			}
			Expected struct {
				Cp, Cpk, Pp, Ppk float64
				PpCI             []float64              `json:"Pp_ci_chisq"`
				PpkCI            []float64              `json:"Ppk_ci_bissell"`
				CpCI             struct{ CI []float64 } `json:"Cp_ci_chisq_with_df"`
				CpkCI            struct{ CI []float64 } `json:"Cpk_ci_bissell_with_df"`
				PPM              []float64              `json:"ppm_expected_overall"`
				Exact            float64                `json:"Ppk_side_lower95_one_sided_exact_noncentral_t"`
			}
		}
	}
	published.JSON(t, "spc/charts/capability.json", &want)
	if len(want.Cases) < 7 {
		t.Fatalf("%d cases only", len(want.Cases))
	}
	for name, c := range want.Cases {
		t.Run(name, func(t *testing.T) {
			in, e := c.Inputs, c.Expected
			df := in.DF
			if df == 0 {
				df = float64(in.N - 1)
			}
			m := statistics.Moments{Count: in.N, Mean: in.Mean, SumOfSquares: in.Overall * in.Overall * float64(in.N-1)}
			got, err := capabilityOf(m, in.Within, df, in.Lower, in.Upper)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "Cp", got.Cp.Value, e.Cp, 1e-9)
			near(t, "Cpk", got.Cpk.Value, e.Cpk, 1e-9)
			near(t, "Pp", got.Pp.Value, e.Pp, 1e-9)
			near(t, "Ppk", got.Ppk.Value, e.Ppk, 1e-9)
			near(t, "Pp low", got.Pp.Low, e.PpCI[0], 1e-8)
			near(t, "Pp high", got.Pp.High, e.PpCI[1], 1e-8)
			near(t, "Ppk low", got.Ppk.Low, e.PpkCI[0], 1e-8)
			near(t, "Ppk high", got.Ppk.High, e.PpkCI[1], 1e-8)
			near(t, "Cp low", got.Cp.Low, e.CpCI.CI[0], 1e-8)
			near(t, "Cp high", got.Cp.High, e.CpCI.CI[1], 1e-8)
			near(t, "Cpk low", got.Cpk.Low, e.CpkCI.CI[0], 1e-8)
			near(t, "Cpk high", got.Cpk.High, e.CpkCI.CI[1], 1e-8)
			near(t, "outside", 1e6*got.Outside.Value, e.PPM[0]+e.PPM[1], 1e-6)
			if e.Exact != 0 {
				root := math.Sqrt(float64(in.N))
				nearest := statistics.NoncentralTDelta(3*e.Ppk*root, float64(in.N-1), 0.95) / root / 3
				near(t, "exact lower limit", nearest, e.Exact, 1e-6)
			}
		})
	}
}
