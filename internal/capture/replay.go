package capture

import "time"

// Rules is the version of the rules by which readings become a measurement. It
// is stored with every measurement, and goes up whenever the same readings would
// give another one: they are replayed only by the rules of the day.
const Rules = 1

// Replay gives readings kept with a result to a fresh capture and returns what
// it records; nil when it records nothing. The same readings give the same
// result as on the day.
func Replay(settings Settings, manner Manner, reason string, heldUntil time.Time, entries []Entry) *Result {
	m := New(settings)
	m.phase, m.lost = phaseOpen, false
	if !heldUntil.IsZero() {
		m.Hold("waiting, as on the day")
	}
	for i, e := range entries {
		if m.hold != "" && e.Time.After(heldUntil) {
			m.Hold("")
		}
		var out Outcome
		if e.FromProbe {
			out = m.Probe(e.Reading)
		} else {
			m.lost = false
			out = m.Meter(e.Reading)
		}
		if out.Result == nil && i == len(entries)-1 && manner == ByForce {
			m.Hold("")
			if forced, err := m.Force(reason); err == nil {
				out = forced
			}
		}
		if out.Result != nil {
			return out.Result
		}
	}
	return nil
}
