package capture

import (
	"errors"
	"time"

	"coilkeep/driver"
)

// phase is where a contact is in its life. The State shown to people is finer.
type phase int

const (
	// phaseUnknown: no reading yet, or a coil was on when the meter came back.
	// What is on the clips may have been measured already.
	phaseUnknown phase = iota
	phaseOpen
	phaseContact
	phaseDone
	phaseAsking
)

const (
	// farthestKelvin is how far from the probe a coil may be that is recorded by
	// the rules, and the farthest that a change of its value is laid to its
	// warmth alone.
	farthestKelvin = 30
	// changedRatio is a change of value, without the clips seen open, that
	// means another coil or a hand taken off.
	changedRatio = 0.003
)

// Machine is the capture of one bench. It is not safe for concurrent use.
type Machine struct {
	settings Settings
	phase    phase
	// lost is true while there is no meter.
	lost    bool
	lostWhy string
	// doubt is why the machine asks whether it is the same coil.
	doubt string

	hold      string
	heldUntil time.Time
	unsaved   string

	temps   temperatures
	clips   clips
	contact contact
	// kept is the window that will be judged when the clips open; first is what
	// was recorded of this contact.
	kept  candidate
	first *Result
	// lastMeter is the meter's latest reading, lastIn the latest in the contact range.
	lastMeter, lastIn driver.Reading

	// level follows the value after recording, strays counts readings off it.
	level  float64
	strays int

	now     time.Time
	since   time.Time
	shown   State
	current assessment
	// shortfall is why nothing would come of the contact now.
	shortfall shortfall
	// aheadPercent was worked out at aheadAt; nil when it was not yet.
	aheadPercent *float64
	aheadAt      time.Time
}

// New returns a capture that has not seen its clips open yet: a coil that is
// on them already may have been measured before, so it asks.
func New(s Settings) *Machine {
	if s.Typed { // there is no cable that could be out and no clip to watch
		return &Machine{settings: s, phase: phaseOpen, shown: Open}
	}
	return &Machine{settings: s, phase: phaseUnknown, shown: Offline, lost: true, lostWhy: "waiting for the meter"}
}

// Configure changes the settings. A contact under way settles anew under them.
func (m *Machine) Configure(s Settings) {
	if sameSettings(s, m.settings) {
		return
	}
	m.Forget()
	m.settings = s
	if m.phase == phaseContact {
		m.restart(true)
	}
}

func sameSettings(a, b Settings) bool {
	if (a.Tolerance == nil) != (b.Tolerance == nil) || a.Tolerance != nil && *a.Tolerance != *b.Tolerance {
		return false
	}
	a.Tolerance, b.Tolerance = nil, nil
	return a == b
}

// Hold keeps the capture from recording until a person has said something;
// why is shown to them. An empty why lifts the hold.
func (m *Machine) Hold(why string) {
	if m.hold != "" && why == "" {
		m.heldUntil = m.now
	}
	m.hold = why
	m.refresh()
}

// Unsaved tells that the last result could not be written yet, and why; empty
// when it is. Nothing is captured meanwhile.
func (m *Machine) Unsaved(why string) {
	if m.unsaved != "" && why == "" && m.phase == phaseContact {
		m.restart(true)
	}
	m.unsaved = why
	m.refresh()
}

// Probe takes a temperature.
func (m *Machine) Probe(r driver.Reading) Outcome {
	m.advance(r.Time)
	m.temps.add(r)
	m.contact.feel(r)
	switch m.phase {
	case phaseContact:
		m.contact.trace = append(m.contact.trace, Entry{Reading: r, FromProbe: true})
	case phaseDone:
		m.contact.follow(Entry{Reading: r, FromProbe: true})
	}
	m.temps.forget(m.now.Add(-2*m.settings.MaxAge - m.settings.Window))
	out := m.judgeAgain(r)
	m.refresh()
	return out
}

// judgeAgain records the typed value that waits for a temperature, now that
// there is one: whoever corrects a slip in the temperature need not type the
// resistance again.
func (m *Machine) judgeAgain(temperature driver.Reading) Outcome {
	if !m.waits() || temperature.Status != driver.OK {
		return Outcome{}
	}
	out := m.typed(m.lastMeter)
	out.Ended = nil // that it was refused was told when it was typed
	return out
}

// waits is true while a typed value waits for a temperature.
func (m *Machine) waits() bool {
	return m.settings.Typed && !m.lost && m.phase == phaseOpen && m.current.state == NoTemperature
}

// Forget drops a typed value that waits for a temperature: what comes next is
// another coil.
func (m *Machine) Forget() {
	if m.waits() {
		m.clear()
		m.refresh()
	}
}

// Lost tells that the meter is gone or silent, and why.
func (m *Machine) Lost(at time.Time, why string) Outcome {
	m.advance(at)
	if m.lost {
		m.lostWhy = why
		return Outcome{}
	}
	var out Outcome
	if m.phase == phaseContact {
		out.Ended = m.end(MeterLost)
		m.phase = phaseOpen
	}
	m.lost, m.lostWhy = true, why
	m.refresh()
	return out
}

// Restart measures what is on the clips once more, as a person asked.
func (m *Machine) Restart() error {
	switch {
	case m.lost:
		return errors.New("there is no meter to measure with")
	case m.unsaved != "":
		return errors.New("the last measurement is not saved yet")
	case m.phase == phaseOpen:
		return errors.New("nothing is on the clips")
	}
	m.begin(time.Time{})
	m.refresh()
	return nil
}

// Meter takes a resistance reading. At most one result comes of one contact.
func (m *Machine) Meter(r driver.Reading) Outcome {
	if !r.Time.After(m.lastMeter.Time) {
		return Outcome{} // the same reading twice, or out of order
	}
	m.advance(r.Time)
	gap := !m.lastMeter.Time.IsZero() && r.Time.Sub(m.lastMeter.Time) > m.settings.MaxGap
	m.lastMeter = r
	if m.settings.Typed {
		return m.typed(r)
	}
	if m.lost || gap {
		m.resume()
	}
	kind := m.settings.classify(r)
	m.clips.see(kind, r.Time)
	var out Outcome
	switch kind {
	case readingOpen, readingShort:
		out = m.opening(r, kind)
	case readingIn:
		out = m.touching(r)
	case readingBad:
		if m.phase == phaseContact {
			m.contact.trace = append(m.contact.trace, Entry{Reading: r})
		}
	}
	m.refresh()
	return out
}

// resume picks up after the meter was away: what was being measured starts
// over, and a coil measured before may have been changed meanwhile.
func (m *Machine) resume() {
	m.lost = false
	m.clips.lookAway()
	switch m.phase {
	case phaseDone:
		m.ask("the meter was away: is this still the same coil?")
	case phaseContact:
		m.restart(false)
	}
}

// Tick tells the time when no reading does, so that what is old is not shown
// as live. It never leads to a result.
func (m *Machine) Tick(now time.Time) {
	m.advance(now)
	m.refresh()
}

// ClockSet tells that the times to come do not belong with those so far. A
// coil being measured settles anew.
func (m *Machine) ClockSet() {
	m.now, m.since = time.Time{}, time.Time{}
	m.lastMeter, m.lastIn = driver.Reading{}, driver.Reading{}
	m.temps = temperatures{}
	m.clips.lookAway()
	switch m.phase {
	case phaseContact:
		m.restart(true)
	case phaseDone: // what was recorded stands; readings of two clocks make nothing better
		m.clear()
	}
}

// advance moves the machine's time; it never goes back.
func (m *Machine) advance(t time.Time) {
	if t.After(m.now) {
		m.now = t
	}
}
