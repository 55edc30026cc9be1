package capture

import (
	"fmt"
	"time"

	"coilkeep/driver"
)

// temperatures holds the latest readings of the probe, oldest first.
type temperatures struct {
	entries []driver.Reading
	// unreadable is the latest line that could not be read; its Status is empty
	// when there was none since the latest entry.
	unreadable driver.Reading
}

// add takes a reading. A line that could not be read says nothing about the
// temperature, so the last good one stands until it is too old; that it came
// and why it could not be read is kept for people.
func (t *temperatures) add(r driver.Reading) {
	if r.Status == driver.Unreadable {
		t.unreadable = r
		return
	}
	t.unreadable = driver.Reading{}
	t.entries = append(t.entries, r)
}

// heardFor is for how many times maxAge something that arrived is spoken of: an
// instrument is opened anew in between.
const heardFor = 4

// arrives says what comes from the probe when no temperature does, seen from
// now; otherwise is said when nothing has come lately.
func (t *temperatures) arrives(now time.Time, maxAge time.Duration, otherwise string) string {
	if t.unreadable.Status == "" || now.Sub(t.unreadable.Time) > heardFor*maxAge {
		return otherwise
	}
	return "what the probe sends cannot be read: " + t.unreadable.Reason
}

// forget drops what is older than the instant given.
func (t *temperatures) forget(before time.Time) {
	drop := 0
	for drop < len(t.entries) && t.entries[drop].Time.Before(before) {
		drop++
	}
	if drop > 0 {
		t.entries = append(t.entries[:0], t.entries[drop:]...)
	}
}

// at interpolates the temperature at an instant, seen from now. It refuses
// when the probe's latest word is older than maxAge or not a number: a
// temperature that has gone stale is none.
func (t *temperatures) at(instant, now time.Time, maxAge time.Duration) (celsius float64, resolutionKelvin float64, err error) {
	if len(t.entries) == 0 {
		return 0, 0, fmt.Errorf("no temperature yet: %s", t.arrives(now, maxAge, "is the probe plugged in?"))
	}
	latest := t.entries[len(t.entries)-1]
	if latest.Status != driver.OK {
		return 0, 0, fmt.Errorf("the probe gives no temperature: %s", latest.Reason)
	}
	if age := now.Sub(latest.Time); age > maxAge {
		return 0, 0, fmt.Errorf("the last temperature is %.0f s old, more than %v: %s", age.Seconds(), maxAge,
			t.arrives(now, maxAge, "check the probe"))
	}
	before, after := t.around(instant)
	switch {
	case before == nil && after == nil:
		return 0, 0, fmt.Errorf("no usable temperature near this reading")
	case before == nil:
		if after.Time.Sub(instant) > maxAge {
			return 0, 0, fmt.Errorf("the first temperature came too late for this reading")
		}
		return after.Value, after.Resolution, nil
	case after == nil:
		if instant.Sub(before.Time) > maxAge {
			return 0, 0, fmt.Errorf("the last temperature is too old for this reading")
		}
		return before.Value, before.Resolution, nil
	}
	gap := after.Time.Sub(before.Time)
	if gap > 2*maxAge {
		return 0, 0, fmt.Errorf("the probe was silent for %.0f s around this reading", gap.Seconds())
	}
	if gap == 0 {
		return after.Value, after.Resolution, nil
	}
	part := instant.Sub(before.Time).Seconds() / gap.Seconds()
	return before.Value + part*(after.Value-before.Value), max(before.Resolution, after.Resolution), nil
}

// around returns the usable readings just before (or at) and after an instant.
func (t *temperatures) around(instant time.Time) (before, after *driver.Reading) {
	for i := range t.entries {
		r := &t.entries[i]
		if r.Status != driver.OK {
			continue
		}
		if !r.Time.After(instant) {
			before = r
		} else if after == nil {
			after = r
		}
	}
	return before, after
}

// during finds the temperature in the middle of a window, seen from its end.
func (t *temperatures) during(window []driver.Reading, maxAge time.Duration) (celsius, step float64, err error) {
	first, last := window[0].Time, window[len(window)-1].Time
	celsius, step, err = t.at(first.Add(last.Sub(first)/2), last, maxAge)
	if err != nil {
		return 20, 0, err // near enough to name a drift by
	}
	return celsius, step, nil
}
