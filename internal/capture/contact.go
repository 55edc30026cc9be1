package capture

import (
	"fmt"
	"math"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/warmth"
)

// opening takes a reading that says the clips hold no coil.
func (m *Machine) opening(r driver.Reading, kind readingKind) Outcome {
	m.short = kind == readingShort
	if m.phase == phaseOpen {
		return Outcome{}
	}
	if m.phase == phaseContact {
		m.trace = append(m.trace, Entry{Reading: r})
		m.usable, m.course = m.usable[:0], m.course[:0]
		m.current = assessment{}
	}
	if m.openAt.IsZero() {
		m.openAt = r.Time
	}
	if r.Time.Sub(m.openAt) < m.settings.Bounce {
		return Outcome{}
	}
	result := m.parting()
	ended := m.end(m.refusal)
	switch {
	case result != nil:
		ended = &Ended{Measured: true, TimeConstant: ended.TimeConstant}
	case kind == readingShort && m.phase == phaseContact && ended != nil:
		ended.Refusal, ended.Words = BelowRange, BelowRange.words()
	}
	m.phase = phaseOpen
	m.openAt = time.Time{}
	return Outcome{Result: result, Ended: ended}
}

// end closes the present contact and says what came of it.
func (m *Machine) end(why Refusal) *Ended {
	defer m.clear()
	switch m.phase {
	case phaseDone:
		return &Ended{Measured: true, TimeConstant: m.learn()}
	case phaseAsking:
		return &Ended{Refusal: SameCoilDoubt, Words: SameCoilDoubt.words()}
	case phaseContact:
		if len(m.usable) == 0 && why == "" && m.lastIn.Time.Sub(m.contactAt) < m.settings.HandsOff {
			return nil // a brief touch
		}
		if why == "" {
			why = TooShort
		}
		return &Ended{Refusal: why, Words: m.whyNot(why), TimeConstant: m.learn()}
	}
	return nil
}

// whyNot says in a sentence why nothing was recorded.
func (m *Machine) whyNot(why Refusal) string {
	if why == m.refusal && m.refusalWords != "" {
		return m.refusalWords
	}
	return why.words()
}

// words says a refusal where nothing more is known.
func (r Refusal) words() string {
	switch r {
	case TooShort:
		return "it came off before the readings were steady"
	case Undecided:
		return "it came off before the verdict was certain"
	case Unsteady:
		return "the readings were not steady"
	case Drifting:
		return "it was still warming or cooling"
	case Temperature:
		return "there was no temperature"
	case BelowRange:
		return "the value was below the contact range"
	case OnHold:
		return "a question was open"
	case MeterLost:
		return "the meter went away"
	}
	return "it was not clear which coil was on the clips"
}

// touching takes a reading within the contact range.
func (m *Machine) touching(r driver.Reading) Outcome {
	previous := m.lastIn
	m.lastIn = r
	bounced := !m.openAt.IsZero()
	m.openAt = time.Time{}
	m.short = false
	switch m.phase {
	case phaseUnknown:
		m.ask("a coil was on the clips before coilkeep could see them open.")
	case phaseOpen:
		m.begin(r.Time)
		return m.settle(r)
	case phaseContact:
		if m.contactAt.IsZero() {
			m.contactAt, m.restartAt = r.Time, r.Time
		}
		if bounced {
			m.restart(false)
		}
		return m.settle(r)
	case phaseDone:
		m.follow(Entry{Reading: r})
		m.watch(r, bounced && r.Time.Sub(previous.Time) >= m.settings.Bounce)
	}
	return Outcome{}
}

// begin starts a new contact; with the zero time, at the next reading.
func (m *Machine) begin(at time.Time) {
	m.clear()
	m.phase = phaseContact
	m.contactAt, m.restartAt = at, at
	m.probeLow, m.probeHigh = math.Inf(1), math.Inf(-1)
	for _, t := range m.temps.entries {
		m.trace = append(m.trace, Entry{Reading: t, FromProbe: true})
		if t.Status == driver.OK {
			m.probeLow, m.probeHigh = min(m.probeLow, t.Value), max(m.probeHigh, t.Value)
		}
	}
}

// restart lets the contact under way settle anew. With forget, the readings so
// far are no longer evidence of what will be measured.
func (m *Machine) restart(forget bool) {
	m.usable, m.course, m.early = m.usable[:0], m.course[:0], nil
	m.dropped = 0
	m.restartAt = m.lastMeter.Time
	m.current = assessment{}
	if forget {
		m.begin(time.Time{})
	}
}

// clear forgets the contact.
func (m *Machine) clear() {
	m.trace = nil
	m.usable, m.course, m.early = nil, nil, nil
	m.kept, m.first = candidate{}, nil
	m.dropped = 0
	m.strays = 0
	m.openAt = time.Time{}
	m.heldUntil = time.Time{}
	m.doubt = ""
	m.refusal, m.refusalWords = "", ""
	m.aheadPercent = nil
	m.current = assessment{}
}

func (m *Machine) ask(doubt string) {
	m.clear()
	m.phase = phaseAsking
	m.doubt = doubt
}

// settle takes one reading of a contact and records when the time has come.
func (m *Machine) settle(r driver.Reading) Outcome {
	m.trace = append(m.trace, Entry{Reading: r})
	if len(m.trace) > longestApproach {
		m.restart(true)
		return Outcome{}
	}
	// The reading under way at contact, and the next, may straddle it.
	const straddling = 2
	m.dropped++
	switch {
	case m.dropped <= straddling:
		return Outcome{}
	case r.Time.Sub(m.restartAt) < m.settings.HandsOff:
		m.early = append(m.early, r)
		return Outcome{}
	}
	m.use(r)
	m.dropStep()
	m.current = m.assess(false)
	if m.current.window.steady && m.dropApproach(m.current.window) {
		m.current = m.assess(false)
	}
	m.remember()
	m.refuse()
	if !m.ripe() {
		return Outcome{}
	}
	return m.record(ByRule, "")
}

