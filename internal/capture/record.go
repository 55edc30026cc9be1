package capture

import (
	"fmt"
	"math"
	"slices"
	"time"

	"coilkeep/driver"
)

// Force records the present window although the rules would wait, because a
// person insists and says why. It needs a full window and a temperature.
func (m *Machine) Force(reason string) (Outcome, error) {
	switch {
	case m.unsaved != "":
		return Outcome{}, fmt.Errorf("the last measurement is not saved yet")
	case m.lost:
		return Outcome{}, fmt.Errorf("there is no meter to measure with")
	case m.lastMeter.Status == driver.Overload:
		return Outcome{}, fmt.Errorf("the meter shows overload: the clips are open, or its fixed range is too small for this coil")
	case m.phase == phaseDone:
		return Outcome{}, fmt.Errorf("this coil is recorded already; ask to measure it again instead")
	case m.phase != phaseContact:
		return Outcome{}, fmt.Errorf("no coil is being measured")
	case m.hold != "":
		return Outcome{}, fmt.Errorf("%s", m.hold)
	}
	a := m.contact.assess(m.settings, &m.temps, m.lastMeter.Time, true)
	switch {
	case a.state == NoTemperature:
		return Outcome{}, fmt.Errorf("cannot refer it to 20 °C: %s", a.words)
	case a.have < a.want:
		return Outcome{}, fmt.Errorf("too few readings yet: %d of %d", a.have, a.want)
	case a.r20 == nil:
		return Outcome{}, fmt.Errorf("%s", a.words)
	}
	m.current = a
	out := m.record(ByForce, reason)
	m.refresh()
	return out, nil
}

// assess judges the readings at hand; see [contact.assess].
func (m *Machine) assess(forced bool) {
	m.current = m.contact.assess(m.settings, &m.temps, m.lastMeter.Time, forced)
}

// ripe is true when the present window is to be recorded.
func (m *Machine) ripe() bool {
	a := m.current
	if !a.good || !a.timeHasCome(m.settings, m.contact.patienceOver(m.settings, m.lastMeter.Time)) {
		return false
	}
	if m.unsaved != "" || m.hold != "" {
		m.shortfall = shortfall{OnHold, OnHold.words()}
		return false
	}
	return true
}

// timeHasCome is true when waiting longer is not worth it. A steady window is
// recorded as soon as its verdict is decided, and with the verdict it has when
// patience is over. While the coil still warms or cools, waiting makes U a good
// deal smaller, so that its window is recorded before patience is over only when
// U is small as well, and after it only when the verdict is decided.
func (a assessment) timeHasCome(s Settings, patienceOver bool) bool {
	switch {
	case patienceOver:
		return a.steady() || a.certain()
	case a.steady():
		return a.decided(s)
	}
	return a.certain() && a.wellKnown(s)
}

// record makes the present window the result of this contact.
func (m *Machine) record(manner Manner, reason string) Outcome {
	result := m.resultOf(candidate{m.current, m.lastMeter.Time, len(m.contact.trace)}, manner, reason)
	m.phase = phaseDone
	m.level = m.current.window.meanOhms
	m.shortfall = shortfall{}
	m.kept = candidate{}
	m.first = result
	return Outcome{Result: result}
}

// candidate is a window that may become a result later.
type candidate struct {
	assessment
	at time.Time
	// traced is how many entries of the trace led to it.
	traced int
}

// resultOf is what a window gives, with the evidence for it.
func (m *Machine) resultOf(c candidate, manner Manner, reason string) *Result {
	return &Result{
		Time: c.at, Contact: m.contact.began,
		Inputs: c.inputs, R20: *c.r20, Judgement: c.judgement,
		Manner: manner, Reason: reason, Copper: c.copper,
		Outliers: len(c.window.readings) - c.window.kept, HeldUntil: m.heldUntil,
		Settings: m.settings, Readings: evidence(m.contact.trace[:c.traced], c.window),
	}
}

// evidence is a copy of the trace with the window marked in it.
func evidence(trace []Entry, w window) []Entry {
	entries := slices.Clone(trace)
	next := len(w.readings) - 1
	for i := len(entries) - 1; i >= 0 && next >= 0; i-- {
		if e := &entries[i]; !e.FromProbe && e.Time.Equal(w.readings[next].Time) {
			e.InWindow, e.Outlier = true, w.outlier[next]
			next--
		}
	}
	return entries
}

// remember keeps the present window, if it is good, for when the clips open: the
// last reading before that is nearly always spoiled. It is the latest and not the
// one with the smallest U: that is small, too, when noise makes a warm coil look
// like one at rest.
func (m *Machine) remember() {
	if m.current.good {
		m.kept = candidate{m.current, m.lastMeter.Time, len(m.contact.trace)}
	}
}

// parting judges what a coil leaves behind when the clips open: the last good
// window of one that was not recorded, when its verdict is decided, or a better
// one of a coil that was. It returns nil when there is none.
func (m *Machine) parting() *Result {
	if m.kept.r20 == nil || m.hold != "" || m.unsaved != "" {
		return nil
	}
	switch m.phase {
	case phaseContact:
		if !m.kept.certain() {
			return nil
		}
		result := m.resultOf(m.kept, ByRule, "")
		result.AtRemoval = true
		return result
	case phaseDone:
		if !m.improves() {
			return nil
		}
		result := m.resultOf(m.kept, ByRule, "")
		result.Improves = true
		return result
	}
	return nil
}

// muchBetter is the part of its U that a later window of the same coil must stay
// below to be worth a second record.
const muchBetter = 0.75

// improves is true when the last good window since the record is worth a record
// of its own: U is a good deal smaller, the verdict is another and certain, or the
// first value lies outside of what is known by now.
func (m *Machine) improves() bool {
	if m.first == nil || m.first.Manner != ByRule { // what a person insisted on stands
		return false
	}
	if !sameSettings(m.first.Settings, m.settings) {
		return false
	}
	another := m.first.Judgement != nil && m.kept.judgement != nil &&
		m.kept.judgement.Verdict != m.first.Judgement.Verdict && m.kept.certain()
	off := math.Abs(m.kept.r20.R20Ohms - m.first.R20.R20Ohms)
	return another || off > m.first.R20.ExpandedUncertaintyOhms ||
		m.kept.r20.ExpandedUncertaintyOhms <= muchBetter*m.first.R20.ExpandedUncertaintyOhms
}

// typed takes a value a person read off a meter and typed in. There is no
// window to judge: the person has waited until it stood still.
func (m *Machine) typed(r driver.Reading) Outcome {
	m.lost = false
	m.clear()
	m.phase = phaseOpen
	defer m.refresh()
	if m.settings.classify(r) != readingIn || m.hold != "" || m.unsaved != "" {
		return Outcome{}
	}
	m.begin(r.Time)
	m.contact.trace = append(m.contact.trace, Entry{Reading: r})
	a := assessment{state: Steady, window: window{
		readings: []driver.Reading{r}, outlier: []bool{false}, kept: 1,
		meanOhms: r.Value, resolutionOhms: r.Resolution,
	}}
	celsius, step, err := m.temps.during(a.window.readings, m.settings.MaxAge)
	if err == nil {
		a.copper = m.contact.copper(m.settings, a.window, celsius, r.Time)
		err = a.evaluate(m.settings, celsius, step, m.contact.probeMoved(m.settings), false)
	}
	if err != nil {
		m.current = a.withoutResult(err)
		m.phase = phaseOpen
		return Outcome{Ended: &Ended{Refusal: Temperature, Words: err.Error()}}
	}
	a.good = true
	m.current = a
	return m.record(ByTyping, "")
}
