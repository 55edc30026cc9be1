package simulate

import (
	"math"
	"sync"
	"testing"
	"time"
)

// clock is a time that moves when a test says so.
type clock struct {
	mu sync.Mutex
	t  time.Time
}

func newClock() *clock { return &clock{t: epoch} }

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.t
}

func (c *clock) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.t = c.t.Add(d)
}

// truth is what no instrument knows exactly.
type truth struct {
	Time        time.Time
	RoomCelsius float64
	// TipCelsius is the temperature of the tip of the probe.
	TipCelsius float64
	// Attached is true while a coil belongs to the clips, even if one has
	// slipped. The two that follow are those of that coil.
	Attached    bool
	Coil        Coil
	CoilCelsius float64
	// CircuitOhms is what is between the clips; +Inf when they are open.
	CircuitOhms float64
}

// truth is the state of the bench now.
func (b *Bench) truth() truth {
	b.mu.Lock()
	defer b.mu.Unlock()
	t := b.now()
	c := b.clips.at(t)
	now := truth{
		Time:        t,
		RoomCelsius: b.room.CelsiusAt(t),
		TipCelsius:  b.tip.CelsiusIn(b.room, t),
		CircuitOhms: c.ohms(b.room, t),
	}
	if c.attached {
		now.Attached, now.Coil = true, c.coil
		now.CoilCelsius = c.coil.After(b.room, c.since, t).Celsius
	}
	return now
}

// exactBench has instruments without noise, steps or errors.
func exactBench(c *clock, room Room) *Bench {
	return NewBench(Config{
		Room:  room,
		Meter: MeterModel{RangeOhms: 20000, Integration: 100 * time.Millisecond},
		Probe: ProbeModel{Lag: time.Minute},
		Now:   c.now,
	})
}

func wantOhms(t *testing.T, b *Bench, want float64) {
	t.Helper()
	got := b.ReadMeter()
	if got.Overload || math.Abs(got.Value-want) > 1e-6*math.Max(1, want) {
		t.Errorf("meter shows %+v, want %.4f Ω", got, want)
	}
}

func wantOverload(t *testing.T, b *Bench) {
	t.Helper()
	if got := b.ReadMeter(); !got.Overload {
		t.Errorf("meter shows %+v, want overload", got)
	}
}

func TestCoilOnTheClips(t *testing.T) {
	t.Parallel()
	c := newClock()
	b := exactBench(c, Room{BaseCelsius: 20})
	wantOverload(t, b)
	b.Attach(CopperCoil(6690, 30))
	c.pass(time.Second)
	// The meter shows the mean of the last tenth of a second.
	at := CopperCoil(6690, 20+10*math.Exp(-0.95/600))
	wantOhms(t, b, at.OhmsAt(at.Celsius))
	at = CopperCoil(6690, 20+10*math.Exp(-1.0/600))
	if got := b.truth(); !got.Attached || got.Coil.R20Ohms != 6690 || math.Abs(got.CoilCelsius-at.Celsius) > 1e-9 {
		t.Errorf("truth is %+v, want a coil of 6690 Ω at %v °C", got, at.Celsius)
	}
	c.pass(time.Hour)
	off := b.Detach()
	if want := 20 + 10*math.Exp(-3601.0/600); math.Abs(off.Celsius-want) > 1e-9 {
		t.Errorf("the coil came off at %v °C, want %v °C", off.Celsius, want)
	}
	c.pass(time.Second)
	wantOverload(t, b)
	if got := b.truth(); got.Attached || !math.IsInf(got.CircuitOhms, 1) {
		t.Errorf("truth is %+v, want open clips", got)
	}
}

// A reading that straddles the making of contact is a plausible number that
// belongs to nothing: 60 ms of saturation at 24 kΩ and 40 ms of coil.
func TestStraddlingReading(t *testing.T) {
	t.Parallel()
	c := newClock()
	b := exactBench(c, Room{BaseCelsius: 20})
	c.pass(time.Second)
	b.Attach(CopperCoil(6690, 20))
	c.pass(40 * time.Millisecond)
	wantOhms(t, b, 0.6*24000+0.4*6690)
	c.pass(60 * time.Millisecond)
	wantOhms(t, b, 6690)
	b.Detach()
	c.pass(10 * time.Millisecond)
	wantOhms(t, b, 0.1*24000+0.9*6690)
}