// refuse notes why nothing would come of the contact if it ended now. What the
// last readings before the clips open look like is no reason: once there was a
// good window, it is that its verdict was not certain.
func (m *Machine) refuse() {
	a := m.current
	switch {
	case m.kept.r20 != nil && m.kept.steady() && !m.kept.certain():
		m.refusal, m.refusalWords = Undecided, m.kept.doubt()
	case m.kept.r20 != nil && !m.kept.certain():
		m.refusal, m.refusalWords = Drifting, "it was "+m.kept.words
	default:
		why := a.refusal
		if why == Unsteady && a.window.spoiledLast() && !m.patienceOver() {
			why = TooShort // what the clips do to the last reading is no scatter
		}
		m.refusal, m.refusalWords = why, why.words()
		if why == Temperature {
			m.refusalWords = a.words
		}
	}
}

// doubt says why a steady window was not certain.
func (a assessment) doubt() string {
	return fmt.Sprintf("it came off before the verdict was certain: U was still %.2g %%", a.percent())
}

// dropStep begins the window anew when the latest readings agree on another
// value than a line through those before leads to: a hand was taken off, a clip
// slid. A coil that warms or cools goes on along the line.
func (m *Machine) dropStep() {
	const lookBack = 24
	n := len(m.usable) - stepReadings
	if n < stepReadings {
		return
	}
	before := m.usable[max(0, n-lookBack):n]
	scale := neighbourScale(before)
	l, ok := resistantLine(m.points(before), scale)
	if !ok {
		return
	}
	above, below := 0, 0
	for _, p := range m.points(m.usable[n:]) {
		limit := outlierScales * math.Hypot(scale, l.errorAt(p.Seconds, len(before)))
		switch off := p.Ohms - l.at(p.Seconds); {
		case off > limit:
			above++
		case off < -limit:
			below++
		}
	}
	if above == stepReadings || below == stepReadings {
		m.beginAt(n)
	}
}

// beginAt forgets the readings before one, which are of something else.
func (m *Machine) beginAt(n int) {
	m.usable = append([]driver.Reading(nil), m.usable[n:]...)
	m.course = append([]warmth.Point(nil), m.course[n:]...)
	m.early, m.kept = nil, candidate{}
}

// use takes a reading from after hands off.
func (m *Machine) use(r driver.Reading) {
	m.usable = append(m.usable, r)
	m.course = append(m.course, m.point(r))
}

// dropApproach forgets what came before a steady window and differs from it by
// more than a coil that takes on the room's temperature can change: a meter
// that hunted, a hand that let go slowly. It is no drift of the coil, and the
// slope is not to be fitted to it. It reports whether there was any.
func (m *Machine) dropApproach(w window) bool {
	s := m.settings
	allowed := max(s.spreadOhms(w.meanOhms, w.resolutionOhms), outlierScales*neighbourScale(w.readings))
	perSecond := s.AlphaPerKelvin * w.meanOhms * (farthestKelvin/s.TimeConstant.Seconds() + quickKelvinPerSecond)
	off := 0
	for i := len(m.usable) - len(w.readings) - 1; i >= 0; i-- {
		r := m.usable[i]
		age := w.readings[0].Time.Sub(r.Time).Seconds()
		if math.Abs(r.Value-w.meanOhms) <= allowed+perSecond*age {
			off = 0
			continue
		}
		if off++; off == stepReadings {
			m.beginAt(i + stepReadings)
			return true
		}
	}
	return false
}

// longestTrace bounds what is kept of a coil that stays on after it was
// recorded.
const longestTrace = 6000

// follow keeps an input of a coil that was recorded and stays on.
func (m *Machine) follow(e Entry) {
	if len(m.trace) < longestTrace {
		m.trace = append(m.trace, e)
	}
}

// quickKelvinPerSecond is how fast the wire alone may change besides: some 15 K
// of its own, given off within a minute.
const quickKelvinPerSecond = 0.25

// watch follows a coil that was measured and is still on the clips.
func (m *Machine) watch(r driver.Reading, mayBeAnother bool) {
	switch {
	case mayBeAnother:
		m.ask("the clips were off for about a second: is this another coil?")
		return
	case math.Abs(r.Value-m.level) > max(changedRatio*m.level, m.settings.spreadOhms(m.level, r.Resolution)):
		m.strays++
		if m.strays < stepReadings {
			return
		}
		if r.Value > m.level {
			m.ask("the value rose after it was recorded: were fingers on the clips, or is this another coil?")
		} else {
			m.ask("the value fell after it was recorded: is a hand on the clips, or is this another coil?")
		}
		return
	}
	m.strays = 0
	m.level += (r.Value - m.level) / 8
	m.use(r)
	if len(m.usable) > longestApproach {
		m.usable = append(m.usable[:0], m.usable[longestApproach/2:]...)
		m.course = append(m.course[:0], m.course[longestApproach/2:]...)
	}
	m.current = m.assess(false)
	if len(m.trace) < longestTrace {
		m.remember()
	}
}

// learn looks for the coil's own time constant in what was left on.
func (m *Machine) learn() *TimeConstantEstimate {
	if len(m.usable) == 0 {
		return nil
	}
	e := fitCooling(m.course, m.settings.AlphaPerKelvin*m.usable[len(m.usable)-1].Value)
	if e != nil && m.probeMoved() > steadyRoomShare*math.Abs(e.StartKelvin) {
		return nil // it is the room's course as well
	}
	return e
}
