package capture

import (
	"testing"
	"time"

	"coilkeep/driver"
)

func TestTypedValues(t *testing.T) {
	s := testSettings()
	s.Typed = true
	g := newRig(20, s)
	type typed struct {
		value float64
		want  int
	}
	for i, tt := range []typed{{6650, 1}, {6650, 1}, {12, 0}, {6700, 1}} {
		g.at = g.at.Add(10 * time.Second)
		g.m.Probe(driver.Reading{Time: g.at, Status: driver.OK, Value: 21, Resolution: 0.1})
		g.at = g.at.Add(time.Second)
		out := g.m.Meter(driver.Reading{Time: g.at, Status: driver.OK, Value: tt.value, Resolution: 10})
		if got := out.Result != nil; got != (tt.want == 1) {
			t.Errorf("value %d (%g Ω): measured %v", i, tt.value, got)
		} else if got && (out.Result.Manner != ByTyping || out.Result.Inputs.Readings != 1) {
			t.Errorf("value %d: manner %q of %d readings", i, out.Result.Manner, out.Result.Inputs.Readings)
		}
	}
}

// A slip in the temperature does not cost the resistance typed with it, unless
// that is for another coil, or too old.
func TestTypedValueWaitsForATemperature(t *testing.T) {
	for name, c := range map[string]struct {
		after time.Duration
		do    func(m *Machine)
		want  bool
	}{
		"at once":      {time.Second, func(*Machine) {}, true},
		"too late":     {6 * time.Second, func(*Machine) {}, false},
		"another coil": {time.Second, (*Machine).Forget, false},
		"another design": {time.Second, func(m *Machine) {
			s := m.settings
			s.AlphaPerKelvin = 0.00385
			m.Configure(s)
		}, false},
		"the batch was closed": {time.Second, func(m *Machine) { m.Hold("no batch") }, false},
	} {
		t.Run(name, func(t *testing.T) {
			s := testSettings()
			s.Typed, s.MaxAge = true, 5*time.Second
			g := newRig(20, s)
			g.m.Probe(driver.Reading{Time: g.at, Status: driver.Impossible, Reason: "214 °C is outside 0…50 °C"})
			typedAt := g.at.Add(time.Second)
			if out := g.m.Meter(driver.Reading{Time: typedAt, Status: driver.OK, Value: 6720, Resolution: 10}); out.Result != nil ||
				out.Ended == nil {
				t.Fatalf("without a temperature: %+v", out)
			}
			wantState(t, g.m, NoTemperature, "outside")
			c.do(g.m)
			out := g.m.Probe(driver.Reading{Time: typedAt.Add(c.after), Status: driver.OK, Value: 21.5, Resolution: 0.1})
			if (out.Result != nil) != c.want || out.Ended != nil {
				t.Fatalf("with one: %+v, want a result %v", out, c.want)
			}
			if !c.want {
				return
			}
			if r := out.Result; r.Inputs.ResistanceOhms != 6720 || r.Inputs.TemperatureCelsius != 21.5 || !r.Time.Equal(typedAt) {
				t.Errorf("result %+v", r)
			}
			again := Replay(out.Result.Settings, out.Result.Circumstances(), out.Result.Readings)
			if again == nil || again.R20.R20Ohms != out.Result.R20.R20Ohms {
				t.Errorf("captured again: %+v", again)
			}
			if out := g.m.Probe(driver.Reading{Time: typedAt.Add(2 * c.after), Status: driver.OK, Value: 21.6}); out.Result != nil {
				t.Error("recorded twice")
			}
		})
	}
}
