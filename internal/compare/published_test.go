package compare

import (
	"math"
	"math/rand/v2"
	"testing"

	"coilkeep/internal/published"
	"coilkeep/internal/uncertainty"
)

// E_n (ISO 13528:2022, 9.7; cited from memory) on the data of the key comparison
// CCQM-K30, Metrologia 45 (2008) 08001, and on two meters and one coil.
func TestEN(t *testing.T) {
	var file struct {
		K30 struct {
			Reference float64 `json:"reference"`
			U         float64 `json:"U_reference"`
			Labs      []struct {
				Lab      string
				X, U, En float64
			}
		} `json:"ccqm_k30"`
		TwoMeters []struct{ A, Ua, B, Ub, En float64 } `json:"two_meters_one_coil"`
	}
	published.JSON(t, "compare/comparison_en_birge.json", &file)
	if len(file.K30.Labs) == 0 || len(file.TwoMeters) == 0 {
		t.Fatal("no examples")
	}
	for _, lab := range file.K30.Labs {
		near(t, lab.Lab, EN(lab.X, lab.U, file.K30.Reference, file.K30.U), lab.En, 0.5e-4)
	}
	for _, c := range file.TwoMeters {
		near(t, "two meters", EN(c.A, c.Ua, c.B, c.Ub), c.En, 0.5e-4)
	}
}

// The whole comparison gives the same score for two meters on one coil, at
// 20 °C exactly.
func TestSettingEN(t *testing.T) {
	var file struct {
		TwoMeters []struct{ A, Ua, B, Ub, En float64 } `json:"two_meters_one_coil"`
	}
	published.JSON(t, "compare/comparison_en_birge.json", &file)
	for _, c := range file.TwoMeters {
		result := must(t, Input{
			Ours: Record{R20Ohms: c.B, ExpandedUncertaintyOhms: c.Ub},
			Theirs: []Reading{{Ohms: c.A, ResolutionOhms: 1e-6, TemperatureCelsius: new(20.0), TemperatureUncertaintyKelvin: new(0.0),
				MeterExpandedUncertaintyOhms: &c.Ua, CableOhms: new(0.0)}},
		})
		near(t, "e_n", result.EN, c.En, 1e-4)
		near(t, "e_n at 20 °C", result.At20.EN, c.En, 1e-4)
		if want := math.Abs(c.En) <= 1; result.Agrees != want && math.Abs(math.Abs(c.En)-1) > 1e-6 {
			t.Errorf("agrees = %v at E_n %v", result.Agrees, c.En)
		}
	}
}

// Parallel resistance and meter limits: networks_and_meters.csv, recomputed by
// adding conductances and read in makers' notes.
func TestNetworks(t *testing.T) {
	want := map[string]float64{}
	for _, row := range published.Table(t, "compare/networks_and_meters.csv") {
		if row.Text("quantity") == "parallel" || row.Text("id") == "m5" || row.Text("id") == "m6" {
			want[row.Text("id")] = row.Number("expected")
		}
	}
	for _, c := range []struct {
		id            string
		coil, control float64
	}{
		{"p1", 8000, 500e3}, {"p2", 8000, 250e3}, {"p3", 6000, 250e3}, {"p4", 6000, 1e6},
		{"p5", 13500, 500e3}, {"p6", 8000, 400e3}, {"p7", 8000, 600e3},
	} {
		got := circuit{scale: 1, wiring: Single, controlOhms: c.control, position: 1}.across(c.coil, c.coil)
		near(t, c.id, got, want[c.id], 0.0005)
	}
	for _, c := range []struct {
		id                          string
		ohms, step, percent, digits float64
	}{{"m5", 8000, 10, 0.8, 2}, {"m6", 8000, 1, 0.5, 1}} {
		in := Input{Ours: Record{R20Ohms: c.ohms}, Theirs: []Reading{{Ohms: c.ohms, ResolutionOhms: c.step, MeterPercent: &c.percent,
			MeterDigits: &c.digits}}}
		situations, _ := in.resolve()
		near(t, c.id, situations[0].smear(situations[0].circuit, 0).flats[1]*c.ohms/situations[0].there(22.5), want[c.id], want[c.id]*0.01)
		near(t, c.id, situations[0].meterComponents(c.ohms)[0].StandardUncertainty*math.Sqrt(3), want[c.id], 1e-9)
	}
}

// A control that is not fully up, and everything at once, against a second way:
// solving the node equations of the network (Kirchhoff's current law).
func TestCircuitAgainstNodeEquations(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		coil, mate := between(random, 1e3, 2e4), between(random, 1e3, 2e4)
		c := circuit{
			scale: between(random, 0.5, 1), jointOhms: between(random, 0, 1000), wiring: oneIn(random, Single, Series, Parallel),
			controlOhms: between(random, 2e5, 1e6), position: between(random, 0.01, 0.99),
			seriesOhms: between(random, 0.1, 1000), handsOhms: between(random, 1e5, 2e6),
		}
		r := coil*c.scale + c.jointOhms
		switch c.wiring {
		case Series:
			r += mate
		case Parallel:
			r = 1 / (1/r + 1/mate)
		}
		// Nodes: 1 hot end of the coil and of the control, 2 wiper, 3 probe;
		// 1 A into node 3, ground at the other probe.
		upper, lower := c.controlOhms*(1-c.position), c.controlOhms*c.position
		g := [3][4]float64{
			{1/r + 1/upper, -1 / upper, 0, 0},
			{-1 / upper, 1/upper + 1/lower + 1/c.seriesOhms, -1 / c.seriesOhms, 0},
			{0, -1 / c.seriesOhms, 1/c.seriesOhms + 1/c.handsOhms, 1},
		}
		want := solveThree(g)
		near(t, "resistance between the probes", c.across(coil, mate), want, 1e-6*want)
	}
}

