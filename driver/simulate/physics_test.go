package simulate

import (
	"math"
	"testing"
	"time"
)

var epoch = time.Date(2031, 3, 14, 9, 0, 0, 0, time.UTC)

// euler integrates dT/dt = (room − T)/τ in steps, a second way to the answer.
func euler(r Room, b Body, to time.Time, dt time.Duration) float64 {
	celsius := b.Celsius
	for at := b.At; at.Before(to); at = at.Add(dt) {
		middle := r.CelsiusAt(at.Add(dt / 2))
		celsius += (middle - celsius) * dt.Seconds() / b.TimeConstant.Seconds()
	}
	return celsius
}

func TestBodyFollowsRoom(t *testing.T) {
	t.Parallel()
	still := Room{BaseCelsius: 21}
	swinging := Room{BaseCelsius: 21, SwingKelvin: 1.5, Period: 40 * time.Minute, Phase: 0.7}
	warm := Body{Celsius: 29, At: epoch, TimeConstant: 10 * time.Minute}
	tests := []struct {
		name  string
		room  Room
		after time.Duration
	}{
		{"still room, at once", still, 0},
		{"still room, one time constant", still, 10 * time.Minute},
		{"swinging room, one second", swinging, time.Second},
		{"swinging room, one time constant", swinging, 10 * time.Minute},
		{"swinging room, three hours", swinging, 3 * time.Hour},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got := warm.CelsiusIn(tt.room, epoch.Add(tt.after))
			want := euler(tt.room, warm, epoch.Add(tt.after), 100*time.Millisecond)
			// Euler steps of h are off by about h/(2τ) of the difference: 8 K · 0.1/1200.
			if math.Abs(got-want) > 1e-3 {
				t.Errorf("got %.6f °C, want %.6f °C by small steps", got, want)
			}
		})
	}
}

func TestBodyInStillRoomLosesOneE(t *testing.T) {
	t.Parallel()
	b := Body{Celsius: 29, At: epoch, TimeConstant: 10 * time.Minute}
	got := b.CelsiusIn(Room{BaseCelsius: 21}, epoch.Add(10*time.Minute))
	if want := 21 + 8/math.E; math.Abs(got-want) > 1e-12 {
		t.Errorf("after one time constant got %v °C, want %v °C", got, want)
	}
}

func TestRoomRepeatsEveryPeriod(t *testing.T) {
	t.Parallel()
	r := Room{BaseCelsius: 20, SwingKelvin: 2, Period: 37 * time.Minute, Phase: 1}
	highest, lowest := math.Inf(-1), math.Inf(1)
	for s := range 37 * 60 {
		at := epoch.Add(time.Duration(s) * time.Second)
		c := r.CelsiusAt(at)
		highest, lowest = max(highest, c), min(lowest, c)
		if again := r.CelsiusAt(at.Add(r.Period)); math.Abs(again-c) > 1e-9 {
			t.Fatalf("%d s: got %v °C one period later, want %v °C", s, again, c)
		}
	}
	if math.Abs(highest-22) > 1e-4 || math.Abs(lowest-18) > 1e-4 {
		t.Errorf("got %v to %v °C, want 18 to 22 °C", lowest, highest)
	}
}

// The resistances of copper by its 234.5 rule, R2/R1 = (234.5 + t2)/(234.5 + t1)
// (NBS Handbook 100, the rule from memory); it and alpha = 0.00393 agree to
// 7 parts in a million between 10 and 30 °C.
func TestCopperCoil(t *testing.T) {
	t.Parallel()
	for _, celsius := range []float64{10, 15, 20, 25, 30} {
		got := CopperCoil(6690, celsius).OhmsAt(celsius)
		want := 6690 * (234.5 + celsius) / 254.5
		if math.Abs(got/want-1) > 10e-6 {
			t.Errorf("at %v °C got %.4f Ω, want %.4f Ω within 10 ppm", celsius, got, want)
		}
	}
}

func TestCoilLeftInTheRoom(t *testing.T) {
	t.Parallel()
	room := Room{BaseCelsius: 21, SwingKelvin: 0.5, Period: time.Hour}
	c := CopperCoil(6690, 29)
	whole := c.After(room, epoch, epoch.Add(20*time.Minute))
	parts := c.After(room, epoch, epoch.Add(7*time.Minute)).After(room, epoch.Add(7*time.Minute), epoch.Add(20*time.Minute))
	if math.Abs(whole.Celsius-parts.Celsius) > 1e-9 {
		t.Errorf("in one go got %v °C, in two parts %v °C", whole.Celsius, parts.Celsius)
	}
	constant := Coil{R20Ohms: 10000}
	if got := constant.OhmsAt(35); got != 10000 {
		t.Errorf("a resistor without temperature coefficient got %v Ω at 35 °C, want 10000 Ω", got)
	}
}
