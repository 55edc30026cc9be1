package copper_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"coilkeep/internal/copper"
	"coilkeep/internal/published"
)

// 0.3048 m to the foot.
const metresPerKilofoot = 304.8

func kilofoot(ohmsPerMetre float64) float64 { return ohmsPerMetre * metresPerKilofoot }

// ASTM B258 diameters, NEMA MW 1000 nominals and NBS Handbook 100 resistances.
func TestAWGPublished(t *testing.T) {
	t.Parallel()
	for _, row := range published.Table(t, "copper/awg_wire.csv") {
		t.Run(row.Text("awg")+" AWG", func(t *testing.T) {
			t.Parallel()
			gauge := int(row.Number("awg"))
			rounded, err := copper.RoundedAWG(gauge)
			if err != nil {
				t.Fatal(err)
			}
			geometric, err := copper.GeometricAWG(gauge)
			if err != nil {
				t.Fatal(err)
			}
			if got, want := rounded.DiameterMM(), row.Number("nominal_diameter_mm"); !near(got, want, 0.000006) {
				t.Errorf("rounded diameter %.6f mm, want %.5f", got, want)
			}
			if got, want := geometric.DiameterMM()/0.0254, row.Number("geometric_diameter_mil"); !near(got, want, 0.00006) {
				t.Errorf("geometric diameter %.5f mil, want %.4f", got, want)
			}
			for _, c := range []struct {
				column    string
				got       float64
				tolerance float64 // relative
			}{
				{"r_nominal_ohm_per_km_20c", rounded.OhmsPerMetre() * 1000, 0.0005},
				{"r_nominal_ohm_per_1000ft_20c", kilofoot(rounded.OhmsPerMetre()), 0.0005},
				{"r_geometric_ohm_per_1000ft_20c", kilofoot(geometric.OhmsPerMetre()), 0.0005},
				{"nema_r_nom_printed_ohm_per_1000ft", kilofoot(rounded.OhmsPerMetre()), 0.0004},
				{"hb100_printed_ohm_per_1000ft", kilofoot(rounded.OhmsPerMetre()), 0.003},
				{"geometric_table_printed_ohm_per_1000ft", kilofoot(geometric.OhmsPerMetre()), 0.0003},
			} {
				if row.Text(c.column) == "" {
					continue
				}
				if want := row.Number(c.column); relative(c.got, want) > c.tolerance {
					t.Errorf("%s: %.3f, want %g", c.column, c.got, want)
				}
			}
			least, greatest, ok := rounded.OhmsPerMetreLimits()
			if !ok {
				t.Fatal("no limits known")
			}
			for column, got := range map[string]float64{
				"nema_r_min_printed_ohm_per_1000ft": kilofoot(least),
				"nema_r_max_printed_ohm_per_1000ft": kilofoot(greatest),
				"r_max_from_dmin_ohm_per_1000ft":    kilofoot(greatest),
			} {
				if row.Text(column) == "" {
					continue
				}
				if want := row.Number(column); relative(got, want) > 0.0004 {
					t.Errorf("%s: %.2f, want %g", column, got, want)
				}
			}
			if _, _, ok := geometric.OhmsPerMetreLimits(); ok {
				t.Error("the geometric diameter has limits; they belong to the rounded one")
			}
		})
	}
}

// The two families of diameters differ by 0.5 % at 42 AWG, 1.9 % at 43 and 2.9 %
// at 40 (the two printed columns of awg_wire.csv).
func TestFamiliesStayApart(t *testing.T) {
	t.Parallel()
	for gauge, percent := range map[int]float64{40: 2.9, 42: 0.5, 43: 1.9, 44: 2.2} {
		rounded, err := copper.RoundedAWG(gauge)
		if err != nil {
			t.Fatal(err)
		}
		geometric, err := copper.GeometricAWG(gauge)
		if err != nil {
			t.Fatal(err)
		}
		if got := 100 * relative(rounded.OhmsPerMetre(), geometric.OhmsPerMetre()); !near(got, percent, 0.06) {
			t.Errorf("%d AWG: %.3f %% apart, want %g", gauge, got, percent)
		}
		if rounded.String() == geometric.String() {
			t.Errorf("both families are called %q", rounded)
		}
	}
}

