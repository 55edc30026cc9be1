// Package truthtest simulates a coil on the clips of a bench for the tests of
// package capture: heat flows between wire, bobbin, air, probe and hands are
// integrated step by step, and a meter and a probe with errors of their own
// look at the outcome. What the coil truly is stays known.
//
// It is the outside truth, so it shares neither code nor idea with what it
// tests: it knows nothing of windows, slopes, priors or budgets. Times are
// seconds from the moment the clips close; what happened before is negative.
package truthtest

import (
	"fmt"
	"math"
)

// Room is the course of the temperature of the air around the probe.
type Room struct {
	Celsius float64
	// KelvinPerHour is how fast it drifts, from DriftsFrom on.
	KelvinPerHour, DriftsFrom float64
	// StepKelvin is by how much it jumps at StepAt: a door, a heater.
	StepKelvin, StepAt float64
}

// At is the temperature at an instant, in degrees Celsius.
func (r Room) At(seconds float64) float64 {
	celsius := r.Celsius + r.KelvinPerHour/3600*math.Max(0, seconds-r.DriftsFrom)
	if seconds >= r.StepAt {
		celsius += r.StepKelvin
	}
	return celsius
}

// Body is a coil as heat sees it: two lumps, each of one temperature, and the
// ways between them and to the air. Capacities are in joules per kelvin, ways
// in watts per kelvin.
type Body struct {
	WireCapacity, BobbinCapacity         float64
	WireToBobbin, WireToAir, BobbinToAir float64

	quickSeconds, slowSeconds, exchangePerSecond float64
}

// wireCapacity is that of 5 g of copper at 0.385 J/(g·K) (from memory; any
// value would do, since only ratios matter).
const wireCapacity = 1.9

// OneNode is a coil whose wire and bobbin are always equally warm, and which
// follows the air with one time constant.
func OneNode(seconds float64) Body {
	const whole = 5 * wireCapacity
	return Body{WireCapacity: whole, WireToAir: whole / seconds, BobbinCapacity: 1}
}

// TwoNodes is a coil whose wire gives its heat to the bobbin, and only the
// bobbin to the air. Left alone it relaxes with two time constants, quick and
// slow; ratio is the wire's capacity over the bobbin's. With w and b for the
// excess of wire and bobbin over the air,
//
//	dw/dt = −a·(w − b)    db/dt = ratio·a·(w − b) − k·b
//
// so that −1/quick and −1/slow are the roots of λ² + (a + ratio·a + k)·λ + a·k.
// It returns an error where no two lumps can have these time constants.
func TwoNodes(quickSeconds, slowSeconds, ratio float64) (Body, error) {
	sum := 1/quickSeconds + 1/slowSeconds
	product := 1 / (quickSeconds * slowSeconds)
	root := sum*sum - 4*(1+ratio)*product
	if root < 0 {
		return Body{}, fmt.Errorf("no two nodes of capacities 1:%g relax with %g s and %g s", 1/ratio, quickSeconds, slowSeconds)
	}
	a := (sum + math.Sqrt(root)) / (2 * (1 + ratio))
	bobbin := wireCapacity / ratio
	return Body{
		WireCapacity: wireCapacity, BobbinCapacity: bobbin,
		WireToBobbin: a * wireCapacity, BobbinToAir: product / a * bobbin,
		quickSeconds: quickSeconds, slowSeconds: slowSeconds, exchangePerSecond: a,
	}, nil
}

// bobbinExcess is how warm the bobbin is when the wire is 1 K above the air and
// quickShare of that kelvin will go with the quick time constant: each mode has
// b = w·(1 − 1/(a·its time constant)), from the equations of TwoNodes.
func (b Body) bobbinExcess(quickShare float64) float64 {
	if b.WireToBobbin == 0 {
		return 1
	}
	quick := 1 - 1/(b.exchangePerSecond*b.quickSeconds)
	slow := 1 - 1/(b.exchangePerSecond*b.slowSeconds)
	return quickShare*quick + (1-quickShare)*slow
}

// Temperatures are those of the nodes, in degrees Celsius.
type Temperatures struct {
	Wire, Bobbin, Probe float64
}

func (t Temperatures) plus(seconds float64, rate Temperatures) Temperatures {
	return Temperatures{t.Wire + seconds*rate.Wire, t.Bobbin + seconds*rate.Bobbin, t.Probe + seconds*rate.Probe}
}

// Place is where the heat flows: the coil at the clips, the probe beside it.
type Place struct {
	Room Room
	Body Body
	// LastingKelvin is how much warmer the air at the coil is than at the
	// probe, always: a lamp, a draught, a warm meter below.
	LastingKelvin float64
	// ProbeLagSeconds is the time constant of the probe in the room's air.
	ProbeLagSeconds float64
	// HeatWatts flow into the wire from HeatFrom to HeatTo: fingers, an iron.
	HeatWatts, HeatFrom, HeatTo float64
}

// rate is how fast each node changes: what flows in over what it holds.
func (p *Place) rate(seconds, heatWatts float64, t Temperatures) Temperatures {
	room := p.Room.At(seconds)
	air := room + p.LastingKelvin
	exchange := p.Body.WireToBobbin * (t.Bobbin - t.Wire)
	return Temperatures{
		Wire:   (heatWatts + p.Body.WireToAir*(air-t.Wire) + exchange) / p.Body.WireCapacity,
		Bobbin: (p.Body.BobbinToAir*(air-t.Bobbin) - exchange) / p.Body.BobbinCapacity,
		Probe:  (room - t.Probe) / p.ProbeLagSeconds,
	}
}

// Advance lets time pass in steps of at most stepSeconds, by the classical
// Runge-Kutta method of fourth order (any text on numerical methods). No step
// reaches across an instant at which something begins or ends.
func (p *Place) Advance(t Temperatures, from, to, stepSeconds float64) Temperatures {
	for _, edge := range [...]float64{p.HeatFrom, p.HeatTo, p.Room.StepAt, p.Room.DriftsFrom} {
		if from < edge && edge < to {
			return p.Advance(p.Advance(t, from, edge, stepSeconds), edge, to, stepSeconds)
		}
	}
	watts := 0.0
	if middle := (from + to) / 2; middle >= p.HeatFrom && middle < p.HeatTo {
		watts = p.HeatWatts
	}
	steps := math.Ceil((to - from) / stepSeconds)
	if steps < 1 {
		return t
	}
	h := (to - from) / steps
	for i := range int(steps) {
		at := from + float64(i)*h
		k1 := p.rate(at, watts, t)
		k2 := p.rate(at+h/2, watts, t.plus(h/2, k1))
		k3 := p.rate(at+h/2, watts, t.plus(h/2, k2))
		k4 := p.rate(at+h, watts, t.plus(h, k3))
		t = t.plus(h/6, k1).plus(h/3, k2).plus(h/3, k3).plus(h/6, k4)
	}
	return t
}

// settled is everything at the temperature of its surroundings.
func (p *Place) settled(seconds float64) Temperatures {
	room := p.Room.At(seconds)
	return Temperatures{Wire: room + p.LastingKelvin, Bobbin: room + p.LastingKelvin, Probe: room}
}
