package main

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"coilkeep/driver/drivertest"
	"coilkeep/driver/simulate"
)

// newcomer runs check on a bench whose meter (or probe) is set up as given, and
// pastes the first line of advice that sets one of the keys into the table
// again and again until nothing is wrong. It returns what was pasted and the
// last answer.
func newcomer(t *testing.T, role, table, other string) ([]string, checked) {
	t.Helper()
	var pasted []string
	for range 4 {
		meter, probe := table, other
		if role == "probe" {
			meter, probe = other, table
		}
		got := start(t, "check", "--json", "--config", checkFile(t, meter, probe))
		var found []checked
		if err := json.Unmarshal([]byte(got.stdout), &found); err != nil {
			t.Fatalf("%v:\n%s%s", err, got.stdout, got.stderr)
		}
		for _, c := range found {
			if c.Role != role {
				continue
			}
			if c.Fault == "" {
				return pasted, c
			}
			set := ""
			for _, a := range c.Advice {
				if a.Set != "" {
					set = a.Set
					break
				}
			}
			if set == "" {
				t.Fatalf("no advice for %+v", c)
			}
			table = paste(table, set)
			pasted = append(pasted, set)
		}
	}
	t.Fatalf("still wrong with %v", pasted)
	return nil, checked{}
}

// paste puts a line into a table in place of the line with the same key.
func paste(table, set string) string {
	key, _, _ := strings.Cut(set, " =")
	var lines []string
	for _, l := range strings.Split(table, "\n") {
		if !strings.HasPrefix(l, key+" =") {
			lines = append(lines, l)
		}
	}
	return strings.Join(append(lines, set), "\n")
}

const byHand = `driver = "manual"`

// From the advice of check alone a newcomer gets to a reading.
func TestAdviceLeadsToAReading(t *testing.T) {
	t.Parallel()
	meterLine := func(format string) func(*drivertest.Bench) simulate.Instrument {
		return func(b *drivertest.Bench) simulate.Instrument {
			n := 0
			return &drivertest.Talker{Every: 40 * time.Millisecond, Line: func() string {
				n++
				return strings.NewReplacer("{n}", fmt.Sprint(n), "{pad}", fmt.Sprintf("%06d", n), "{v}",
					fmt.Sprintf("%.0f", b.ReadMeter().Value)).Replace(format)
			}}
		}
	}
	for name, tt := range map[string]struct {
		instrument func(b *drivertest.Bench) simulate.Instrument
		table      string
		role       string
		pasted     string // what must be among it
	}{
		"a meter in local": {func(b *drivertest.Bench) simulate.Instrument {
			return &drivertest.SCPIMeter{Bench: b, RefusesInLocal: true}
		}, `driver = "scpi"`, "meter", `init = ["SYST:REM", "CONF:RES"]`},
		"a meter in local without init": {func(b *drivertest.Bench) simulate.Instrument {
			return &drivertest.SCPIMeter{Bench: b, RefusesInLocal: true}
		}, "driver = \"scpi\"\ninit = []", "meter", `init = ["SYST:REM"]`},
		"a meter silent until remote": {func(b *drivertest.Bench) simulate.Instrument {
			return &drivertest.SCPIMeter{Bench: b, NeedsRemote: true}
		}, `driver = "scpi"`, "meter", `init = ["SYST:REM", "CONF:RES"]`},
		"another line end": {func(b *drivertest.Bench) simulate.Instrument {
			return &drivertest.SCPIMeter{Bench: b, Listens: "\r"}
		}, `driver = "scpi"`, "meter", `terminator = "cr"`},
		"another line end and remote": {func(b *drivertest.Bench) simulate.Instrument {
			return &drivertest.SCPIMeter{Bench: b, Listens: "\r\n", RefusesInLocal: true}
		}, `driver = "scpi"`, "meter", `terminator = "crlf"`},
		"silent until prompted": {func(b *drivertest.Bench) simulate.Instrument {
			return &drivertest.Talker{Prompt: "READ?\r\n", Line: drivertest.MeterLine(b)}
		}, `driver = "line"`, "meter", `prompt = "READ?\r\n"`},
		"a prompt in single quotes": {func(b *drivertest.Bench) simulate.Instrument {
			return &drivertest.Talker{Prompt: "D\r\n", Line: drivertest.MeterLine(b)}
		}, "driver = \"line\"\nprompt = 'D\\r\\n'", "meter", `prompt = "D\r\n"`},
		"a prompt without a line end": {func(b *drivertest.Bench) simulate.Instrument {
			return &drivertest.Talker{Prompt: "D\r\n", Line: drivertest.MeterLine(b)}
		}, "driver = \"line\"\nprompt = \"D\"", "meter", `prompt = "D\r\n"`},
		"the wrong line end": {func(b *drivertest.Bench) simulate.Instrument {
			return &drivertest.Talker{Prompt: "D\r\n", Line: drivertest.MeterLine(b)}
		}, "driver = \"line\"\nprompt = \"D\\r\"", "meter", `prompt = "D\r\n"`},
		"whole numbers in fields":  {meterLine("{pad},{v},OHM,0"), `driver = "line"`, "meter", "pattern = "},
		"unit before the value":    {meterLine("{pad},OHM,{v},0"), `driver = "line"`, "meter", "pattern = "},
		"channel and whole number": {meterLine("CH1,{v},OHM"), `driver = "line"`, "meter", "pattern = "},
		"counter and value":        {meterLine("{n};{v}"), `driver = "line"`, "meter", "pattern = "},
		"a pattern that is wrong":  {meterLine("CH1,{v},OHM"), "driver = \"line\"\npattern = '^CH2,(?P<value>.*),OHM$'", "meter", "pattern = "},
		"fields, prompted": {func(b *drivertest.Bench) simulate.Instrument {
			return &drivertest.Talker{Prompt: "?", Line: func() string { return fmt.Sprintf("7 %.0f", b.ReadMeter().Value) }}
		}, "driver = \"line\"\nprompt = \"?\"", "meter", "pattern = "},
		"humidity first": {func(b *drivertest.Bench) simulate.Instrument {
			return &drivertest.Talker{Every: 40 * time.Millisecond, Line: func() string { return fmt.Sprintf("%%RH,45.0,degC,%.2f", b.ReadProbe()) }}
		}, `driver = "line"`, "probe", "pattern = "},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := rig()
			b.Attach(simulate.CopperCoil(6650, 21.5))
			p := plug(t, "instrument", tt.instrument(b))
			pasted, c := newcomer(t, tt.role, tt.table+fmt.Sprintf("\nport = %q\ntimeout = \"600ms\"", p.Address()), byHand)
			if !strings.Contains(strings.Join(pasted, "\n"), tt.pasted) {
				t.Errorf("pasted %q, want %s among it", pasted, tt.pasted)
			}
			want, within := 6650*(1+0.00393*1.5), 5.0
			if tt.role == "probe" {
				want, within = 21.5, 0.2
			}
			if c.Value == nil || math.Abs(*c.Value-want) > within {
				t.Errorf("with %q the reading is %+v, want %g", pasted, c, want)
			}
		})
	}
}

