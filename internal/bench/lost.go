package bench

import (
	"sync/atomic"

	"coilkeep/internal/record"
)

// lostCoil is a coil that was not recorded, from the moment on that the clips
// opened until the history is known to list it.
type lostCoil struct {
	record.Unrecorded
	// stored is true once it is in the history, and the bench has counted that as a
	// change of its own.
	stored *atomic.Bool
}

// lostCoils are the coils of a bench that left the clips without a record.
type lostCoils struct {
	// fresh are those that the history may not list yet.
	fresh []lostCoil
	// open lists all that were neither measured nor dismissed, the latest first, each
	// serial number once; taken are the serial numbers of theirs that no other coil
	// may have.
	open  []record.Unrecorded
	taken map[string]bool
	// answered holds the ids of those that are not the coil to come, as somebody said.
	answered map[string]bool
}

// add lists a coil that was just lost.
func (l *lostCoils) add(c lostCoil, listed []record.Unrecorded) {
	l.fresh = append([]lostCoil{c}, l.fresh...)
	l.relist(listed)
}

// know takes up what the history lists, and drops what it has listed since.
func (l *lostCoils) know(listed []record.Unrecorded) {
	var kept []lostCoil
	for _, c := range l.fresh {
		if !c.stored.Load() {
			kept = append(kept, c)
		}
	}
	l.fresh = kept
	l.relist(listed)
}

// relist makes the list anew.
func (l *lostCoils) relist(listed []record.Unrecorded) {
	type key struct{ serial, stage string }
	known, answered := map[key]bool{}, map[string]bool{}
	l.open, l.taken = nil, map[string]bool{}
	add := func(u record.Unrecorded) {
		if l.answered[u.ID] {
			answered[u.ID] = true
		}
		if u.ByPattern {
			l.taken[u.Serial] = true
		}
		k := key{u.Serial, u.Stage}
		if u.Serial == "" {
			k.stage = u.Refusal
		}
		if !known[k] {
			known[k] = true
			l.open = append(l.open, u)
		}
	}
	for _, c := range l.fresh {
		add(c.Unrecorded)
	}
	for _, u := range listed {
		add(u)
	}
	l.answered = answered
}

// lists is true for a coil of unknown number where another is listed with the same
// reason: the list says no more for naming it twice.
func (l *lostCoils) lists(u record.Unrecorded) bool {
	for _, o := range l.open {
		if u.Serial == "" && o.Serial == "" && o.Refusal == u.Refusal {
			return true
		}
	}
	return false
}

// asked is the coil of which must be said whether it is the next one, where a pattern
// makes the serial numbers; nil when nothing is to be asked. last is the last coil
// recorded, nil before the first.
func (l *lostCoils) asked(pattern string, last *record.Measurement) *record.Unrecorded {
	for _, u := range l.open {
		if u.Serial != "" && !l.answered[u.ID] && !passed(u, pattern, last) {
			return &u
		}
	}
	return nil
}

// passed is true when a coil after u was recorded, so that somebody has answered
// before, perhaps to another run of the program.
func passed(u record.Unrecorded, pattern string, last *record.Measurement) bool {
	if last == nil {
		return false
	}
	of, made := record.SerialNumber(pattern, u.Serial)
	recorded, lastMade := record.SerialNumber(pattern, last.Serial)
	if made {
		return lastMade && recorded > of
	}
	return last.Time.After(u.Time)
}

// answer notes that somebody has said that the next coil is not u, nor another
// listed before it.
func (l *lostCoils) answer(u record.Unrecorded) {
	for _, o := range l.open {
		if o.ID == u.ID || o.Time.Before(u.Time) {
			if l.answered == nil {
				l.answered = map[string]bool{}
			}
			l.answered[o.ID] = true
		}
	}
}

// listing is what people are shown of them; asked is the one they are asked about.
func (l *lostCoils) listing(asked *record.Unrecorded) []Unrecorded {
	list := make([]Unrecorded, len(l.open))
	for i, u := range l.open {
		list[i] = listedUnrecorded(u)
		list[i].Asked = asked != nil && asked.ID == u.ID
	}
	return list
}

func listedUnrecorded(u record.Unrecorded) Unrecorded {
	return Unrecorded{ID: u.ID, Time: u.Time, Serial: u.Serial, Stage: u.Stage, Refusal: u.Refusal, Words: u.Words}
}
