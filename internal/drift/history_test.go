package drift

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os/exec"
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

// A history of winders, batches and spools gives back the components it was made
// of (seeded; the standard error of a component is about its share of √(2/groups)).
func TestHistoryComponents(t *testing.T) {
	random := rand.New(rand.NewPCG(31, 32))
	h, err := NewHistory(usualBaseline, control.StandardScheme())
	if err != nil {
		t.Fatal(err)
	}
	const winder, batch, spool, within = 60.0, 10.0, 80.0, 25.0
	for w := range 40 {
		a := winder * random.NormFloat64()
		for b := range 4 {
			m := batch * random.NormFloat64()
			for s := range 5 {
				level := targetOhms + a + m + spool*random.NormFloat64()
				for range 3 + (w+b+s)%5 { // unequal on purpose
					coil := Coil{R20Ohms: level + within*random.NormFloat64(), Winder: fmt.Sprint(w), Batch: fmt.Sprint(w, b), Spool: fmt.Sprint(w, b, s)}
					if _, err := h.Add(coil); err != nil {
						t.Fatal(err)
					}
				}
			}
		}
	}
	d := h.Summary()
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

func TestHistoryOfLittle(t *testing.T) {
	h, err := NewHistory(usualBaseline, control.StandardScheme())
	if err != nil {
		t.Fatal(err)
	}
	for n := range 4 {
		if _, err := json.Marshal(h.Summary()); err != nil {
			t.Errorf("%d coils: %v", n, err)
		}
		if _, err := h.Add(Coil{R20Ohms: 6690 + float64(n), Spool: "SP-07"}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := h.Add(Coil{R20Ohms: math.NaN()}); !errors.Is(err, ErrInput) {
		t.Errorf("got %v, want ErrInput", err)
	}
	if d := h.Summary(); d.Count != 4 || len(d.Components) != 1 || d.Components[0].Level != "within" {
		t.Errorf("got %+v, want one component of four coils", d)
	}
	if _, err := NewHistory(Baseline{}, control.StandardScheme()); !errors.Is(err, ErrInput) {
		t.Errorf("got %v, want ErrInput", err)
	}
	if _, err := NewHistory(usualBaseline, control.Scheme{}); !errors.Is(err, control.ErrInput) {
		t.Errorf("got %v, want control.ErrInput", err)
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
func BenchmarkHistoryMillion(b *testing.B) {
	coils := newWorkshop(1).wind(1000, "SP-07", unmoved).coils
	b.ReportAllocs()
	for b.Loop() {
		h, err := NewHistory(usualBaseline, control.StandardScheme())
		if err != nil {
			b.Fatal(err)
		}
		for i := range 1_000_000 {
			c := coils[i%1000]
			c.Spool = spoolNames[i/5000%len(spoolNames)]
			if _, err := h.Add(c); err != nil {
				b.Fatal(err)
			}
		}
		if d := h.Summary(); d.Count != 1_000_000 {
			b.Fatal(d.Count)
		}
	}
}

var spoolNames = []string{"SP-01", "SP-02", "SP-03", "SP-04", "SP-05"}

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
