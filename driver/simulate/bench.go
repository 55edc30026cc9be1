package simulate

import (
	"math"
	"math/rand/v2"
	"sync"
	"time"
)

// MeterModel is how the meter sees what is between the clips.
type MeterModel struct {
	// NoiseOhms is the standard deviation of one reading.
	NoiseOhms float64
	// ResolutionOhms is one step of the last digit; 0 shows every digit.
	ResolutionOhms float64
	// GainErrorRatio makes readings too large by this ratio.
	GainErrorRatio float64
	// LeadOhms is in series with the clips.
	LeadOhms float64
	// RangeOhms is the largest value shown; above it the meter is overloaded.
	// 0 takes 20 kΩ.
	RangeOhms float64
	// Integration is the time one reading is taken over, ending when it is
	// read.
	Integration time.Duration
}

// ProbeModel is how the probe sees the room.
type ProbeModel struct {
	NoiseKelvin      float64
	ResolutionKelvin float64
	OffsetKelvin     float64
	// Lag is the thermal time constant of its tip.
	Lag time.Duration
}

// Config is a bench before anything happens at it.
type Config struct {
	Room  Room
	Meter MeterModel
	Probe ProbeModel
	// Seed decides the noise: equal seeds and equal questions give equal
	// answers.
	Seed uint64
	// Now is the bench's clock; nil means time.Now.
	Now func() time.Time
}

// OrdinaryMeter is a meter as a small workshop has: 20 kΩ range, 0.1 Ω steps,
// readings over a tenth of a second.
func OrdinaryMeter() MeterModel {
	return MeterModel{NoiseOhms: 0.15, ResolutionOhms: 0.1, RangeOhms: 20000, Integration: 100 * time.Millisecond}
}

// OrdinaryProbe is a small digital probe lying on the bench.
func OrdinaryProbe() ProbeModel {
	return ProbeModel{NoiseKelvin: 0.02, ResolutionKelvin: 0.01, Lag: 20 * time.Second}
}

// Bench is one simulated bench. Its methods may be called from any goroutine.
// Everything that happens, happens at the time its clock shows then.
type Bench struct {
	now func() time.Time

	mu         sync.Mutex
	room       Room
	meter      MeterModel
	probe      ProbeModel
	meterNoise *rand.Rand
	probeNoise *rand.Rand
	clips      timeline
	tip        Body

	volts bool
}

// NewBench returns a bench with open clips, its probe as warm as the room.
func NewBench(c Config) *Bench {
	now := c.Now
	if now == nil {
		now = time.Now
	}
	if c.Meter.RangeOhms <= 0 {
		c.Meter.RangeOhms = OrdinaryMeter().RangeOhms
	}
	t := now()
	return &Bench{
		now:   now,
		room:  c.Room,
		meter: c.Meter,
		probe: c.Probe,
		// Two sources, so that asking the probe more often does not change what
		// the meter says.
		meterNoise: rand.New(rand.NewPCG(c.Seed, 1)),
		probeNoise: rand.New(rand.NewPCG(c.Seed, 2)),
		tip:        Body{Celsius: c.Room.CelsiusAt(t), At: t, TimeConstant: c.Probe.Lag},
	}
}

// change replaces the circuit from now on by what f makes of the present one.
func (b *Bench) change(f func(now time.Time, present circuit) circuit) {
	b.mu.Lock()
	defer b.mu.Unlock()
	t := b.now()
	b.clips = b.clips.then(t, f(t, b.clips.at(t)))
}

// Attach puts a coil on the clips in place of whatever was there.
func (b *Bench) Attach(c Coil) {
	b.change(func(now time.Time, _ circuit) circuit {
		return circuit{attached: true, coil: c, since: now}
	})
}

// Detach takes everything off the clips. It returns the coil that was there,
// as warm as it is now; the zero Coil when there was none.
func (b *Bench) Detach() Coil {
	var off Coil
	b.change(func(now time.Time, present circuit) circuit {
		if present.attached {
			off = present.coil.After(b.room, present.since, now)
		}
		return circuit{}
	})
	return off
}

