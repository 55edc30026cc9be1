package capture

import (
	"fmt"

	"coilkeep/driver"
	"coilkeep/internal/words"
)

// View returns how the capture stands.
func (m *Machine) View() View {
	v := View{Since: m.since, Have: m.current.have, Want: m.settings.Readings}
	v.State, v.Words = m.describe()
	if !m.lost && m.lastMeter.Status == driver.OK && m.settings.classify(m.lastMeter) == readingIn {
		v.ResistanceOhms = &m.lastMeter.Value
	}
	if celsius, _, err := m.temps.at(m.now, m.now, m.settings.MaxAge); err == nil {
		v.TemperatureCelsius = &celsius
	}
	if v.ResistanceOhms != nil {
		v.R20, v.Judgement = m.current.r20, m.current.judgement
		if m.current.copper.Readings > 0 {
			e := m.settings.fromProbe(m.current.copper)
			v.Copper = &e
		}
		v.AheadPercent = m.ahead()
	}
	return v
}

// refresh notes when the state shown last changed.
func (m *Machine) refresh() {
	if state, _ := m.describe(); state != m.shown || m.since.IsZero() {
		m.shown, m.since = state, m.now
	}
}

// describe says the state in a word and in words.
func (m *Machine) describe() (State, string) {
	switch {
	case m.unsaved != "":
		return Unsaved, "measured, but not saved yet: " + m.unsaved
	case m.lost:
		return Offline, "no meter: " + m.lostWhy
	}
	switch m.phase {
	case phaseUnknown:
		if m.lastMeter.Status == driver.Impossible {
			return Refused, "the meter's answer cannot be true: " + m.lastMeter.Reason
		}
		return Open, "looking at the clips"
	case phaseAsking:
		return Asking, m.doubt + " If it is not recorded yet, take it off and clip it on again"
	case phaseDone:
		if m.lastMeter.Status == driver.Impossible {
			return Recorded, "recorded; the clips cannot be seen, for the meter's answer cannot be true: " + m.lastMeter.Reason
		}
		return Recorded, "recorded, take it off"
	case phaseContact:
		return m.describeContact()
	}
	switch {
	case m.clips.short:
		return Refused, fmt.Sprintf("%s is below the contact range: clips touching, or the meter is set to something else",
			words.OhmsInPassing(m.lastMeter.Value))
	case m.settings.Typed && m.current.state == NoTemperature:
		return NoTemperature, m.current.words
	case m.hold != "":
		return Waiting, m.hold
	case m.settings.Typed:
		return Open, "type the reading"
	case m.lastMeter.Status == driver.Impossible:
		return Refused, "the meter's answer cannot be true: " + m.lastMeter.Reason
	}
	return Open, m.clips.describeOpen(m.lastMeter, m.now)
}

func (m *Machine) describeContact() (State, string) {
	switch {
	case !m.clips.openSince.IsZero():
		return Contact, "the clips slipped"
	case m.lastMeter.Status == driver.Impossible:
		return Refused, "the meter's answer cannot be true: " + m.lastMeter.Reason
	case len(m.contact.usable) == 0:
		return Contact, "coil on, hands off"
	case m.hold != "" && m.current.good:
		return Waiting, m.hold
	}
	return m.current.state, m.current.words
}
