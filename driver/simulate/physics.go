package simulate

import (
	"math"
	"time"
)

// CopperAlphaPerKelvin is the temperature coefficient of resistance of
// annealed copper of 100 % conductivity, referred to 20 °C (IEC 60028:1925).
const CopperAlphaPerKelvin = 0.00393

// referenceCelsius is the temperature R20 and alpha belong to.
const referenceCelsius = 20

// Room is the air of the workshop: a base temperature with a slow, regular
// swing around it, as from heating that cycles.
type Room struct {
	BaseCelsius float64
	// SwingKelvin is the amplitude of the swing, half of peak to peak.
	SwingKelvin float64
	// Period is one whole swing; without one the room does not swing.
	Period time.Duration
	// Phase shifts the swing, in radians at the Unix epoch.
	Phase float64
}

// CelsiusAt is the temperature of the air at t:
// BaseCelsius + SwingKelvin·sin(ωt + Phase), with ω = 2π/Period.
func (r Room) CelsiusAt(t time.Time) float64 {
	if r.Period <= 0 {
		return r.BaseCelsius
	}
	return r.BaseCelsius + r.SwingKelvin*math.Sin(r.angle(t))
}

// angle is ωt + Phase. Whole periods are taken off in integers first, since
// nanoseconds since 1970 do not fit the digits of a float64.
func (r Room) angle(t time.Time) float64 {
	within := t.UnixNano() % int64(r.Period)
	return 2*math.Pi*float64(within)/float64(r.Period) + r.Phase
}

// Body is something that follows the temperature of the room with one time
// constant: a coil, or the tip of a probe.
type Body struct {
	// Celsius is its temperature at the time At.
	Celsius float64
	At      time.Time
	// TimeConstant is how long a difference from the room takes to fall to 1/e.
	// A body without one is always as warm as the room.
	TimeConstant time.Duration
}

// CelsiusIn is the temperature of the body at t, in a room that has been as it
// is now since b.At; t must not lie before b.At.
//
// It is the exact solution of Newton's law of cooling, dT/dt = (room − T)/τ,
// for a room that swings as a sine: the body swings with it, smaller by
// 1/√(1 + (ωτ)²) and later by atan(ωτ), and what it was off at the beginning
// dies away as e^(−Δt/τ). (The response of a first-order lag, as in any text
// on linear systems.)
func (b Body) CelsiusIn(r Room, t time.Time) float64 {
	if b.TimeConstant <= 0 {
		return r.CelsiusAt(t)
	}
	elapsed := t.Sub(b.At).Seconds() / b.TimeConstant.Seconds()
	return b.following(r, t) + (b.Celsius-b.following(r, b.At))*math.Exp(-elapsed)
}

// following is the temperature of a body that has been in the room for ever.
func (b Body) following(r Room, t time.Time) float64 {
	if r.Period <= 0 {
		return r.BaseCelsius
	}
	wt := 2 * math.Pi * b.TimeConstant.Seconds() / r.Period.Seconds()
	return r.BaseCelsius + r.SwingKelvin/math.Sqrt(1+wt*wt)*math.Sin(r.angle(t)-math.Atan(wt))
}

// Coil is what goes on the clips.
type Coil struct {
	// R20Ohms is its true resistance at 20 °C.
	R20Ohms float64
	// AlphaPerKelvin belongs to 20 °C; 0 makes a resistor that does not care
	// about temperature, such as a check standard.
	AlphaPerKelvin float64
	// Celsius is how warm it is when it is put on the clips.
	Celsius float64
	// TimeConstant is how slowly it takes on the temperature of the room;
	// 0 makes it always as warm as the room.
	TimeConstant time.Duration
}

// CopperCoil is a finished coil of annealed copper with a thermal time
// constant of ten minutes, at celsius now.
func CopperCoil(r20Ohms, celsius float64) Coil {
	return Coil{R20Ohms: r20Ohms, AlphaPerKelvin: CopperAlphaPerKelvin, Celsius: celsius, TimeConstant: 10 * time.Minute}
}

// OhmsAt is the resistance of the coil at a temperature:
// R20·[1 + α20·(t − 20 °C)] (IEC 60028:1925).
func (c Coil) OhmsAt(celsius float64) float64 {
	return c.R20Ohms * (1 + c.AlphaPerKelvin*(celsius-referenceCelsius))
}

// After is the same coil when it has lain in the room from one time to
// another.
func (c Coil) After(r Room, from, to time.Time) Coil {
	c.Celsius = Body{Celsius: c.Celsius, At: from, TimeConstant: c.TimeConstant}.CelsiusIn(r, to)
	return c
}