// 42 AWG at ±0.1 mil is −7.5/+8.5 % in resistance; 45 AWG and finer is ±8 %.
func TestAWGLimits(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		gauge       int
		minus, plus float64 // percent of nominal; 0 for no limits known
	}{{33, 0, 0}, {42, 7.54, 8.51}, {44, 9.30, 10.80}, {45, 8, 8}, {50, 8, 8}} {
		wire, err := copper.RoundedAWG(c.gauge)
		if err != nil {
			t.Fatal(err)
		}
		least, greatest, ok := wire.OhmsPerMetreLimits()
		if ok != (c.plus != 0) {
			t.Fatalf("%v: limits known: %t", wire, ok)
		}
		if !ok {
			continue
		}
		nominal := wire.OhmsPerMetre()
		if minus, plus := 100*(1-least/nominal), 100*(greatest/nominal-1); !near(minus, c.minus, 0.006) || !near(plus, c.plus, 0.006) {
			t.Errorf("%v: −%.3f/+%.3f %%, want −%.2f/+%.2f", wire, minus, plus, c.minus, c.plus)
		}
	}
}

// IEC 60317 fine wire as a winding-wire table prints it.
func TestMetricPublished(t *testing.T) {
	t.Parallel()
	for _, row := range published.Table(t, "copper/iec60317_fine_wire.csv") {
		t.Run(row.Text("nominal_bare_mm"), func(t *testing.T) {
			t.Parallel()
			wire, err := copper.MetricWire(row.Number("nominal_bare_mm"))
			if err != nil {
				t.Fatal(err)
			}
			if got, want := wire.OhmsPerMetre(), row.Number("r_nom_recomputed_58_5"); !near(got, want, 0.00006) {
				t.Errorf("nominal %.5f Ω/m, want %.4f", got, want)
			}
			least, greatest, ok := wire.OhmsPerMetreLimits()
			if !ok {
				t.Fatal("no limits known")
			}
			// The last printed digit: 1 mΩ/m.
			for column, got := range map[string]float64{
				"r_nom_ohm_per_m_20c": wire.OhmsPerMetre(),
				"r_min_ohm_per_m_20c": least,
				"r_max_ohm_per_m_20c": greatest,
			} {
				if want := row.Number(column); !near(got, want, 0.00101) {
					t.Errorf("%s: %.5f Ω/m, want %.3f", column, got, want)
				}
			}
			standard, err := wire.WithConductivity(1)
			if err != nil {
				t.Fatal(err)
			}
			if got, want := standard.OhmsPerMetre(), row.Number("r_iacs_58"); !near(got, want, 0.00006) {
				t.Errorf("at 58 MS/m %.5f Ω/m, want %.4f", got, want)
			}
		})
	}
}

func TestMetricWithoutKnownLimits(t *testing.T) {
	t.Parallel()
	wire, err := copper.MetricWire(0.065)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, ok := wire.OhmsPerMetreLimits(); ok {
		t.Error("0.065 mm is not in the table, and yet has limits")
	}
}

func TestWithConductivity(t *testing.T) {
	t.Parallel()
	wire, err := copper.RoundedAWG(42)
	if err != nil {
		t.Fatal(err)
	}
	annealed, err := wire.WithConductivity(0.98)
	if err != nil {
		t.Fatal(err)
	}
	if got := annealed.OhmsPerMetre() / wire.OhmsPerMetre(); !near(got, 1/0.98, 1e-12) {
		t.Errorf("98 %% conductivity makes %.6f of the resistance, want %.6f", got, 1/0.98)
	}
	if annealed.ConductivityRatio() != 0.98 || wire.ConductivityRatio() != 1 {
		t.Errorf("conductivities %g and %g, want 0.98 and 1", annealed.ConductivityRatio(), wire.ConductivityRatio())
	}
	_, before, _ := wire.OhmsPerMetreLimits()
	if _, after, _ := annealed.OhmsPerMetreLimits(); after != before {
		t.Errorf("greatest resistance of the standard moved from %g to %g", before, after)
	}
}

// A racetrack bobbin with round figures: 2·50 + 2π·(2 + 5/2) = 128.274 mm.
var bobbin = copper.Bobbin{StraightMM: 50, CoreRadiusMM: 2, BuildMM: 5}

func TestWinding(t *testing.T) {
	t.Parallel()
	if got, want := bobbin.MeanTurnMM(), 128.274334; !near(got, want, 1e-6) {
		t.Errorf("mean turn %.6f mm, want %.6f", got, want)
	}
	if got, want := bobbin.OutermostTurnMM(), 143.982297; !near(got, want, 1e-6) {
		t.Errorf("outermost turn %.6f mm, want %.6f", got, want)
	}
	wire, err := copper.RoundedAWG(42)
	if err != nil {
		t.Fatal(err)
	}
	winding, err := copper.NewWinding(wire, bobbin)
	if err != nil {
		t.Fatal(err)
	}
	// 8000 turns of 128.274 mm are 1026.19 m; at 5.4442 Ω/m (awg_wire.csv) that
	// is 5586.8 Ω.
	if got := must(t)(winding.LengthMetres(8000)); !near(got, 1026.19467, 1e-5) {
		t.Errorf("8000 turns are %.6f m, want 1026.19467", got)
	}
	if got := must(t)(winding.R20(8000)); !near(got, 5586.8, 0.3) {
		t.Errorf("8000 turns are %.2f Ω, want 5586.8", got)
	}
	if got := must(t)(winding.Turns(must(t)(winding.R20(8000)))); !near(got, 8000, 1e-8) {
		t.Errorf("there and back %g turns, want 8000", got)
	}
	if got := winding.OutermostTurnOhms(); !near(got, 0.143982*5.4442, 0.0001) {
		t.Errorf("outermost turn %.5f Ω, want %.5f", got, 0.143982*5.4442)
	}
}

