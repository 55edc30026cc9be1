package drivertest

import (
	"sync"

	"coilkeep/driver/simulate"
)

// Bench is a simulated bench on which things go wrong that the demo never
// shows. Its methods may be called from any goroutine.
type Bench struct {
	*simulate.Bench

	mu         sync.Mutex
	parting    simulate.MeterValue // the next reading when partingDue
	partingDue bool
	shorted    bool
	warmer     float64 // kelvin
	stuckProbe bool
	lastProbe  *float64
}

// NewBench returns a bench with open clips.
func NewBench(c simulate.Config) *Bench { return &Bench{Bench: simulate.NewBench(c)} }

// Attach puts a coil on the clips in place of whatever was there.
func (b *Bench) Attach(c simulate.Coil) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.shorted = false
	b.Bench.Attach(c)
}

// Detach takes everything off the clips and returns the coil that was there.
func (b *Bench) Detach() simulate.Coil {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.shorted = false
	return b.Bench.Detach()
}

// Pull is Detach in the middle of a reading: the next one shows ohms, a value
// that belongs to nothing, in steps of 0.1 Ω.
func (b *Bench) Pull(ohms float64) {
	b.Detach()
	b.mu.Lock()
	defer b.mu.Unlock()
	b.parting, b.partingDue = simulate.MeterValue{Value: ohms, Resolution: 0.1}, true
}

// Short puts the clips together until Attach or Detach: the meter shows 0 Ω in
// steps of 0.1 Ω.
func (b *Bench) Short() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.shorted = true
}

// ReadMeter is what the meter shows now.
func (b *Bench) ReadMeter() simulate.MeterValue {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch {
	case b.partingDue:
		b.partingDue = false
		return b.parting
	case b.shorted:
		return simulate.MeterValue{Resolution: 0.1}
	}
	return b.Bench.ReadMeter()
}

// WarmProbe lays the probe where it is warmer than the room, by so many kelvin.
func (b *Bench) WarmProbe(kelvin float64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.warmer = kelvin
}

// StuckProbe makes the probe repeat its last reading.
func (b *Bench) StuckProbe(stuck bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.stuckProbe = stuck
}

// ForceProbe makes the probe show a value and stay stuck there until
// StuckProbe(false): a power-on value, a broken wire.
func (b *Bench) ForceProbe(celsius float64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.lastProbe, b.stuckProbe = &celsius, true
}

// ReadProbe is what the probe shows now, in degrees Celsius.
func (b *Bench) ReadProbe() float64 {
	b.mu.Lock()
	defer b.mu.Unlock()
	if !b.stuckProbe || b.lastProbe == nil {
		celsius := b.Bench.ReadProbe() + b.warmer
		b.lastProbe = &celsius
	}
	return *b.lastProbe
}
