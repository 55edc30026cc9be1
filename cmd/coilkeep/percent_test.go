package main

import "testing"

func TestPercentFlags(t *testing.T) {
	for text, want := range map[string]float64{"5": 5, "5%": 5, "2.5 %": 2.5, "-1%": -1} {
		f := newFlags("try", "", "")
		got := f.percent("tolerance", 0, "`PERCENT`")
		if err := f.Parse([]string{"--tolerance=" + text}); err != nil || *got != want {
			t.Errorf("%q: %g, %v; want %g", text, *got, err, want)
		}
	}
	f := newFlags("try", "", "")
	f.percent("tolerance", 0, "`PERCENT`")
	if err := f.parse(&environment{}, []string{"--tolerance", "five"}, 0, 0); err == nil ||
		err.Error() != `"five" will not do for --tolerance, which wants a number` {
		t.Errorf("five: %v", err)
	}
}
