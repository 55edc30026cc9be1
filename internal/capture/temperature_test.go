package capture

import (
	"strings"
	"testing"
	"time"

	"coilkeep/driver"
)

// "Is the probe plugged in?" is asked only when nothing arrives.
func TestNoTemperatureSaysWhatArrives(t *testing.T) {
	const maxAge = 5 * time.Second
	good := driver.Reading{Status: driver.OK, Value: 21.5}
	unreadable := driver.Reading{Status: driver.Unreadable, Reason: "more numbers than one"}
	impossible := driver.Reading{Status: driver.Impossible, Reason: "power-on value"}
	type step struct {
		after time.Duration
		driver.Reading
	}
	for name, tt := range map[string]struct {
		steps    []step
		says, no string
	}{
		"nothing":                     {nil, "plugged in?", "read"},
		"an unreadable line":          {[]step{{29 * time.Second, unreadable}}, "more numbers than one", "plugged in?"},
		"an unreadable line long ago": {[]step{{time.Second, unreadable}}, "plugged in?", "more numbers"},
		"an old one, then nothing":    {[]step{{20 * time.Second, good}}, "check the probe", "read"},
		"an old one, then unreadable": {[]step{{20 * time.Second, good}, {29 * time.Second, unreadable}}, "more numbers than one",
			"check the probe"},
		"unreadable, then impossible": {[]step{{28 * time.Second, unreadable}, {29 * time.Second, impossible}}, "power-on value",
			"more numbers"},
		"unreadable before an old one": {[]step{{19 * time.Second, unreadable}, {20 * time.Second, good}}, "check the probe", "more numbers"},
	} {
		t.Run(name, func(t *testing.T) {
			var temps temperatures
			for _, s := range tt.steps {
				s.Time = day.Add(s.after)
				temps.add(s.Reading)
			}
			now := day.Add(30 * time.Second)
			_, _, err := temps.at(now, now, maxAge)
			if err == nil || !strings.Contains(err.Error(), tt.says) || strings.Contains(err.Error(), tt.no) {
				t.Errorf("at = %v, want %q and not %q", err, tt.says, tt.no)
			}
		})
	}
}

// A line that cannot be read takes nothing from a temperature that is fresh.
func TestUnreadableLineLeavesTheTemperature(t *testing.T) {
	var temps temperatures
	temps.add(driver.Reading{Time: day, Status: driver.OK, Value: 21.5})
	temps.add(driver.Reading{Time: day.Add(time.Second), Status: driver.Unreadable, Reason: "noise"})
	now := day.Add(2 * time.Second)
	if celsius, _, err := temps.at(now, now, 5*time.Second); err != nil || celsius != 21.5 {
		t.Errorf("at = %v, %v; want 21.5", celsius, err)
	}
}
