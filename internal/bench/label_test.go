package bench

import (
	"testing"
	"time"

	"coilkeep/internal/record"
)

// An instrument goes by what it says it is, before it has said so by what the last
// measurement says, and else by where it is.
func TestLabelOf(t *testing.T) {
	t.Parallel()
	silent := Instrument{Role: record.Meter, Driver: "scpi", Port: "/dev/ttyUSB0"}
	known := silent
	known.Identity = "EV-40"
	nameless := silent // it has answered, and never says who it is
	nameless.LastAt = &time.Time{}
	probe := Instrument{Role: record.Probe, Driver: "line", Port: "tcp:127.0.0.1:4001"}
	last := &record.Measurement{Meter: "EV-39", Probe: "T-3"}
	for _, c := range []struct {
		last *record.Measurement
		of   Instrument
		want string
	}{
		{nil, silent, "scpi at /dev/ttyUSB0"},
		{nil, known, "EV-40"},
		{last, known, "EV-40"},
		{last, silent, "EV-39"},
		{last, nameless, "scpi at /dev/ttyUSB0"},
		{last, probe, "T-3"},
		{&record.Measurement{}, probe, "line at tcp:127.0.0.1:4001"},
	} {
		if got := (Snapshot{Last: c.last}).LabelOf(c.of); got != c.want {
			t.Errorf("%+v after %+v is called %q, want %q", c.of, c.last, got, c.want)
		}
	}
}
