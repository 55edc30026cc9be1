package line_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
	"coilkeep/driver/port"
	"coilkeep/driver/simulate"
)

// TestNeverAWrongNumber reads a simulated talker over a real pseudo-terminal
// while its lines are spoiled: each value that comes must be that of the
// resistor on the clips, and after each fault one comes again.
func TestNeverAWrongNumber(t *testing.T) {
	const (
		ohms  = 6690
		short = 300 * time.Millisecond
	)
	faults := []struct {
		name  string
		fault drivertest.Fault
	}{
		{"none", drivertest.Fault{}}, {"late", drivertest.Late(short * 13 / 10)}, {"lost", drivertest.Lost()},
		{"twice", drivertest.Duplicate()}, {"half", drivertest.Half()}, {"tail", drivertest.Tail()}, {"merged", drivertest.Merged()},
		{"noise", drivertest.Noise(20, 1)}, {"flood", drivertest.Flood(9000)}, {"digit lost", drivertest.Instead("R=+669.1 OHM\r\n")},
		{"volts", drivertest.Instead("U=+0.000012 V\r\n")},
	}
	for name, tt := range map[string]struct {
		talker *drivertest.Talker
		prompt string
	}{
		"fields":                {&drivertest.Talker{Every: 10 * time.Millisecond, CutFirst: true}, ""},
		"fields, prompted":      {&drivertest.Talker{Prompt: "R?"}, "R?\r\n"},
		"free-running":          {&drivertest.Talker{Every: 10 * time.Millisecond, CutFirst: true, Banner: "Elder Vale LX-4, firmware 1.2"}, ""},
		"free-running, CR only": {&drivertest.Talker{Every: 10 * time.Millisecond, Terminator: "\r"}, ""},
		"prompted":              {&drivertest.Talker{Prompt: "R?"}, "R?\r\n"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			bench := drivertest.NewBench(simulate.Config{Meter: simulate.MeterModel{NoiseOhms: 0.1, ResolutionOhms: 0.1}})
			bench.Attach(simulate.Coil{R20Ohms: ohms})
			tt.talker.Line = drivertest.MeterLine(bench)
			if strings.HasPrefix(name, "fields") {
				tt.talker.Line = drivertest.FieldsLine(bench)
			}
			plug, err := simulate.PlugAny(t.TempDir(), "meter", tt.talker)
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { plug.Close() })
			conn, err := port.Open(t.Context(), port.Settings{Address: plug.Address(), Timeout: time.Second})
			if err != nil {
				t.Fatal(err)
			}
			s := settings(driver.Resistance, driver.Options{"prompt": tt.prompt})
			s.Timeout = short
			i := open(t, conn, s)
			t.Cleanup(func() { i.Close() })
			for _, f := range faults {
				tt.talker.Next(f.fault)
				if err := untilGood(t, i, ohms, tt.talker.Waiting); err != nil {
					t.Fatalf("fault %q: %v", f.name, err)
				}
			}
		})
	}
}

// TestPulledClips reads a prompted talker while the clips come off in the middle
// of a reading: the spoiled one is a whole line, and the next is asked for at
// once.
func TestPulledClips(t *testing.T) {
	t.Parallel()
	bench := drivertest.NewBench(simulate.Config{Meter: simulate.MeterModel{ResolutionOhms: 0.1}})
	plug, err := simulate.PlugAny(t.TempDir(), "meter", &drivertest.Talker{Line: drivertest.MeterLine(bench), Prompt: "R?"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { plug.Close() })
	conn, err := port.Open(t.Context(), port.Settings{Address: plug.Address(), Timeout: time.Second})
	if err != nil {
		t.Fatal(err)
	}
	s := settings(driver.Resistance, driver.Options{"prompt": "R?\r\n"})
	s.Timeout = 10 * time.Second
	i := open(t, conn, s)
	t.Cleanup(func() { i.Close() })
	bench.Attach(simulate.Coil{R20Ohms: 6690})
	expect(t, i, driver.OK, 6690)
	start := time.Now()
	bench.Pull(12074)
	expect(t, i, driver.OK, 12074)
	expect(t, i, driver.Overload, 0)
	bench.Attach(simulate.Coil{R20Ohms: 6690})
	expect(t, i, driver.OK, 6690)
	if took := time.Since(start); took > s.Timeout/2 {
		t.Errorf("three answers took %v", took)
	}
}

// untilGood reads until the fault has happened and three values in a row came.
func untilGood(t *testing.T, i driver.Instrument, ohms float64, waiting func() int) error {
	t.Helper()
	good := 0
	var last error
	for range 60 {
		r, err := i.Read(t.Context())
		switch {
		case err != nil && !errors.Is(err, driver.ErrSilent):
			return err
		case err != nil:
			good, last = 0, err
		case r.Status != driver.OK:
			good, last = 0, errors.New(string(r.Status)+": "+r.Reason+": "+r.Raw)
		case math.Abs(r.Value-ohms) > 1:
			return errors.New("a wrong number: " + r.Raw)
		default:
			good++
		}
		if good >= 3 && waiting() == 0 {
			return nil
		}
	}
	return errors.Join(errors.New("no three values in a row among 60 readings"), last)
}
