package capture

import "time"

// Rules is the version of the rules by which readings become a measurement. It
// is stored with every measurement, and goes up whenever the same readings would
// give another one: they are replayed only by the rules of the day.
//
//	1  the copper's temperature is bounded
//	2  it is estimated; windows are judged when the clips open; a coil that stays on is improved
//	3  the estimate hears a wavering coarse display, and is wider where a slope means many things
const Rules = 3

// Circumstances are what a result depends on besides settings and readings.
type Circumstances struct {
	Manner Manner `json:"manner"`
	// Reason is what the person who forced it said.
	Reason string `json:"reason,omitempty"`
	// HeldUntil is when the last hold was lifted; zero when there was none.
	HeldUntil time.Time `json:"held_until"`
	// AtRemoval and Improves are those of [Result].
	AtRemoval bool `json:"at_removal,omitempty"`
	Improves  bool `json:"improves,omitempty"`
}

// Circumstances returns those of a result, for its replay.
func (r *Result) Circumstances() Circumstances {
	return Circumstances{r.Manner, r.Reason, r.HeldUntil, r.AtRemoval, r.Improves}
}

// Replay gives readings kept with a result to a fresh capture and returns what
// it records; nil when it records nothing. The same readings give the same
// result as on the day.
func Replay(settings Settings, c Circumstances, entries []Entry) *Result {
	m := New(settings)
	m.phase, m.lost = phaseOpen, false
	if !c.HeldUntil.IsZero() {
		m.Hold("waiting, as on the day")
	}
	for _, e := range entries {
		if m.hold != "" && e.Time.After(c.HeldUntil) {
			m.Hold("")
		}
		if out := m.take(e); out.Result != nil && !c.Improves {
			return out.Result
		}
	}
	m.Hold("")
	switch {
	case c.AtRemoval, c.Improves:
		return m.parting()
	case c.Manner == ByForce:
		if forced, err := m.Force(c.Reason); err == nil {
			return forced.Result
		}
	}
	return nil
}
