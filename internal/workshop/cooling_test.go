package workshop

import (
	"errors"
	"math"
	"testing"

	"coilkeep/internal/record"
)

// cooled is what some coils have shown, all with a time constant near ten minutes.
func cooled(serials ...string) (curves []record.CoolingCurve) {
	for i, serial := range serials {
		curves = append(curves, record.CoolingCurve{Serial: serial, TimeConstantSeconds: 600 + 7*float64(i), TimeConstantErrorSeconds: 6,
			QuickShare: 0.2, QuickShareError: 0.02})
	}
	return curves
}

func TestCooledCoils(t *testing.T) {
	t.Parallel()
	if n := CooledCoils(cooled("A", "", "B", "A")); n != 2 {
		t.Errorf("got %d coils, want 2: one twice, one without a number", n)
	}
	if n := CooledCoils(nil); n != 0 {
		t.Errorf("of no curves: %d", n)
	}
}

func TestReviseByCooling(t *testing.T) {
	t.Parallel()
	latest := record.Design{Name: "fen", Revision: 2, TargetOhms: 6690, TimeConstantSeconds: 300}
	curves := cooled("A", "B", "C", "D")
	seen := ProposeCooling(curves)
	if seen == nil {
		t.Fatal("four coils propose nothing")
	}
	token := CoolingToken(*seen)
	d, err := ReviseByCooling(latest, curves, token)
	if err != nil || d.TargetOhms != 6690 || d.Revision != 2 {
		t.Fatalf("got %+v, %v", d, err)
	}
	// Three figures and two, within half a step of the last.
	if math.Abs(d.TimeConstantSeconds-seen.TimeConstantSeconds) > 0.5 || d.TimeConstantSeconds != math.Round(d.TimeConstantSeconds) ||
		math.Abs(d.TimeConstantRatio/seen.TimeConstantRatio-1) > 0.05 || d.TimeConstantRatio <= 0 {
		t.Errorf("of %+v came %+v", *seen, d)
	}
	for name, c := range map[string]struct {
		curves []record.CoolingCurve
		token  string
	}{
		"another coil since": {cooled("A", "B", "C", "D", "E"), token},
		"too few coils":      {cooled("A"), token},
		"not seen":           {curves, ""},
		"none and not seen":  {nil, ""},
	} {
		if d, err := ReviseByCooling(latest, c.curves, c.token); !errors.Is(err, ErrOtherProposal) || d != latest {
			t.Errorf("%s: %+v, %v", name, d, err)
		}
	}
}

func TestFigures(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		v      float64
		digits int
		want   float64
	}{{612.4, 3, 612}, {0.08765, 2, 0.088}, {0, 3, 0}, {-1234, 2, -1200}, {math.Inf(1), 3, math.Inf(1)}} {
		if got := Figures(c.v, c.digits); got != c.want {
			t.Errorf("%g to %d figures: %g, want %g", c.v, c.digits, got, c.want)
		}
	}
	if !math.IsNaN(Figures(math.NaN(), 3)) {
		t.Error("no number became one")
	}
}