func TestFingersAndOtherCircuits(t *testing.T) {
	t.Parallel()
	parallel := func(a, b float64) float64 { return a * b / (a + b) }
	tests := []struct {
		name string
		do   func(*Bench)
		want float64
	}{
		{"fingers", func(b *Bench) { b.Fingers(250000, 2*time.Second) }, parallel(6690, 250000)},
		{"swapped without a gap", func(b *Bench) { b.Attach(CopperCoil(7000, 20)) }, 7000},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			c := newClock()
			b := exactBench(c, Room{BaseCelsius: 20})
			b.Attach(CopperCoil(6690, 20))
			c.pass(time.Second)
			tt.do(b)
			c.pass(time.Second)
			wantOhms(t, b, tt.want)
		})
	}
}

func TestFingersComeOff(t *testing.T) {
	t.Parallel()
	c := newClock()
	b := exactBench(c, Room{BaseCelsius: 20})
	b.Attach(CopperCoil(6690, 20))
	b.Fingers(250000, 2*time.Second)
	c.pass(2100 * time.Millisecond)
	wantOhms(t, b, 6690)
	b.Fingers(250000, time.Minute)
	b.Detach()
	c.pass(2 * time.Second)
	wantOverload(t, b)
}

func TestBounce(t *testing.T) {
	t.Parallel()
	c := newClock()
	b := exactBench(c, Room{BaseCelsius: 20})
	b.Attach(CopperCoil(6690, 20))
	c.pass(time.Second)
	b.Bounce(400 * time.Millisecond)
	openings, wasOpen := 0, false
	for range 400 {
		now := b.truth()
		open := math.IsInf(now.CircuitOhms, 1)
		if open && !wasOpen {
			openings++
		}
		if wasOpen = open; !now.Attached {
			t.Fatal("the coil is gone while the clip bounces, want it attached")
		}
		c.pass(time.Millisecond)
	}
	if openings != 5 {
		t.Errorf("got %d openings in 400 ms, want 5", openings)
	}
	c.pass(200 * time.Millisecond)
	wantOhms(t, b, 6690)
}

func TestMeterTurnedToVolts(t *testing.T) {
	t.Parallel()
	b := exactBench(newClock(), Room{BaseCelsius: 20})
	b.Volts(true)
	if got := b.ReadMeter(); !got.Volts || got.Overload || math.Abs(got.Value) > 1e-3 {
		t.Errorf("turned to volts the meter shows %+v, want less than a millivolt", got)
	}
	b.Volts(false)
	wantOverload(t, b)
}

func TestMeterModel(t *testing.T) {
	t.Parallel()
	c := newClock()
	b := NewBench(Config{
		Room: Room{BaseCelsius: 20},
		Meter: MeterModel{
			NoiseOhms: 0.5, ResolutionOhms: 0.1, GainErrorRatio: 0.001, LeadOhms: 0.3, RangeOhms: 20000,
		},
		Seed: 7,
		Now:  c.now,
	})
	b.Attach(CopperCoil(6690, 20))
	c.pass(10 * time.Second)
	const n = 2000
	var sum, squares float64
	for range n {
		v := b.ReadMeter().Value
		if steps := v / 0.1; math.Abs(steps-math.Round(steps)) > 1e-6 {
			t.Fatalf("meter shows %v Ω, want whole steps of 0.1 Ω", v)
		}
		sum += v
		squares += (v - 6697) * (v - 6697)
	}
	mean := sum / n
	sd := math.Sqrt(squares/n - (mean-6697)*(mean-6697))
	// Four standard errors: 0.5/√2000 = 0.011, and 1/√(2·2000) = 1.6 % of sd.
	if want := 6690.3 * 1.001; math.Abs(mean-want) > 0.045 {
		t.Errorf("mean is %.4f Ω, want %.4f Ω", mean, want)
	}
	if math.Abs(sd-0.5) > 0.035 {
		t.Errorf("standard deviation is %.4f Ω, want 0.5 Ω", sd)
	}
}

// Equal seeds and equal questions give equal answers, however often the other
// instrument is asked.
func TestSeedDecides(t *testing.T) {
	t.Parallel()
	run := func(seed uint64, askProbe int) []float64 {
		c := newClock()
		b := NewBench(Config{Room: Room{BaseCelsius: 21}, Meter: OrdinaryMeter(), Probe: OrdinaryProbe(), Seed: seed, Now: c.now})
		b.Attach(CopperCoil(6690, 21))
		var shown []float64
		for range 50 {
			c.pass(200 * time.Millisecond)
			for range askProbe {
				b.ReadProbe()
			}
			shown = append(shown, b.ReadMeter().Value)
		}
		return shown
	}
	first, same, other := run(1, 0), run(1, 3), run(2, 0)
	equal := func(a, b []float64) bool {
		for i := range a {
			if a[i] != b[i] {
				return false
			}
		}
		return true
	}
	if !equal(first, same) {
		t.Errorf("equal seeds gave %v and %v", first, same)
	}
	if equal(first, other) {
		t.Error("different seeds gave the same readings")
	}
}
