package pages

import (
	"testing"

	"coilkeep/internal/record"
)

func TestScale(t *testing.T) {
	t.Parallel()
	design := &record.Design{TargetOhms: 6690, LowerOhms: 6490, UpperOhms: 6890} // one unit is 2 Ω
	for _, c := range []struct {
		name          string
		r20, expanded float64
		at, from, to  float64
		beyond        string
	}{
		{"on target", 6690, 20, 200, 190, 210, ""},
		{"on a limit", 6490, 0, 100, 100, 100, ""},
		{"far low", 5000, 20, 0, 0, 0, "low"},
		{"far high", 9000, 20, 400, 400, 400, "high"},
	} {
		got := newScale(design, &valueView{c.r20, c.expanded})
		if got.Lower != 100 || got.Target != 200 || got.Upper != 300 {
			t.Errorf("%s: got limits %g, %g, %g, want 100, 200, 300", c.name, got.Lower, got.Target, got.Upper)
		}
		if *got.Mark != (markView{At: c.at, From: c.from, To: c.to, Beyond: c.beyond}) {
			t.Errorf("%s: got %+v", c.name, *got.Mark)
		}
	}
	if newScale(nil, &valueView{6690, 20}) != nil {
		t.Error("there is a scale without a design")
	}
	if newScale(design, nil).Mark != nil {
		t.Error("there is a mark without a value")
	}
}
