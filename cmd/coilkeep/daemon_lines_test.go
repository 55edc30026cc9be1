package main

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"coilkeep/driver/simulate"
	"coilkeep/internal/capture"
)

// The reading in the middle of which the clips come off has a digit more than
// those before it. The open clips behind it are seen at once, or the next coil
// would be taken for the same one.
func TestUnclippingCostsNoCoil(t *testing.T) {
	t.Parallel()
	b := rig()
	p := plug(t, "meter", &simulate.Talker{Line: simulate.MeterLine(b), Prompt: "?"})
	_, probe := lineProbe(t, b)
	d := startDaemon(t, t.TempDir(), benchTOML(fmt.Sprintf("driver = \"line\"\nport = %q\nprompt = \"?\"\ntimeout = \"8s\"", p.Address()), probe))
	d.batch()
	d.untilState(capture.Open)
	for i := range 2 {
		b.Attach(simulate.CopperCoil(6650, 21.5))
		d.untilState(capture.Recorded)
		pulled := time.Now()
		b.Pull(12074)
		d.untilState(capture.Open)
		// Clips are open for a second before they count as such; the wait for a
		// late answer would be a time-out and more.
		if took := time.Since(pulled); took > 6*time.Second {
			t.Errorf("open clips were seen after %v", took)
		}
		if list := d.measurements(); len(list) != i+1 {
			t.Fatalf("%d measurements after %d coils", len(list), i+1)
		}
	}
}

// A probe whose lines cannot be read is not one that is not plugged in.
func TestUnreadableProbeIsNotCalledUnplugged(t *testing.T) {
	t.Parallel()
	b := rig()
	_, meter := scpiMeter(t, b)
	p := plug(t, "probe", &simulate.Talker{Every: 100 * time.Millisecond, Line: func() string { return "%RH,45.0,degC,21.50" }})
	d := startDaemon(t, t.TempDir(), benchTOML(meter, fmt.Sprintf("driver = \"line\"\nport = %q", p.Address())))
	d.batch()
	d.untilState(capture.Open)
	b.Attach(simulate.CopperCoil(6650, 21.5))
	s := d.untilState(capture.NoTemperature)
	if strings.Contains(s.Words, "plugged in") || !strings.Contains(s.Words, "pattern = '") {
		t.Errorf("words %q while lines arrive", s.Words)
	}
}