// solveThree returns the last unknown of three equations by elimination.
func solveThree(g [3][4]float64) float64 {
	for i := range 3 {
		for k := i + 1; k < 3; k++ {
			f := g[k][i] / g[i][i]
			for j := i; j < 4; j++ {
				g[k][j] -= f * g[i][j]
			}
		}
	}
	return g[2][3] / g[2][2]
}

// NIST StRD SiRstv: five instruments on one silicon wafer. They differ in the
// fourth digit, and the certified F of 1.18 (4 and 20 degrees of freedom; the 5 %
// point is 2.87) says no more than their scatter makes. So every pair must
// agree, and no cause but the meters may be named first.
func TestInstrumentsOnOneWafer(t *testing.T) {
	const certifiedResidual, t20 = 0.104076068334656, 2.086 // JCGM 100:2008, Table G.2
	sums, counts := map[string]float64{}, map[string]float64{}
	for _, row := range published.Table(t, "compare/si_resistivity.csv") {
		sums[row.Text("group")] += row.Number("y")
		counts[row.Text("group")]++
	}
	if len(sums) != 5 {
		t.Fatalf("%d instruments, want 5", len(sums))
	}
	least, most := math.Inf(1), 0.0
	for a := range sums {
		for b := range sums {
			ours, theirs := sums[a]/counts[a], sums[b]/counts[b]
			u := t20 * certifiedResidual / math.Sqrt(counts[a])
			least, most = min(least, theirs), max(most, theirs)
			result := must(t, Input{
				Ours: Record{R20Ohms: ours, ExpandedUncertaintyOhms: u},
				Theirs: []Reading{{Ohms: theirs, ResolutionOhms: 1e-4, TemperatureCelsius: new(20.0), TemperatureUncertaintyKelvin: new(0.0),
					MeterExpandedUncertaintyOhms: &u, Clips: Leads, Hands: HandsOff}},
			})
			if !result.Agrees || result.Explanations[0].Cause != MeterAccuracy {
				t.Errorf("instruments %s and %s: E_n %.2f, %s first", a, b, result.EN, result.Explanations[0].Cause)
			}
		}
	}
	if most-least < 0.05 {
		t.Errorf("the instruments differ by %.3f only: no case of disagreement", most-least)
	}
}

// JCGM 101:2008, 9.2 (from memory): sums of four variables of mean 0 and
// standard deviation 1. Normal: ±3.92. Rectangular: u = 2.00, ±3.88. One of them
// ten times as wide: u = 10.1, ±17.0, where ordinary propagation gives ±19.9.
func TestMonteCarloAdditiveModels(t *testing.T) {
	normal := func(r *rand.Rand) float64 { return r.NormFloat64() }
	rectangular := func(r *rand.Rand) float64 { return math.Sqrt(3) * (2*r.Float64() - 1) }
	for _, test := range []struct {
		name      string
		draw      func(*rand.Rand) float64
		last      float64 // factor of the fourth
		u, end    float64
		tolerance float64 // of the ends: half of the last digit printed, and the noise of the trials
	}{
		{"normal", normal, 1, 2.00, 3.92, 0.03},
		{"rectangular", rectangular, 1, 2.00, 3.88, 0.03},
		{"one dominant", rectangular, 10, 10.1, 17.0, 0.08},
	} {
		m := propagateDistributions(1, Trials, func(r *rand.Rand) float64 {
			return test.draw(r) + test.draw(r) + test.draw(r) + test.last*test.draw(r)
		})
		near(t, test.name+": mean", m.MeanOhms, 0, 0.005*test.u*4)
		near(t, test.name+": standard uncertainty", m.StandardOhms, test.u, 0.05+0.004*test.u)
		near(t, test.name+": low end", m.LowOhms, -test.end, test.tolerance)
		near(t, test.name+": high end", m.HighOhms, test.end, test.tolerance)
		near(t, test.name+": length of the shortest interval", m.ShortestHighOhms-m.ShortestLowOhms, 2*test.end, 3*test.tolerance)
	}
}

