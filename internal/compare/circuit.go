package compare

import "math"

// circuit is what lies between a coil and the probes of a meter, from the coil
// outward. A resistance of 0 in parallel stands for nothing there.
type circuit struct {
	// scale is the resistance of the winding over what we recorded, 1 for a
	// sound coil; jointOhms is in series with it, inside the coil.
	scale     float64
	jointOhms float64
	wiring    Wiring // Single, Series or Parallel
	mateAlone bool   // the other coil of the assembly is on the clips instead
	// controlOhms is a volume control across the coil, with its wiper, which is
	// what the meter sees, at position, 1 for fully up.
	controlOhms float64
	position    float64
	secondOhms  float64 // a second control in parallel
	seriesOhms  float64 // leads, cable, contacts
	handsOhms   float64 // across the probes
}

// across returns the resistance between the probes for a coil and its mate, in
// ohms: series adds resistances, parallel adds conductances (Kirchhoff), and
// the part of a control above the wiper is in series with the coil, the part
// below it across both.
func (c circuit) across(coilOhms, mateOhms float64) float64 {
	r := coilOhms*c.scale + c.jointOhms
	switch {
	case c.mateAlone:
		r = mateOhms
	case c.wiring == Series:
		r += mateOhms
	case c.wiring == Parallel:
		r = shunted(r, mateOhms)
	}
	if c.controlOhms > 0 {
		r = shunted(r+c.controlOhms*(1-c.position), c.controlOhms*c.position)
	}
	r = shunted(r, c.secondOhms) + c.seriesOhms
	return shunted(r, c.handsOhms)
}

// shunted returns r with a shunt across it; a shunt of 0 is none.
func shunted(r, shunt float64) float64 {
	if shunt == 0 {
		return r
	}
	return r * shunt / (r + shunt)
}

// load is a resistance across something that is known only to lie in a range:
// uniform between the limits, or uniform in its logarithm. The zero load is
// none.
type load struct {
	lowOhms, highOhms float64
	logarithmic       bool
	// whole is the range, parts the same divided into parts that carry equal
	// probability.
	whole, parts []step
}

// step is a part of a load's range, in ohms.
type step struct{ low, middle, high float64 }

// So many parts of a load's range are enough because what varies within a part
// is carried as a width of its own; logarithmic ranges are wide.
const (
	loadParts    = 3
	loadPartsLog = 4
)

func newLoad(lowOhms, highOhms float64, logarithmic bool) load {
	l := load{lowOhms: lowOhms, highOhms: highOhms, logarithmic: logarithmic}
	l.whole = l.divided(1)
	switch {
	case lowOhms == highOhms:
		l.parts = l.whole
	case logarithmic:
		l.parts = l.divided(loadPartsLog)
	default:
		l.parts = l.divided(loadParts)
	}
	return l
}

func (l load) none() bool { return l.highOhms == 0 }

// middle is the resistance in the middle of the range, 0 for no load.
func (l load) middle() float64 {
	if l.none() {
		return 0
	}
	return l.whole[0].middle
}

// at returns the resistance at a fraction of the range, 0 to 1.
func (l load) at(fraction float64) float64 {
	if l.logarithmic {
		return l.lowOhms * math.Pow(l.highOhms/l.lowOhms, fraction)
	}
	return l.lowOhms + fraction*(l.highOhms-l.lowOhms)
}

func (l load) divided(n int) []step {
	steps := make([]step, n)
	for i := range steps {
		at := func(part float64) float64 { return l.at((float64(i) + part) / float64(n)) }
		steps[i] = step{at(0), at(0.5), at(1)}
	}
	return steps
}
