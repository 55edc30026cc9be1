package capture

import (
	"cmp"
	"errors"
	"time"

	"coilkeep/internal/r20"
	"coilkeep/internal/uncertainty"
	"coilkeep/internal/warmth"
)

// Reassess judges readings kept with a measurement of older rules by today's, at
// the instant of that measurement: today's rules might have recorded the coil
// earlier, but what is judged is the window that ends with the last reading. A
// measurement somebody forced is judged as [Machine.Force] does. The same
// readings give the same result. The error says in words for people why the
// window gives none today.
func Reassess(settings Settings, c Circumstances, entries []Entry) (*Result, error) {
	m := New(settings)
	m.phase, m.lost = phaseOpen, false
	if !settings.Typed { // a typed value is judged as it comes
		m.Hold("being judged again")
	}
	for _, e := range entries {
		if out := m.take(e); out.Result != nil {
			return out.Result, nil
		}
	}
	forced := c.Manner == ByForce
	if !settings.Typed {
		m.assess(forced)
	}
	a := m.current
	if a.r20 == nil || !a.good && !forced {
		return nil, errors.New(cmp.Or(a.words, "its readings hold no value of the coil"))
	}
	result := m.resultOf(candidate{a, m.lastMeter.Time, len(m.contact.trace)}, c.Manner, c.Reason)
	result.HeldUntil = c.HeldUntil
	return result, nil
}

// take gives one kept reading to the instrument it came from.
func (m *Machine) take(e Entry) Outcome {
	if e.FromProbe {
		return m.Probe(e.Reading)
	}
	m.lost = false
	return m.Meter(e.Reading)
}

// Unwatched fills in what is taken to be known of the copper of a coil that
// nobody watched, read by somebody who waited until the value stood still: how
// coils arrive at the bench, and near the probe for long where nobody said
// otherwise. Only Arrive, TimeConstant and what goes with it are used.
func (s Settings) Unwatched(in r20.Inputs) r20.Inputs {
	s.Typed = true
	e := warmth.Of(warmth.Watched{OhmsPerKelvin: 1}, s.prior(time.Time{}))
	in.CopperExcessKelvin = e.Kelvin
	in.CopperExcessUncertaintyKelvin = e.HalfWidthKelvin / uncertainty.CoverageFactor(0) // see evaluate
	in.CopperExcessOrigin = s.origin(e)
	return in
}
