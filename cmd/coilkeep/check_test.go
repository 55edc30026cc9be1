package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coilkeep/driver/drivertest"
	"coilkeep/driver/simulate"
)

// checkFile writes a configuration with one bench and returns its path.
func checkFile(t *testing.T, meter, probe string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "coilkeep.toml")
	if err := os.WriteFile(path, []byte(benchTOML(meter, probe)), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestCheckShowsInstrumentsThatWork(t *testing.T) {
	t.Parallel()
	b := rig()
	b.Attach(simulate.CopperCoil(6650, 21.5))
	_, meter := scpiMeter(t, b)
	_, probe := lineProbe(t, b)
	path := checkFile(t, meter, probe)
	text := ok(t, "check", "--config", path)
	for _, want := range []string{"north", "Elder Vale,EV-41", "kΩ", "°C"} {
		if !strings.Contains(text, want) {
			t.Errorf("check lacks %q:\n%s", want, text)
		}
	}
	var found []checked
	if err := json.Unmarshal([]byte(ok(t, "check", "--config", path, "--json")), &found); err != nil {
		t.Fatal(err)
	}
	if len(found) != 2 || found[0].Unit != "ohm" || found[0].Value == nil || *found[0].Value < 6600 || *found[0].Value > 6750 ||
		found[1].Unit != "celsius" || found[1].Value == nil || *found[1].Value < 20 || *found[1].Value > 23 {
		t.Errorf("check found %+v", found)
	}
}

// Open clips are no fault of the meter.
func TestCheckTakesOpenClips(t *testing.T) {
	t.Parallel()
	b := rig()
	_, meter := scpiMeter(t, b)
	_, probe := lineProbe(t, b)
	if text := ok(t, "check", "--config", checkFile(t, meter, probe)); !strings.Contains(text, "overload") {
		t.Errorf("check of open clips:\n%s", text)
	}
}

func TestCheckNamesFaults(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name  string
		spoil func(t *testing.T, b *drivertest.Bench, meter *drivertest.SCPIMeter, probe *simulate.Plug)
		want  []string
	}{
		{"a silent meter", func(_ *testing.T, _ *drivertest.Bench, meter *drivertest.SCPIMeter, _ *simulate.Plug) {
			meter.Silence(true)
		},
			[]string{"silent for 2s", "switched on", "1 of 2 instruments"}},
		{"an unplugged probe", func(t *testing.T, _ *drivertest.Bench, _ *drivertest.SCPIMeter, probe *simulate.Plug) {
			if err := probe.Unplug(); err != nil {
				t.Fatal(err)
			}
		}, []string{"no such port", "1 of 2 instruments"}},
		{"a probe in °F that does not say so", func(_ *testing.T, b *drivertest.Bench, _ *drivertest.SCPIMeter,
			_ *simulate.Plug) {
			b.ForceProbe(70.7)
		},
			[]string{"70.7 °C is outside", "°F", "1 of 2 instruments"}},
		{"a probe that has not measured", func(_ *testing.T, b *drivertest.Bench, _ *drivertest.SCPIMeter, _ *simulate.Plug) { b.ForceProbe(85) },
			[]string{"power-on", "1 of 2 instruments"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b := rig()
			scpi := ordinarySCPI(b)
			meter := scpiTOML(plug(t, "meter", scpi))
			p := plug(t, "probe", &drivertest.Talker{Every: 100 * time.Millisecond, Line: drivertest.ProbeLine(b)})
			tt.spoil(t, b, scpi, p)
			got := start(t, "check", "--config", checkFile(t, meter, "driver = \"line\"\nport = \""+p.Address()+"\"\ntimeout = \"1s\""))
			for _, want := range tt.want {
				if got.code != exitFault || !strings.Contains(got.stdout+got.stderr, want) {
					t.Errorf("exit %d, want 1 and %q:\n%s%s", got.code, want, got.stdout, got.stderr)
				}
			}
		})
	}
}
