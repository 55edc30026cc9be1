package workshop

import (
	"errors"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"coilkeep/internal/record"
)

// Limits have no more decimals than the product of what a person wrote: the
// target's, the percentage's, and two for the hundredth.
func TestLimitsHaveNoBinaryTail(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(6690, 5))
	decimals := func(v float64) int {
		_, after, _ := strings.Cut(strconv.FormatFloat(v, 'f', -1, 64), ".")
		return len(after)
	}
	for range 5000 {
		target := math.Round(100+random.Float64()*1e6) / 10
		percent := math.Round(1+random.Float64()*9000) / 100
		d, err := NewDesign(DesignRequest{Name: "fen", TargetOhms: &target, TolerancePercent: &percent, Confirm: true})
		if err != nil {
			t.Fatal(err)
		}
		for _, limit := range []float64{d.LowerOhms, d.UpperOhms} {
			if decimals(limit) > decimals(target)+decimals(percent)+2 {
				t.Fatalf("%v ± %v %% has a limit %v", target, percent, limit)
			}
		}
		if back, even := TolerancePercent(d); !even || back != percent {
			t.Fatalf("%v ± %v %% comes back as %v, %t", target, percent, back, even)
		}
	}
}

func TestReviseDesign(t *testing.T) {
	t.Parallel()
	told := func(v float64) *float64 { return &v }
	even, err := NewDesign(DesignRequest{Name: "fen", TargetOhms: told(6690), TolerancePercent: told(5)})
	if err != nil {
		t.Fatal(err)
	}
	even.TimeConstantSeconds, even.TimeConstantRatio, even.QuickShare = 600, 0.1, 0.2
	uneven := even
	uneven.LowerOhms = 6000
	small := even
	small.TargetOhms, small.LowerOhms, small.UpperOhms = 6.69, 6, 7
	for _, c := range []struct {
		name    string
		latest  record.Design
		request DesignRequest
		want    func(d record.Design) bool
		wrong   string
	}{
		{"limits go with the target", even, DesignRequest{TargetOhms: told(7000)},
			func(d record.Design) bool { return d.LowerOhms == 6650 && d.UpperOhms == 7350 }, ""},
		{"uneven ones do not", uneven, DesignRequest{TargetOhms: told(7000)}, nil, "tolerance_percent"},
		{"one limit of a known design", even, DesignRequest{LowerOhms: told(6500)},
			func(d record.Design) bool { return d.LowerOhms == 6500 && d.UpperOhms == 7024.5 }, ""},
		{"another name", even, DesignRequest{Name: "sedge"}, nil, "name"},
		{"its own name", even, DesignRequest{Name: "fen"}, func(d record.Design) bool { return d == even }, ""},
		{"another time constant is not learned", even, DesignRequest{TimeConstantSeconds: told(700)},
			func(d record.Design) bool {
				return d.TimeConstantSeconds == 700 && d.TimeConstantRatio == 0 && d.QuickShare == 0
			}, ""},
		{"the same one stays learned", even, DesignRequest{TimeConstantSeconds: told(600)},
			func(d record.Design) bool { return d.TimeConstantRatio == 0.1 }, ""},
		{"a small target was confirmed before", small, DesignRequest{TargetOhms: told(6.69), Note: new(string)},
			func(d record.Design) bool { return d.TargetOhms == 6.69 }, ""},
		{"another small target", small, DesignRequest{TargetOhms: told(6.7), LowerOhms: told(6), UpperOhms: told(7)}, nil, "target_ohms"},
		{"no number", even, DesignRequest{TargetOhms: told(math.NaN())}, nil, "target_ohms"},
		{"no end", even, DesignRequest{TargetOhms: told(math.Inf(1)), ToleranceOhms: told(1)}, nil, "target_ohms"},
		{"a tolerance that is no number", even, DesignRequest{ToleranceOhms: told(math.NaN())}, nil, "tolerance_ohms"},
	} {
		d, err := ReviseDesign(c.latest, c.request)
		wrong := new(record.FieldError)
		if errors.As(err, &wrong) != (c.wrong != "") || c.wrong != "" && wrong.Field != c.wrong {
			t.Errorf("%s: %v, want one about %q", c.name, err, c.wrong)
		}
		if err == nil && !c.want(d) {
			t.Errorf("%s: got %+v", c.name, d)
		}
	}
}
