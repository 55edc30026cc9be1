package truthtest

import (
	"math"
	"math/rand/v2"
)

// Meter is an ohmmeter with the errors it has on the day.
type Meter struct {
	ReadingsPerSecond float64
	// JitterSeconds is the standard deviation of the pause between readings. It
	// adds up, as with a computer that asks again when it has its answer.
	JitterSeconds float64
	// ErrorRatio and ErrorOhms are off the same way at every reading.
	ErrorRatio, ErrorOhms float64
	// LeadOhms is what the leads add.
	LeadOhms float64
	// NoiseOhms is the standard deviation of white noise.
	NoiseOhms float64
	// HumRatio is the amplitude of the mains' hum over the resistance; HumHertz
	// and HumRadians are its frequency and phase.
	HumRatio, HumHertz, HumRadians float64
	// StepOhms is one step of the display.
	StepOhms float64
}

// Show is what the display says of a resistance, in ohms.
func (m *Meter) Show(rng *rand.Rand, seconds, ohms float64) float64 {
	shown := (ohms+m.LeadOhms)*(1+m.ErrorRatio) + m.ErrorOhms
	shown += m.HumRatio * ohms * math.Sin(2*math.Pi*m.HumHertz*seconds+m.HumRadians)
	shown += m.NoiseOhms * rng.NormFloat64()
	return round(shown, m.StepOhms)
}

// next is when the reading after the one at an instant comes.
func (m *Meter) next(rng *rand.Rand, seconds float64) float64 {
	pause := 1 / m.ReadingsPerSecond
	return seconds + math.Max(pause/2, pause+m.JitterSeconds*rng.NormFloat64())
}

// Probe is a thermometer with the error it has on the day.
type Probe struct {
	PauseSeconds float64
	ErrorKelvin  float64
	NoiseKelvin  float64
	StepKelvin   float64
}

// Show is what the display says, in degrees Celsius.
func (p *Probe) Show(rng *rand.Rand, celsius float64) float64 {
	return round(celsius+p.ErrorKelvin+p.NoiseKelvin*rng.NormFloat64(), p.StepKelvin)
}

func round(value, step float64) float64 { return math.Round(value/step) * step }

// Contact is how the clips hold the coil, from second 0 on.
type Contact struct {
	// LowRatio is how far below the truth a reading is while fingers lie across
	// the clips, in parallel to the coil, until FingersSeconds.
	LowRatio, FingersSeconds float64
	// OffSeconds is when the coil is taken off; 0 leaves it on.
	OffSeconds float64
	// OnSpoiledRatio and OffSpoiledRatio are what the reading that was under way
	// when the clips closed and opened is off by; without one to spoil the
	// opening (0) it is an open one.
	OnSpoiledRatio, OffSpoiledRatio float64
}
