package capture

import (
	"fmt"
	"math"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/words"
)

// clips is what the readings show of the clips, whatever is on them.
type clips struct {
	// openSince is when the present opening began while a coil was on; zero when
	// none did.
	openSince time.Time
	// aboveSince is when the unbroken run of readings above the contact range
	// began that is still going on; zero when the last reading was no such one.
	aboveSince time.Time
	// short is true when the latest reading was below the contact range.
	short bool
}

type readingKind int

const (
	readingBad readingKind = iota
	readingOpen
	readingShort
	readingIn
)

// classify says what a reading shows of the clips.
func (s Settings) classify(r driver.Reading) readingKind {
	switch {
	case r.Status == driver.Overload:
		return readingOpen
	case r.Status != driver.OK || math.IsNaN(r.Value) || math.IsInf(r.Value, 0):
		return readingBad
	case r.Value > s.MaxOhms:
		return readingOpen
	case r.Value < s.MinOhms:
		return readingShort
	default:
		return readingIn
	}
}

// see takes note of what a reading at an instant shows.
func (c *clips) see(kind readingKind, at time.Time) {
	switch {
	case kind != readingOpen:
		c.aboveSince = time.Time{}
	case c.aboveSince.IsZero():
		c.aboveSince = at
	}
	if kind != readingBad {
		c.short = kind == readingShort
	}
}

// lookAway forgets since when they are open: nobody looked for a while.
func (c *clips) lookAway() { c.openSince, c.aboveSince = time.Time{}, time.Time{} }

// waitsLong is how long readings are above the contact range before the words
// allow for a coil that is on the clips all the same: longer than it takes to
// change one coil for the next.
const waitsLong = 8 * time.Second

// describeOpen says that nothing is seen on the clips. A coil whose wire is
// open, and one that is more than a fixed range can show, look just like that:
// whoever waits with one on is told where to look.
func (c clips) describeOpen(latest driver.Reading, now time.Time) string {
	switch {
	case c.aboveSince.IsZero() || now.Sub(c.aboveSince) < waitsLong:
		return "clips open"
	case latest.Status == driver.Overload:
		return "clips open. If a coil is on, its wire is open, or the meter's range is too small for it"
	}
	return fmt.Sprintf("clips open. If a coil is on, %s is above the contact range (contact.max_ohms)", words.OhmsInPassing(latest.Value))
}

// opening takes a reading that says the clips hold no coil.
func (m *Machine) opening(r driver.Reading, kind readingKind) Outcome {
	if m.phase == phaseOpen {
		return Outcome{}
	}
	if m.phase == phaseContact {
		m.contact.trace = append(m.contact.trace, Entry{Reading: r})
		m.contact.interrupt()
		m.current = assessment{}
	}
	if m.clips.openSince.IsZero() {
		m.clips.openSince = r.Time
	}
	if r.Time.Sub(m.clips.openSince) < m.settings.Bounce {
		return Outcome{}
	}
	result := m.parting()
	ended := m.end(m.shortfall.refusal)
	switch {
	case result != nil:
		ended = &Ended{Measured: true, TimeConstant: ended.TimeConstant}
	case kind == readingShort && m.phase == phaseContact && ended != nil:
		ended.Refusal, ended.Words = BelowRange, BelowRange.words()
	}
	m.phase = phaseOpen
	m.clips.openSince = time.Time{}
	return Outcome{Result: result, Ended: ended}
}

// end closes the present contact and says what came of it.
func (m *Machine) end(why Refusal) *Ended {
	defer m.clear()
	switch m.phase {
	case phaseDone:
		return &Ended{Measured: true, TimeConstant: m.contact.learn(m.settings)}
	case phaseAsking:
		return &Ended{Refusal: SameCoilDoubt, Words: SameCoilDoubt.words()}
	case phaseContact:
		if len(m.contact.usable) == 0 && why == "" && m.lastIn.Time.Sub(m.contact.began) < m.settings.HandsOff {
			return nil // a brief touch
		}
		if why == "" {
			why = TooShort
		}
		return &Ended{Refusal: why, Words: m.shortfall.wordsFor(why), TimeConstant: m.contact.learn(m.settings)}
	}
	return nil
}

// touching takes a reading within the contact range.
func (m *Machine) touching(r driver.Reading) Outcome {
	previous := m.lastIn
	m.lastIn = r
	bounced := !m.clips.openSince.IsZero()
	m.clips.openSince = time.Time{}
	switch m.phase {
	case phaseUnknown:
		m.ask("a coil was on the clips before coilkeep could see them open.")
	case phaseOpen:
		m.begin(r.Time)
		return m.settle(r)
	case phaseContact:
		if m.contact.began.IsZero() {
			m.contact.began, m.contact.settlingSince = r.Time, r.Time
		}
		if bounced {
			m.restart(false)
		}
		return m.settle(r)
	case phaseDone:
		m.contact.follow(Entry{Reading: r})
		m.watch(r, bounced && r.Time.Sub(previous.Time) >= m.settings.Bounce)
	}
	return Outcome{}
}

// begin starts a new contact; with the zero time, at the next reading.
func (m *Machine) begin(at time.Time) {
	m.clear()
	m.phase = phaseContact
	m.contact = newContact(at, m.temps.entries)
}

// restart lets the contact under way settle anew. With forget, the readings so
// far are no longer evidence of what will be measured.
func (m *Machine) restart(forget bool) {
	m.contact.settleAnew(m.lastMeter.Time)
	m.current = assessment{}
	if forget {
		m.begin(time.Time{})
	}
}

// clear forgets the contact.
func (m *Machine) clear() {
	m.contact.forget()
	m.kept, m.first = candidate{}, nil
	m.strays = 0
	m.clips.openSince = time.Time{}
	m.heldUntil = time.Time{}
	m.doubt = ""
	m.shortfall = shortfall{}
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
	c := &m.contact
	c.trace = append(c.trace, Entry{Reading: r})
	if len(c.trace) > longestApproach {
		m.restart(true)
		return Outcome{}
	}
	if !c.take(r, m.settings.HandsOff) {
		return Outcome{}
	}
	if c.dropStep() {
		m.kept = candidate{}
	}
	m.assess(false)
	if m.current.window.steady && c.dropApproach(m.settings, m.current.window) {
		m.kept = candidate{}
		m.assess(false)
	}
	m.remember()
	m.shortfall = shortfallOf(m.current, m.kept.assessment, c.patienceOver(m.settings, r.Time))
	if !m.ripe() {
		return Outcome{}
	}
	return m.record(ByRule, "")
}

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
	m.contact.useLasting(r)
	m.assess(false)
	if !m.contact.full() {
		m.remember()
	}
}
