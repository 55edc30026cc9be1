package truthtest

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Spread says where a quantity lies: evenly between Low and High, or normally
// about their middle when StandardDeviation is not 0.
type Spread struct {
	Low, High, StandardDeviation float64
}

// Draw takes one value.
func (s Spread) Draw(rng *rand.Rand) float64 {
	if s.StandardDeviation != 0 {
		return (s.Low+s.High)/2 + s.StandardDeviation*rng.NormFloat64()
	}
	return s.Low + (s.High-s.Low)*rng.Float64()
}

// Told is what the bench has been told of its instruments and coils. The
// regimes stay within it except where they say otherwise.
type Told struct {
	TimeConstantSeconds            float64
	MeterPercent, MeterOhms        float64
	LeadOhms, LeadHalfWidthOhms    float64
	ProbeHalfWidthKelvin           float64
	CoilDifferenceKelvin           float64
	AlphaPerKelvin, AlphaDeviation float64
}

// Regime is one kind of coils, room and instruments.
type Regime struct {
	// ExcessKelvin is how far above the air the coils come to the clips.
	ExcessKelvin Spread
	// Heated is true when that excess flows into the wire shortly before the
	// clips close, from fingers that also close the clips or, above HandKelvin,
	// from an iron; false when the coils were warm for long.
	Heated bool
	// TimeConstantRatio is the true (slow) time constant over the told one.
	TimeConstantRatio Spread
	// TwoNodes is true for coils with a wire of its own temperature, and
	// QuickShare how much of the excess goes with its time constant; a Heated
	// coil's share follows from its heating instead.
	TwoNodes   bool
	QuickShare Spread

	// OffSeconds is when the coils are taken off; the zero value leaves them on.
	OffSeconds Spread

	// RoomKelvinPerHour and RoomStepKelvin move the room, either way.
	RoomKelvinPerHour, RoomStepKelvin float64
	ProbeLagSeconds, ProbeStepKelvin  float64

	ReadingsPerSecond, StepOhms, HumPercent float64
	// NoiseOhms is the standard deviation of the readings; zero for that of an
	// ordinary meter.
	NoiseOhms Spread
}

// HandKelvin is the most that fingers warm a coil.
const HandKelvin = 3

// Quiet is a regime with nothing special: coils that lie at the bench, one
// node, a room that stands still, a display of 0.1 Ω five times a second.
func Quiet() Regime {
	return Regime{ExcessKelvin: Spread{StandardDeviation: 0.3}, TimeConstantRatio: Spread{Low: 1, High: 1},
		ProbeLagSeconds: 20, ProbeStepKelvin: 0.01, ReadingsPerSecond: 5, StepOhms: 0.1}
}

// Draw takes one coil of the regime to the clips.
func (r Regime) Draw(rng *rand.Rand, told Told) (Scene, error) {
	s := Scene{
		R20Ohms:        3000 * math.Exp(rng.Float64()*math.Log(4)), // 3 to 12 kΩ
		AlphaPerKelvin: told.AlphaPerKelvin + told.AlphaDeviation*rng.NormFloat64(),
		ExcessKelvin:   r.ExcessKelvin.Draw(rng), QuickShare: r.QuickShare.Draw(rng),
		Meter: r.meter(rng, told),
		Probe: Probe{PauseSeconds: 1, ErrorKelvin: told.ProbeHalfWidthKelvin * either(rng),
			NoiseKelvin: 0.005, StepKelvin: r.ProbeStepKelvin},
	}
	s.Place = Place{Room: r.room(rng), ProbeLagSeconds: r.ProbeLagSeconds,
		LastingKelvin: told.CoilDifferenceKelvin * either(rng)}
	s.Contact = r.contact(rng)
	slow := told.TimeConstantSeconds * r.TimeConstantRatio.Draw(rng)
	s.Place.Body = OneNode(slow)
	if r.TwoNodes {
		quick, ratio := Spread{Low: 30, High: 120}.Draw(rng), Spread{Low: 0.05, High: 0.2}.Draw(rng)
		body, err := TwoNodes(quick, slow, ratio)
		if err != nil {
			return Scene{}, fmt.Errorf("regime %+v: %w", r, err)
		}
		s.Place.Body = body
	}
	if r.Heated {
		s.heat(rng)
	}
	return s, nil
}

// heat turns the excess into a flow of heat: of fingers for some seconds until
// they let go, or of an iron that is put aside before.
func (s *Scene) heat(rng *rand.Rand) {
	kelvin := s.ExcessKelvin
	s.ExcessKelvin = 0
	if math.Abs(kelvin) < HandKelvin {
		s.Place.heatFor(kelvin, -Spread{Low: 5, High: 40}.Draw(rng), s.Contact.FingersSeconds)
		return
	}
	end := -Spread{Low: 5, High: 60}.Draw(rng)
	s.Place.heatFor(kelvin, end-Spread{Low: 3, High: 15}.Draw(rng), end)
}

// contact has fingers across the clips in two coils of five, and spoils the
// reading under way when the clips close in three of ten and when they open in
// nine of ten.
func (r Regime) contact(rng *rand.Rand) Contact {
	c := Contact{OffSeconds: r.OffSeconds.Draw(rng)}
	if rng.Float64() < 0.4 {
		c.LowRatio = Spread{Low: 0.01, High: 0.05}.Draw(rng)
		c.FingersSeconds = Spread{Low: 0.3, High: 2.5}.Draw(rng)
	}
	spoiled := Spread{Low: -0.5, High: 1}
	if rng.Float64() < 0.3 {
		c.OnSpoiledRatio = spoiled.Draw(rng)
	}
	if rng.Float64() < 0.9 {
		c.OffSpoiledRatio = spoiled.Draw(rng)
	}
	return c
}

func (r Regime) room(rng *rand.Rand) Room {
	room := Room{Celsius: Spread{Low: 18, High: 26}.Draw(rng)}
	sign := math.Copysign(1, either(rng))
	room.KelvinPerHour = sign * r.RoomKelvinPerHour
	room.DriftsFrom = -Spread{Low: 300, High: 3600}.Draw(rng)
	room.StepKelvin = sign * r.RoomStepKelvin
	room.StepAt = Spread{Low: -600, High: 20}.Draw(rng)
	return room
}

func (r Regime) meter(rng *rand.Rand, told Told) Meter {
	share := either(rng)
	return Meter{
		ReadingsPerSecond: r.ReadingsPerSecond, JitterSeconds: Spread{Low: 0.004, High: 0.01}.Draw(rng),
		ErrorRatio: share * told.MeterPercent / 100, ErrorOhms: share * told.MeterOhms,
		LeadOhms:  told.LeadOhms + told.LeadHalfWidthOhms*either(rng),
		NoiseOhms: r.noise().Draw(rng),
		HumRatio:  r.HumPercent / 100, HumHertz: Spread{Low: 49.9, High: 50.1}.Draw(rng),
		HumRadians: 2 * math.Pi * rng.Float64(), StepOhms: r.StepOhms,
	}
}

// noise is a part of the display's step to the whole of it, as of a meter
// whose last digit is worth showing (common practice, no source), unless the
// regime has its own; a coarse display hides that of a fine one.
func (r Regime) noise() Spread {
	if r.NoiseOhms != (Spread{}) {
		return r.NoiseOhms
	}
	return Spread{Low: 0.03, High: 0.1}
}

// either is evenly between −1 and 1.
func either(rng *rand.Rand) float64 { return 2*rng.Float64() - 1 }
