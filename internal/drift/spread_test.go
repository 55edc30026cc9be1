package drift

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"testing"

	"coilkeep/internal/control"
	"coilkeep/internal/statistics"
)

var quickFalseAlarms = &control.FalseAlarms{RunLength: 80, RulesRunLength: 90}

// finiteJSON says whether a report can be written as JSON, which has no NaN.
func finiteJSON(r Report) error {
	_, err := json.Marshal(r)
	return err
}

var usualBaseline = Baseline{MeanOhms: targetOhms, SigmaWithinOhms: 20, MeanRangeOhms: 22.6, SigmaOverallOhms: 20, Count: 40}

// spreadOf splits the spread of coils of which none is left out.
func spreadOf(t testing.TB, coils []Coil, said *notes) *Spread {
	s, err := newSeries(coils, targetOhms)
	if err != nil {
		t.Fatal(err)
	}
	for i := range coils {
		s.kept = append(s.kept, i)
	}
	return splitSpread(s, &usualBaseline, control.StandardScheme(), said)
}

// Coils of many winders, batches and spools give back the components they were made
// of (seeded; the standard error of a component is about its share of √(2/groups)).
func TestSpreadComponents(t *testing.T) {
	random := rand.New(rand.NewPCG(31, 32))
	const winder, batch, spool, within = 60.0, 10.0, 80.0, 25.0
	var coils []Coil
	for w := range 40 {
		a := winder * random.NormFloat64()
		for b := range 4 {
			m := batch * random.NormFloat64()
			for s := range 5 {
				level := targetOhms + a + m + spool*random.NormFloat64()
				for range 3 + (w+b+s)%5 { // unequal on purpose
					coils = append(coils, Coil{R20Ohms: level + within*random.NormFloat64(),
						Winder: fmt.Sprint(w), Batch: fmt.Sprint(w, b), Spool: fmt.Sprint(w, b, s)})
				}
			}
		}
	}
	d := spreadOf(t, coils, &notes{})
	t.Logf("%s: %+v", d.Sentence, d.Components)
	for i, want := range []struct {
		level            string
		sigma, tolerance float64
	}{{"within", within, 1}, {"spool", spool, 5}, {"batch", batch, 25}, {"winder", winder, 20}} {
		if got := d.Components[i]; got.Level != want.level || math.Abs(got.SigmaOhms-want.sigma) > want.tolerance {
			t.Errorf("%s: sigma %.1f, want %s with %.1f", got.Level, got.SigmaOhms, want.level, want.sigma)
		}
	}
	contains(t, "sentence", d.Sentence, "between spools")
}

func TestSpreadOfLittle(t *testing.T) {
	one := []Coil{{R20Ohms: 6690, Spool: "SP-07"}, {R20Ohms: 6691, Spool: "SP-07"}}
	if d := spreadOf(t, one, &notes{}); d != nil {
		t.Errorf("got %+v of one spool, want none", d)
	}
	d := spreadOf(t, []Coil{{R20Ohms: 6690, Spool: "SP-07"}, {R20Ohms: 6691, Spool: "SP-08"}}, &notes{})
	if len(d.Components) != 0 || d.Count != 2 || d.Sentence != "" {
		t.Errorf("got %+v of a coil a spool, want no components", d)
	}
	contains(t, "notes", strings.Join(d.Notes, "; "), "no group has two values", "winders cannot be told apart")
	if _, err := json.Marshal(d); err != nil {
		t.Error(err)
	}
}

func BenchmarkAnalyse1000(b *testing.B) {
	coils := newWorkshop(1).wind(500, "SP-07", unmoved).wind(500, "SP-08", movedBy(0.01)).coils
	o := ordinary()
	o.FalseAlarms = nil // reckoned anew each time
	for b.Loop() {
		if _, err := Analyse(coils, o); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkAnalyse1000Trend(b *testing.B) {
	coils := newWorkshop(1).wind(1000, "SP-07", func(i int) float64 { return 1e-5 * float64(i) }).coils
	o := ordinary()
	o.FalseAlarms = nil // reckoned anew each time
	for b.Loop() {
		if _, err := Analyse(coils, o); err != nil {
			b.Fatal(err)
		}
	}
}

// A million coils through charts, moments and components.
func BenchmarkSpreadMillion(b *testing.B) {
	coils := make([]Coil, 0, 1_000_000)
	for i, of := range slices.Repeat(newWorkshop(1).wind(1000, "SP-07", unmoved).coils, 1000) {
		of.Spool = fmt.Sprint("SP-", i/5000%5)
		coils = append(coils, of)
	}
	b.ReportAllocs()
	for b.Loop() {
		if d := spreadOf(b, coils, &notes{}); d.Count != 1_000_000 {
			b.Fatal(d.Count)
		}
	}
}

// Mean and standard deviation of a million values in two passes, the same sums as
// any array library does.
func BenchmarkMomentsMillion(b *testing.B) {
	values := make([]float64, 1_000_000)
	random := rand.New(rand.NewPCG(1, 1))
	for i := range values {
		values[i] = targetOhms + random.NormFloat64()
	}
	for b.Loop() {
		statistics.MomentsOf(values)
	}
}

// The same by numpy, in the same run, to set beside it: its own best of seven, so
// that neither start-up nor this benchmark's own count matters.
func BenchmarkMomentsMillionNumpy(b *testing.B) {
	const script = `
import timeit, numpy
v = numpy.random.default_rng(1).normal(6690, 1, 1_000_000)
print(min(timeit.repeat(lambda: (v.mean(), v.std(ddof=1)), number=50, repeat=7)) / 50 * 1e9)`
	for b.Loop() {
		out, err := exec.Command("/usr/bin/python3", "-c", script).Output()
		if err != nil {
			b.Skipf("numpy is not here: %v", err)
		}
		ns, err := strconv.ParseFloat(strings.TrimSpace(string(out)), 64)
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(ns, "numpy-ns/op")
	}
}
