package web

import "testing"

// TestOff has nothing be off by minus zero.
func TestOff(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		ohms float64
		want string
	}{{6910, "+0.00 %"}, {6909.9, "+0.00 %"}, {6910.1, "+0.00 %"}, {6979.1, "+1.00 %"}, {6840.9, "−1.00 %"}} {
		if got := percentOffTarget(c.ohms, 6910); got != c.want {
			t.Errorf("%g Ω: got %q, want %q", c.ohms, got, c.want)
		}
	}
	if got := percentOffTarget(6910, 0); got != "" {
		t.Errorf("without a target: got %q, want nothing", got)
	}
}
