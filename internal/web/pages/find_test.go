package pages

import (
	"testing"
	"time"
)

func TestParseDay(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"2026-03-14": "2026-03-14", "2026/03/14": "2026-03-14", "14.3.2026": "2026-03-14", "4.3.2026": "2026-03-04",
		"14 Mar 2026": "2026-03-14", "14 March 2026": "2026-03-14", "March 14, 2026": "2026-03-14", "YESTERDAY": "2026-03-13",
		// Which is the day is anybody's guess.
		"03/04/2026": "", "14-03-2026": "", "2026-02-30": "", "HN-0001": "", "2026": "", "": "",
	} {
		got := ""
		if day, ok := parseDay(text, time.Date(2026, 3, 14, 12, 0, 0, 0, time.Local)); ok {
			got = day.Format(time.DateOnly)
		}
		if got != want {
			t.Errorf("%q: got %q, want %q", text, got, want)
		}
	}
}

// TestDayOf has a day be as long as it is where clocks change.
func TestDayOf(t *testing.T) {
	t.Parallel()
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Skipf("no time zones here: %v", err)
	}
	for day, want := range map[string]time.Duration{"2026-03-28": 24 * time.Hour, "2026-03-29": 23 * time.Hour, "2026-10-25": 25 * time.Hour} {
		at, err := time.ParseInLocation(time.DateOnly, day, zone)
		if err != nil {
			t.Fatal(err)
		}
		from, to := dayOf(at.Add(20 * time.Hour))
		if got := to.Sub(from); got != want || !from.Equal(at) {
			t.Errorf("%s: got %v from %v, want %v", day, got, from, want)
		}
	}
}
