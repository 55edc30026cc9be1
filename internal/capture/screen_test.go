package capture

import (
	"strings"
	"testing"
	"time"

	"coilkeep/driver"
)

func TestProbeScreen(t *testing.T) {
	tests := []struct {
		name   string
		values []float64
		// want is "" for a value that passes, else a part of the reason, for
		// the last value.
		want string
	}{
		{"room", []float64{21.4}, ""},
		{"power-on value first", []float64{85}, "before it has measured"},
		{"power-on value later", []float64{21.4, 85}, "before it has measured"},
		{"zero with a broken lead", []float64{21.4, 0}, "broken lead"},
		{"zero in a cold room", []float64{1.5, 0.5, 0}, ""},
		{"minus 127", []float64{-127}, "broken lead"},
		{"minus 242", []float64{-242.02}, "broken lead"},
		{"fahrenheit", []float64{70.5}, "°F"},
		{"a jump", []float64{21.4, 27}, "jumped"},
		{"a jump that stays", []float64{21.4, 27, 27.1, 27, 27.1}, ""},
		{"a jump and back", []float64{21.4, 27, 21.4}, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := NewProbeScreen(0, 50)
			var got driver.Reading
			for i, v := range tt.values {
				got = s.Check(driver.Reading{Time: day.Add(time.Duration(i) * time.Second), Status: driver.OK, Value: v, Resolution: 0.01})
			}
			if tt.want == "" && got.Status != driver.OK {
				t.Errorf("refused: %s", got.Reason)
			}
			if tt.want != "" && (got.Status != driver.Impossible || !strings.Contains(got.Reason, tt.want) || got.Value != 0) {
				t.Errorf("got %v %g %q, want impossible with %q", got.Status, got.Value, got.Reason, tt.want)
			}
		})
	}
}

func TestStuckInstrument(t *testing.T) {
	read := func(s *Screen, g *rig, n int) (impossible int) {
		for range n {
			g.at = g.at.Add(g.every)
			if s.Check(g.reading()).Status == driver.Impossible {
				impossible++
			}
		}
		return impossible
	}
	t.Run("a meter that scatters and then hangs", func(t *testing.T) {
		g := newRig(30, testSettings())
		g.clip(6650, 0)
		s := NewMeterScreen()
		if n := read(s, g, 500); n != 0 {
			t.Fatalf("%d of 500 honest readings were called stuck", n)
		}
		frozen := g.reading().Value
		g.override = func(r driver.Reading) driver.Reading { r.Value = frozen; return r }
		if n := read(s, g, 120); n < 50 {
			t.Errorf("%d of 120 frozen readings were noticed", n)
		}
	})
	t.Run("a fine meter that sends more digits than it scatters by", func(t *testing.T) {
		for _, shown := range []float64{1e-5, 0} { // +6.65038000E+03; registers
			g := newRig(33, testSettings())
			g.clip(6650, 0)
			g.override = func(r driver.Reading) driver.Reading { r.Resolution = shown; return r }
			s := NewMeterScreen()
			if n := read(s, g, 500); n != 0 {
				t.Fatalf("%d of 500 honest readings were called stuck", n)
			}
			frozen := g.reading().Value
			g.override = func(r driver.Reading) driver.Reading { r.Value, r.Resolution = frozen, shown; return r }
			if n := read(s, g, 120); n < 50 {
				t.Errorf("resolution %g: %d of 120 frozen readings were noticed", shown, n)
			}
		}
	})
	t.Run("a quiet meter on a coil that cools, then not", func(t *testing.T) {
		g := newRig(34, testSettings())
		g.noise = 0.01
		g.clip(6650, 40)
		s := NewMeterScreen()
		read(s, g, 500) // a step at nearly every reading, always down
		g.clip(6650, 0)
		if n := read(s, g, 500); n != 0 {
			t.Errorf("%d of 500 readings were called stuck", n)
		}
	})
	t.Run("shorted clips after a coil that scatters", func(t *testing.T) {
		g := newRig(35, testSettings())
		g.clip(6650, 0)
		s := NewMeterScreen()
		read(s, g, 500)
		g.override = func(r driver.Reading) driver.Reading { r.Value = 0.1; return r }
		if n := read(s, g, 500); n != 0 {
			t.Errorf("%d of 500 readings were called stuck", n)
		}
	})
	t.Run("a coarse meter that honestly repeats", func(t *testing.T) {
		g := newRig(31, testSettings())
		g.clip(6650, 0)
		g.digit = 10
		s := NewMeterScreen()
		if n := read(s, g, 3000); n != 0 {
			t.Errorf("%d of 3000 readings of a coarse meter were called stuck", n)
		}
	})
	t.Run("a coarse meter on the edge of a digit, then not", func(t *testing.T) {
		g := newRig(32, testSettings())
		g.digit, g.noise = 1, 0.2
		g.clip(6611.0345, 0) // reads 6650.0 Ω at 21.5 °C, near the middle of a step
		g.room = 20
		s := NewMeterScreen()
		read(s, g, 500)
		g.clip(6650.5, 0)
		read(s, g, 500)
		g.clip(6650, 0)
		if n := read(s, g, 500); n != 0 {
			t.Errorf("%d of 500 readings were called stuck", n)
		}
	})
}
