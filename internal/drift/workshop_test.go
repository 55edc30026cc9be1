package drift

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"
)

// workshop winds invented coils: a target of 6690 ohms, normal scatter of 0.35 %,
// a room at 21 °C, a check standard of 10 kΩ every fifth coil, one coil every ten
// minutes.
type workshop struct {
	random *rand.Rand
	coils  []Coil
}

const (
	targetOhms = 6690.0
	sigmaRatio = 0.0035
)

func newWorkshop(seed uint64) *workshop { return &workshop{random: rand.New(rand.NewPCG(seed, 41))} }

// wind adds n coils, each moved by ratio(i) from target, i from 0.
func (w *workshop) wind(n int, spool string, ratio func(i int) float64) *workshop {
	for i := range n {
		at := len(w.coils)
		celsius := 21 + 0.2*w.random.NormFloat64()
		c := Coil{
			Sequence: at + 1, Serial: fmt.Sprintf("HN-%04d", at+1), Spool: spool, Winder: "W2", Operator: "Mira", Batch: "spring-3",
			R20Ohms:            targetOhms * (1 + ratio(i) + sigmaRatio*w.random.NormFloat64()),
			Time:               time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC).Add(time.Duration(at) * 10 * time.Minute),
			TemperatureCelsius: &celsius, ExpandedUncertaintyOhms: 12, CoverageFactor: 2,
		}
		if at%5 == 0 {
			c.CheckStandardOhms = []float64{10000 * (1 + 1e-4*w.random.NormFloat64())}
		}
		w.coils = append(w.coils, c)
	}
	return w
}

func unmoved(int) float64 { return 0 }

func movedBy(ratio float64) func(int) float64 { return func(int) float64 { return ratio } }

func ordinary() Options {
	return Options{TargetOhms: targetOhms, LowerOhms: targetOhms * 0.97, UpperOhms: targetOhms * 1.03, Winding: Winding{Turns: 8000},
		FalseAlarms: quickFalseAlarms}
}

func analysed(t testing.TB, coils []Coil, o Options) Report {
	t.Helper()
	r, err := Analyse(coils, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}
