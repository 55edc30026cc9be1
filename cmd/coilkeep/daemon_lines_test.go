package main

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"coilkeep/driver/drivertest"
	"coilkeep/driver/simulate"
	"coilkeep/internal/capture"
)

// The reading in the middle of which the clips come off has a digit more than
// those before it. The open clips behind it are seen at once, or the next coil
// would be taken for the same one.
func TestUnclippingCostsNoCoil(t *testing.T) {
	t.Parallel()
	b := rig()
	p := plug(t, "meter", &drivertest.Talker{Line: drivertest.MeterLine(b), Prompt: "?"})
	_, probe := lineProbe(t, b)
	d := startDaemon(t, t.TempDir(), benchTOML(fmt.Sprintf("driver = \"line\"\nport = %q\nprompt = \"?\"\ntimeout = \"8s\"", p.Address()),
		probe))
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

// A meter of one reading a second works, asked or talking, without a key of its
// own.
func TestSlowMeter(t *testing.T) {
	for name, setUp := range map[string]func(b *drivertest.Bench) (simulate.Instrument, string){
		"asked": func(b *drivertest.Bench) (simulate.Instrument, string) {
			return &drivertest.SCPIMeter{Bench: b, Integration: time.Second}, `driver = "scpi"`
		},
		"talking": func(b *drivertest.Bench) (simulate.Instrument, string) {
			return &drivertest.Talker{Line: drivertest.MeterLine(b), Every: time.Second}, `driver = "line"`
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := rig()
			instrument, table := setUp(b)
			p := plug(t, "meter", instrument)
			_, probe := lineProbe(t, b)
			d := startDaemon(t, t.TempDir(), benchTOML(fmt.Sprintf("%s\nport = %q", table, p.Address()), probe))
			d.batch()
			d.untilState(capture.Open)
			b.Attach(simulate.CopperCoil(6650, 21.5))
			d.untilState(capture.Recorded)
			if list := d.measurements(); len(list) != 1 || math.Abs(list[0].R20Ohms-6650) > list[0].ExpandedUncertaintyOhms/2 {
				t.Errorf("recorded %+v, want one coil of 6650 Ω", list)
			}
		})
	}
}

// A probe whose lines cannot be read is not one that is not plugged in.
func TestUnreadableProbeIsNotCalledUnplugged(t *testing.T) {
	t.Parallel()
	b := rig()
	_, meter := scpiMeter(t, b)
	p := plug(t, "probe", &drivertest.Talker{Every: 100 * time.Millisecond, Line: func() string { return "%RH,45.0,degC,21.50" }})
	d := startDaemon(t, t.TempDir(), benchTOML(meter, fmt.Sprintf("driver = \"line\"\nport = %q", p.Address())))
	d.batch()
	d.untilState(capture.Open)
	b.Attach(simulate.CopperCoil(6650, 21.5))
	s := d.untilState(capture.NoTemperature)
	if strings.Contains(s.Words, "plugged in") || !strings.Contains(s.Words, "pattern = '") {
		t.Errorf("words %q while lines arrive", s.Words)
	}
}
