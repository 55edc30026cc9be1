package bench

import (
	"slices"
	"testing"
	"time"

	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
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

// One that is named goes by that, wherever it is plugged in, and what was entered about
// it by its port before counts on; one that says what it is goes by that alone.
func TestANameKeepsWhatWasEntered(t *testing.T) {
	t.Parallel()
	named := described("north", record.Meter, InstrumentSettings{Name: "bench meter 1", Driver: "line", Port: "/dev/ttyUSB0"})
	elsewhere := described("north", record.Probe, InstrumentSettings{Driver: "line", Port: "/dev/ttyUSB7"})
	speaking := named
	speaking.Identity = "Elder Vale,EV-41,0007,1.2"
	typed := described("north", record.Meter, InstrumentSettings{Driver: "manual", Typed: true})
	for _, c := range []struct {
		of   Instrument
		want []string
	}{
		{named, []string{"bench meter 1", "line at /dev/ttyUSB0"}},
		{elsewhere, []string{"probe of bench north", "line at /dev/ttyUSB7"}},
		{speaking, []string{"Elder Vale,EV-41,0007,1.2"}},
		{typed, []string{"manual"}},
	} {
		if got := c.of.Labels(); !slices.Equal(got, c.want) || c.of.Label() != c.want[0] {
			t.Errorf("%+v goes by %q, want %q", c.of, got, c.want)
		}
	}
	before := record.Calibration{ID: "before", Role: record.Meter, Instrument: "line at /dev/ttyUSB0", CorrectionRatio: 0.01}
	if c := workshop.CalibrationInForce([]record.Calibration{before}, record.Meter, time.Now(), named.Labels()...); c == nil {
		t.Error("its calibration does not count since it has a name")
	}
}