// Lines in fields that can be read in one way only need no pattern.
func TestCheckReadsFields(t *testing.T) {
	t.Parallel()
	b := rig()
	b.Attach(simulate.CopperCoil(6650, 21.5))
	meter := plug(t, "meter", &drivertest.Talker{Every: 50 * time.Millisecond, Line: drivertest.FieldsLine(b)})
	for _, between := range []string{",", ";", "\t", ", "} {
		probe := plug(t, "probe", &drivertest.Talker{Every: 50 * time.Millisecond, Line: drivertest.ChannelLine(b, between)})
		text := ok(t, "check", "--config", checkFile(t, fmt.Sprintf("driver = \"line\"\nport = %q", meter.Address()),
			fmt.Sprintf("driver = \"line\"\nport = %q", probe.Address())))
		if !strings.Contains(text, "6.68") || !strings.Contains(text, "°C") {
			t.Errorf("check of fields parted by %q:\n%s", between, text)
		}
	}
}

// What arrived is shown so that a terminal stands it.
func TestCheckShowsWhatArrived(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		line string
		want []string
		no   string
	}{
		"text":     {"R(kOhm) 6.690 see 7", []string{`"R(kOhm) 6.690 see 7"`, "pattern = '"}, ""},
		"noise":    {"\xfe\x1b[31m\x07", []string{`"\xfe\x1b[31m\a"`, "baud"}, "\x1b"},
		"a flood":  {strings.Repeat("77 ", 400), []string{"bytes more"}, strings.Repeat("77 ", 40)},
		"a banner": {"Elder Vale LX-4 ready", []string{`"Elder Vale LX-4 ready"`, "none can be proposed"}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := plug(t, "meter", &drivertest.Talker{Every: 40 * time.Millisecond, Line: func() string { return tt.line }})
			got := start(t, "check", "--config", checkFile(t, fmt.Sprintf("driver = \"line\"\ntimeout = \"500ms\"\nport = %q", p.Address()), byHand))
			for _, want := range tt.want {
				if got.code != exitFault || !strings.Contains(got.stdout, want) {
					t.Errorf("exit %d, want 1 and %s:\n%s%s", got.code, want, got.stdout, got.stderr)
				}
			}
			if tt.no != "" && strings.Contains(got.stdout, tt.no) {
				t.Errorf("check prints %q:\n%q", tt.no, got.stdout)
			}
		})
	}
}

// A silent instrument gets every key that may help.
func TestAdviceForSilence(t *testing.T) {
	t.Parallel()
	p := plug(t, "meter", &drivertest.Talker{Line: func() string { return "" }})
	for driver, want := range map[string][]string{
		"line": {"sent nothing", "prompt = ", "baud = 9600", "frame", "port = ", "reset_pause = ", "timeout = "},
		"scpi": {"sent nothing", "terminator = ", "baud = 9600", "frame", "port = ", "reset_pause = "},
	} {
		got := start(t, "check", "--config", checkFile(t, fmt.Sprintf("driver = %q\ntimeout = \"300ms\"\nport = %q", driver, p.Address()),
			byHand))
		for _, text := range want {
			if got.code != exitFault || !strings.Contains(got.stdout, text) {
				t.Errorf("driver %s: exit %d, want 1 and %q:\n%s%s", driver, got.code, text, got.stdout, got.stderr)
			}
		}
	}
}