// Common practice, no source: on a slender bobbin the outermost turn is 10 to
// 15 % longer than the mean turn.
func TestOutermostTurn(t *testing.T) {
	t.Parallel()
	for _, b := range []copper.Bobbin{bobbin, {StraightMM: 60, CoreRadiusMM: 2.5, BuildMM: 5.5},
		{StraightMM: 45, CoreRadiusMM: 3, BuildMM: 4.5}} {
		if got := b.OutermostTurnMM()/b.MeanTurnMM() - 1; got < 0.10 || got > 0.15 {
			t.Errorf("%+v: the outermost turn is %.1f %% longer", b, 100*got)
		}
	}
}

func TestWireRefuses(t *testing.T) {
	t.Parallel()
	nan, inf := math.NaN(), math.Inf(1)
	wire, err := copper.GeometricAWG(43)
	if err != nil {
		t.Fatal(err)
	}
	winding, err := copper.NewWinding(wire, bobbin)
	if err != nil {
		t.Fatal(err)
	}
	second := func(_ any, err error) error { return err }
	for _, c := range []struct {
		name string
		err  error
		want string
	}{
		{"thick gauge", second(copper.GeometricAWG(29)), "29 AWG"},
		{"thin gauge", second(copper.RoundedAWG(51)), "51 AWG"},
		{"diameter in metres", second(copper.MetricWire(0.000063)), "6.3e-05 mm"},
		{"diameter in mil", second(copper.MetricWire(2.5)), "2.5 mm"},
		{"no diameter", second(copper.MetricWire(nan)), "NaN mm"},
		{"conductivity in per cent", second(wire.WithConductivity(98)), "conductivity 98"},
		{"no length", second(wire.R20(0)), "0 m"},
		{"endless wire", second(wire.R20(inf)), "+Inf m"},
		{"no resistance", second(wire.LengthMetres(-5)), "-5 Ω"},
		{"no turns", second(winding.R20(0)), "0 turns"},
		{"turns not a number", second(winding.LengthMetres(nan)), "NaN turns"},
		{"turns of nothing", second(winding.Turns(nan)), "NaN Ω"},
		{"no core", second(copper.NewWinding(wire, copper.Bobbin{StraightMM: 50, BuildMM: 5})), "core radius of the bobbin 0 mm"},
		{"no build", second(copper.NewWinding(wire, copper.Bobbin{StraightMM: 50, CoreRadiusMM: 2})), "build of the bobbin 0 mm"},
		{"negative side", copper.Bobbin{StraightMM: -1, CoreRadiusMM: 2, BuildMM: 5}.Check(), "straight side of the bobbin -1 mm"},
		{"side not a number", copper.Bobbin{StraightMM: nan, CoreRadiusMM: 2, BuildMM: 5}.Check(), "straight side of the bobbin NaN mm"},
		{"core in micrometres", copper.Bobbin{CoreRadiusMM: 2000, BuildMM: 5}.Check(), "core radius of the bobbin 2000 mm"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			if !errors.Is(c.err, copper.ErrRange) || !strings.Contains(c.err.Error(), c.want) {
				t.Errorf("got error %v; want an ErrRange with %q", c.err, c.want)
			}
		})
	}
}

func TestWireProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		gauge := rapid.IntRange(copper.MinGauge, copper.MaxGauge-1).Draw(t, "gauge")
		for _, family := range []func(int) (copper.Wire, error){copper.GeometricAWG, copper.RoundedAWG} {
			wire, err := family(gauge)
			if err != nil {
				t.Fatal(err)
			}
			finer, err := family(gauge + 1)
			if err != nil {
				t.Fatal(err)
			}
			if finer.OhmsPerMetre() <= wire.OhmsPerMetre() {
				t.Fatalf("%v has %g Ω/m, %v %g", wire, wire.OhmsPerMetre(), finer, finer.OhmsPerMetre())
			}
			ohms := rapid.Float64Range(1, 1e6).Draw(t, "ohms")
			if back := must(t)(wire.R20(must(t)(wire.LengthMetres(ohms)))); relative(back, ohms) > 1e-12 {
				t.Fatalf("%g Ω to metres and back is %g Ω", ohms, back)
			}
		}
	})
}
