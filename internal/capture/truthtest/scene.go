package truthtest

import (
	"math/rand/v2"
	"time"

	"coilkeep/driver"
)

// Scene is one coil that comes to the clips at second 0.
type Scene struct {
	// R20Ohms is what is to be found out; AlphaPerKelvin is the coefficient the
	// wire really has.
	R20Ohms, AlphaPerKelvin float64
	Place                   Place
	// ExcessKelvin is how far above the air around it the wire is when the
	// clips close, beyond what the room's own past explains. QuickShare of it
	// goes with the quick time constant of a body of two nodes.
	ExcessKelvin, QuickShare float64
	Meter                    Meter
	Probe                    Probe
	Contact                  Contact
}

// Event is one reading of the meter or, with FromProbe, of the probe.
type Event struct {
	driver.Reading
	FromProbe bool
	// Seconds is its time in the scene, Wire the copper's true temperature.
	Seconds     float64
	WireCelsius float64
}

// Epoch is second 0 of every scene; any instant would do.
var Epoch = time.Date(2033, 5, 6, 7, 0, 0, 0, time.UTC)

const (
	// openSeconds is how long the clips are seen open first: some readings of
	// the slowest meter.
	openSeconds = 5.0
	// pastSeconds is how long the coil has been in the room; nothing moved
	// earlier (see Regime.room).
	pastSeconds = 3600.0
	pastStep    = 2.0
	fineStep    = 0.1
)

// Run returns what the instruments say until an instant, in order.
func (s *Scene) Run(rng *rand.Rand, untilSeconds float64) []Event {
	now := -openSeconds
	temperatures := s.past(now)
	lastMeterAt, meterAt := now, now+rng.Float64()/s.Meter.ReadingsPerSecond
	probeAt := now + rng.Float64()*s.Probe.PauseSeconds
	var events []Event
	for {
		at := min(meterAt, probeAt)
		if at > untilSeconds {
			return events
		}
		if now < 0 && at >= 0 {
			temperatures = s.clipOn(s.Place.Advance(temperatures, now, 0, fineStep))
			now = 0
		}
		temperatures = s.Place.Advance(temperatures, now, at, fineStep)
		now = at
		e := Event{Seconds: at, WireCelsius: temperatures.Wire}
		if probeAt <= meterAt {
			e.FromProbe = true
			e.Reading = reading(at, s.Probe.Show(rng, temperatures.Probe), s.Probe.StepKelvin)
			probeAt += s.Probe.PauseSeconds * (0.98 + 0.04*rng.Float64())
		} else {
			e.Reading = s.meterReading(rng, lastMeterAt, at, temperatures.Wire)
			lastMeterAt, meterAt = meterAt, s.Meter.next(rng, meterAt)
		}
		events = append(events, e)
	}
}

// past is how wire, bobbin and probe are when the scene begins: an hour in
// this room with its drifts and steps, and whatever heated them.
func (s *Scene) past(until float64) Temperatures {
	p := s.Place
	if p.HeatFrom >= until {
		return p.Advance(p.settled(-pastSeconds), -pastSeconds, until, pastStep)
	}
	t := p.Advance(p.settled(-pastSeconds), -pastSeconds, p.HeatFrom, pastStep)
	return p.Advance(t, p.HeatFrom, until, fineStep)
}

// clipOn adds the excess the coil brought along.
func (s *Scene) clipOn(t Temperatures) Temperatures {
	t.Wire += s.ExcessKelvin
	t.Bobbin += s.ExcessKelvin * s.Place.Body.bobbinExcess(s.QuickShare)
	return t
}

// heatFor sets the heat that flows from one instant to another so that the wire
// is kelvin warmer for it when the clips close. Flows of heat are linear: twice
// the watts are twice the kelvins.
func (p *Place) heatFor(kelvin, from, to float64) {
	alone := Place{Body: p.Body, ProbeLagSeconds: 1, HeatWatts: 1, HeatFrom: from, HeatTo: to}
	perWatt := alone.Advance(Temperatures{}, from, 0, fineStep).Wire
	p.HeatWatts, p.HeatFrom, p.HeatTo = kelvin/perWatt, from, to
}

// meterReading is the reading at an instant, under way since the one before.
func (s *Scene) meterReading(rng *rand.Rand, since, seconds, wireCelsius float64) driver.Reading {
	c := s.Contact
	ohms := s.R20Ohms * (1 + s.AlphaPerKelvin*(wireCelsius-20)) // IEC 60028
	if seconds < c.FingersSeconds {
		ohms *= 1 - c.LowRatio
	}
	if since < 0 {
		ohms *= 1 + c.OnSpoiledRatio
	}
	if c.OffSeconds > 0 && seconds >= c.OffSeconds {
		if since < c.OffSeconds {
			ohms *= 1 + c.OffSpoiledRatio
		}
		if since >= c.OffSeconds || c.OffSpoiledRatio == 0 {
			return open(seconds, s.Meter.StepOhms)
		}
	}
	if seconds < 0 {
		return open(seconds, s.Meter.StepOhms)
	}
	return reading(seconds, s.Meter.Show(rng, seconds, ohms), s.Meter.StepOhms)
}

// open is the reading of open clips.
func open(seconds, step float64) driver.Reading {
	r := reading(seconds, 0, step)
	r.Status = driver.Overload
	return r
}

// reading carries a time in whole microseconds, as those of a bench do.
func reading(seconds, value, step float64) driver.Reading {
	return driver.Reading{Time: Epoch.Add(time.Duration(seconds*1e6) * time.Microsecond),
		Value: value, Resolution: step, Status: driver.OK}
}