// EA-4/02 supplement S3, a 10 kΩ resistor by substitution: R = 10000.178 Ω,
// u = 8.33 mΩ. The published result comes from ordinary propagation; its inputs
// are all narrow, so the Monte Carlo must agree.
func TestMonteCarloResistor(t *testing.T) {
	var file struct {
		// u_ohm and U_ohm differ in case only, so the fields are read by name.
		S3 map[string]any `json:"EA-4/02_S3"`
	}
	published.JSON(t, "uncertainty/gum_examples.json", &file)
	flat := func(r *rand.Rand, half float64) float64 { return half * (2*r.Float64() - 1) }
	// Mean and standard deviation of the mean of the five observed ratios,
	// 1.0000104, …07, …06, …03, …05.
	const ratio, ratioU = 1.0000105, 0.0707e-6
	m := propagateDistributions(3, Trials, func(r *rand.Rand) float64 {
		standard := 10000.053 + 0.0025*r.NormFloat64()
		drift, bath := 0.020+flat(r, 0.010), flat(r, 0.00275)
		parasitic := 1 + flat(r, 0.5e-6) + flat(r, 0.5e-6) // triangular, ±1e-6
		return (standard+drift+bath)*parasitic*(ratio+ratioU*r.NormFloat64()) - flat(r, 0.0055)
	})
	resistance, ok1 := file.S3["R_X_ohm"].(float64)
	u, ok2 := file.S3["u_ohm"].(float64)
	if !ok1 || !ok2 {
		t.Fatalf("the example has no result: %v", file.S3)
	}
	near(t, "R_X", m.MeanOhms, resistance, 0.0005)
	near(t, "u", m.StandardOhms, u, 0.00005)
}

// Where both apply, propagation and Monte Carlo agree: normal and narrow inputs.
// Where one flat input dominates they do not, and the interval is the narrower
// one of the Monte Carlo.
func TestPropagationAndMonteCarlo(t *testing.T) {
	situationOf := func(r Reading, u float64) situation {
		situations, _ := Input{Ours: Record{R20Ohms: 6612, ExpandedUncertaintyOhms: u}, Theirs: []Reading{r}}.resolve()
		return situations[0]
	}
	narrow := situationOf(Reading{Ohms: 6600, TemperatureCelsius: new(24.0), TemperatureUncertaintyKelvin: new(0.2)}, 30)
	combined, err := uncertainty.Combine(narrow.components())
	if err != nil {
		t.Fatal(err)
	}
	m := propagateDistributions(1, Trials, narrow.draw)
	near(t, "mean", m.MeanOhms, narrow.there(24), 0.01*combined.ExpandedOhms)
	near(t, "low end", m.LowOhms, narrow.there(24)-combined.ExpandedOhms, 0.02*combined.ExpandedOhms)
	near(t, "high end", m.HighOhms, narrow.there(24)+combined.ExpandedOhms, 0.02*combined.ExpandedOhms)

	flat := situationOf(Reading{Ohms: 6600}, 1)
	m = propagateDistributions(1, Trials, flat.draw)
	// 95 % of a flat range of ±7.5 K: 0.95 · 7.5 K · 25.985 Ω/K.
	near(t, "half of a flat interval", (m.HighOhms-m.LowOhms)/2, 0.95*7.5*25.985, 1)
}

// Both directions judge alike, to the first order of small differences.
func TestBothDirections(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 4))
	for range 60 {
		in := question(random, 1)
		situations, _ := in.resolve()
		shown := situations[0].there(situations[0].celsius) * between(random, 0.97, 1.03)
		setting, err := situations[0].set(0, shown, 1, 2000)
		if err != nil {
			t.Fatal(err)
		}
		if setting.At20 == nil {
			t.Fatalf("not referred to 20 °C: %s", setting.Why20)
		}
		// With few trials the mean of the Monte Carlo is not the middle.
		near(t, "e_n at 20 °C", setting.At20.EN, setting.EN, 0.05+0.05*math.Abs(setting.EN))
		if setting.ImpliedCelsius != nil && setting.MonteCarlo == nil {
			near(t, "reading at the implied temperature", situations[0].there(*setting.ImpliedCelsius), shown, 1e-6*shown)
		}
	}
}

// The density of a sum of flat and normal deviations integrates to 1 and is what
// a histogram of drawn sums shows.
func TestDensity(t *testing.T) {
	for _, s := range []smear{
		{1000, [3]float64{0, 0, 0}, 3},
		{1000, [3]float64{30, 0, 0}, 3},
		{1000, [3]float64{30, 20, 0}, 3},
		{1000, [3]float64{5, 30, 20}, 3},
		{1000, [3]float64{0.5, 0.1, 0.2}, 3},
		{1000, [3]float64{30, 1e-9, 20}, 1e-4},
	} {
		const steps = 20000
		sum, mean, square := 0.0, 0.0, 0.0
		for i := range steps {
			x := s.centre + s.reach()*(2*(float64(i)+0.5)/steps-1)
			p := s.density(x) * 2 * s.reach() / steps
			sum, mean, square = sum+p, mean+p*x, square+p*(x-s.centre)*(x-s.centre)
		}
		variance := s.sigma * s.sigma
		for _, half := range s.flats {
			variance += half * half / 3
		}
		near(t, "integral", sum, 1, 1e-4)
		near(t, "mean", mean, s.centre, 1e-4*s.centre)
		near(t, "variance", square, variance, 2e-3*variance)
	}
}