// Fingers puts a hand of some resistance across the clips for a while. 0 ohms
// or less is no hand.
func (b *Bench) Fingers(ohms float64, hold time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	t := b.now()
	touched := b.clips.at(t)
	touched.fingersOhms = ohms
	free := touched
	free.fingersOhms = 0
	b.clips = b.clips.then(t, touched).then(t.Add(hold), free)
}

// bounceStep is how long a bouncing clip stays open or closed, one after the
// other.
const bounceStep = 40 * time.Millisecond

// Bounce lets a clip make and break contact for a while, open at first and
// closed in the end.
func (b *Bench) Bounce(d time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	t := b.now()
	closed := b.clips.at(t)
	closed.slipped = false
	open := closed
	open.slipped = true
	for at := time.Duration(0); at < d; at += 2 * bounceStep {
		b.clips = b.clips.then(t.Add(at), open)
		b.clips = b.clips.then(t.Add(min(at+bounceStep, d)), closed)
	}
}

// Volts turns the meter to volts, as a hand on its knob does, or back to ohms.
func (b *Bench) Volts(volts bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.volts = volts
}

// MeasuresVolts is true while the meter measures volts.
func (b *Bench) MeasuresVolts() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.volts
}

// MeterValue is one reading as the meter shows it.
type MeterValue struct {
	// Value is in ohms, or in volts when Volts is true; 0 when Overload is.
	Value float64
	// Resolution is one step of the last digit shown; 0 shows every digit.
	Resolution float64
	Overload   bool
	Volts      bool
}

// ReadMeter is what the meter shows now.
func (b *Bench) ReadMeter() MeterValue {
	b.mu.Lock()
	defer b.mu.Unlock()
	t := b.now()
	b.clips = b.clips.since(t.Add(-b.meter.Integration))
	v := b.resistance(t)
	if b.volts {
		// A few tens of microvolts on leads that go nowhere.
		v = MeterValue{Value: step(40e-6*b.meterNoise.NormFloat64(), 1e-6), Resolution: 1e-6, Volts: true}
	}
	return v
}

// saturation is how far above its range the converter still follows.
const saturation = 1.2

func (b *Bench) resistance(t time.Time) MeterValue {
	m := b.meter
	noise := m.NoiseOhms * b.meterNoise.NormFloat64()
	ohms := b.clips.mean(b.room, t.Add(-m.Integration), t, saturation*m.RangeOhms)
	ohms = step((ohms+m.LeadOhms)*(1+m.GainErrorRatio)+noise, m.ResolutionOhms)
	if ohms > m.RangeOhms {
		return MeterValue{Resolution: m.ResolutionOhms, Overload: true}
	}
	return MeterValue{Value: ohms, Resolution: m.ResolutionOhms}
}

// ReadProbe is what the probe shows now, in degrees Celsius.
func (b *Bench) ReadProbe() float64 {
	b.mu.Lock()
	defer b.mu.Unlock()
	noise := b.probe.NoiseKelvin * b.probeNoise.NormFloat64()
	return step(b.tip.CelsiusIn(b.room, b.now())+b.probe.OffsetKelvin+noise, b.probe.ResolutionKelvin)
}

// step rounds to whole steps of a display; a step of 0 does not round.
func step(v, size float64) float64 {
	if size <= 0 {
		return v
	}
	return math.Round(v/size) * size
}

// RoomCelsius is the temperature of the air now.
func (b *Bench) RoomCelsius() float64 {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.room.CelsiusAt(b.now())
}

// Lie is what a coil has become that was set down in the room at a time.
func (b *Bench) Lie(c Coil, since time.Time) Coil {
	b.mu.Lock()
	defer b.mu.Unlock()
	return c.After(b.room, since, b.now())
}
