package simulate

import (
	"math"
	"slices"
	"time"
)

// circuit is what is between the clips. The zero circuit is open.
type circuit struct {
	// attached says that coil belongs to the clips, since a time.
	attached bool
	coil     Coil
	since    time.Time
	// fingersOhms is in parallel with the coil; 0 when nobody touches the clips.
	fingersOhms float64
	// slipped takes the coil out of the circuit without moving it away.
	slipped bool
}

// ohms is the resistance between the clips at t; +Inf when they are open.
func (c circuit) ohms(r Room, t time.Time) float64 {
	siemens := 0.0
	if c.attached && !c.slipped {
		siemens = 1 / c.coil.OhmsAt(c.coil.After(r, c.since, t).Celsius)
	}
	if c.fingersOhms > 0 {
		siemens += 1 / c.fingersOhms
	}
	if siemens == 0 {
		return math.Inf(1)
	}
	return 1 / siemens
}

// span is a circuit from a time until the next span begins.
type span struct {
	from time.Time
	circuit
}

// timeline is what was, is and is going to be between the clips, in order of
// time. Before its first span the clips are open.
type timeline []span

// at is the circuit at t.
func (l timeline) at(t time.Time) circuit {
	for _, s := range slices.Backward(l) {
		if !s.from.After(t) {
			return s.circuit
		}
	}
	return circuit{}
}

// then drops what was going to be after t and puts c there instead.
func (l timeline) then(t time.Time, c circuit) timeline {
	kept := slices.IndexFunc(l, func(s span) bool { return !s.from.Before(t) })
	if kept < 0 {
		kept = len(l)
	}
	return append(l[:kept:kept], span{from: t, circuit: c})
}

// since forgets what was over before t.
func (l timeline) since(t time.Time) timeline {
	first := 0
	for i, s := range l {
		if !s.from.After(t) {
			first = i
		}
	}
	return l[first:]
}

// mean is the resistance between the clips as an integrating converter sees
// it from one time to another, with an open circuit counted as saturation
// Ohms. A reading that straddles the making or breaking of contact comes out
// somewhere in between: a plausible number that belongs to nothing.
func (l timeline) mean(r Room, from, to time.Time, saturationOhms float64) float64 {
	limited := func(c circuit, t time.Time) float64 { return min(c.ohms(r, t), saturationOhms) }
	if !from.Before(to) {
		return limited(l.at(to), to)
	}
	sum, at := 0.0, from
	for at.Before(to) {
		until := to
		for _, s := range l {
			if s.from.After(at) && s.from.Before(until) {
				until = s.from
				break
			}
		}
		part := until.Sub(at)
		sum += limited(l.at(at), at.Add(part/2)) * part.Seconds()
		at = until
	}
	return sum / to.Sub(from).Seconds()
}
