package simulate

import (
	"testing"
)

// NR3 of IEEE 488.2-1992, 8.7.4: sign, digits with a point, E, sign, digits.
func TestNR3(t *testing.T) {
	t.Parallel()
	tests := []struct {
		value, resolution float64
		want              string
	}{
		{6690, 0.1, "+6.6900E+03"},
		{6690.12, 0.01, "+6.69012E+03"},
		{19999, 1, "+1.9999E+04"},
		{-0.1, 0.1, "-1.0E-01"},
		{0, 0.1, "+0.0E+00"},
		{1000, 1, "+1.000E+03"},
		{40e-6, 1e-6, "+4.0E-05"},
		{6690.125, 0, "+6.69012500E+03"},
	}
	for _, tt := range tests {
		if got := (MeterValue{Value: tt.value, Resolution: tt.resolution}).NR3(); got != tt.want {
			t.Errorf("%v Ω in steps of %v Ω: got %q, want %q", tt.value, tt.resolution, got, tt.want)
		}
	}
}

func TestMeterAnswers(t *testing.T) {
	t.Parallel()
	b := exactBench(newClock(), Room{BaseCelsius: 20})
	m := &Meter{Bench: b}
	m.PowerOn()
	for _, tt := range []struct{ say, want string }{
		{"*IDN?", "Elder Vale,EV-41,0007,1.2"}, // IEEE 488.2-1992, 10.14: four fields
		{"FUNC?", `"VOLT"`},
		{"CONF:RES", ""},
		{"FUNC?", `"RES"`},
		{"READ?", "+9.90000000E+37"}, // SCPI-1999 vol. 1, 7.2.1.4
		{"", ""},
		{"SYST:ERR?", `0,"No error"`},
		{"BOGUS?", ""},
		{"SYST:ERR?", `-113,"Undefined header"`}, // SCPI-1999 vol. 2, 21.8
		{"SYST:ERR?", `0,"No error"`},
		{"BOGUS?", ""},
		{"*CLS", ""},
		{"SYST:ERR?", `0,"No error"`},
	} {
		if got := m.answer(tt.say); got != tt.want {
			t.Errorf("%q is answered with %q, want %q", tt.say, got, tt.want)
		}
	}
}
