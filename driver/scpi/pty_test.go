package scpi_test

import (
	"errors"
	"math"
	"slices"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
	"coilkeep/driver/port"
	"coilkeep/driver/simulate"
)

// TestNeverAWrongNumber reads simulated meters of many kinds over real
// pseudo-terminals while their answers are spoiled: each value that comes must
// be that of the resistor on the clips, and after each fault one comes again.
func TestNeverAWrongNumber(t *testing.T) {
	const short = 200 * time.Millisecond
	for name, tt := range map[string]struct {
		meter *drivertest.SCPIMeter
		init  []string
	}{
		"plain":                {&drivertest.SCPIMeter{}, []string{"CONF:RES"}},
		"CR LF":                {&drivertest.SCPIMeter{Terminator: "\r\n"}, []string{"CONF:RES"}},
		"echo":                 {&drivertest.SCPIMeter{Echo: true}, []string{"CONF:RES"}},
		"wakes in volts":       {&drivertest.SCPIMeter{WakesInVolts: true}, []string{"CONF:RES"}},
		"needs remote":         {&drivertest.SCPIMeter{NeedsRemote: true}, []string{"SYST:REM", "CONF:RES"}},
		"in local":             {&drivertest.SCPIMeter{RefusesInLocal: true}, []string{"SYST:REM", "CONF:RES"}},
		"deaf while measuring": {&drivertest.SCPIMeter{DeafWhileMeasuring: true}, []string{"CONF:RES"}},
		"slow":                 {&drivertest.SCPIMeter{AnswerDelay: short / 8}, []string{"CONF:RES"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			const ohms = 6690
			bench := drivertest.NewBench(simulate.Config{Meter: simulate.MeterModel{NoiseOhms: 0.1, ResolutionOhms: 0.1}})
			bench.Attach(simulate.Coil{R20Ohms: ohms})
			tt.meter.Bench, tt.meter.Integration = bench, 5*time.Millisecond
			plug, err := simulate.PlugAny(t.TempDir(), "meter", tt.meter)
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { plug.Close() })
			conn, err := port.Open(t.Context(), port.Settings{Address: plug.Address(), Timeout: time.Second})
			if err != nil {
				t.Fatal(err)
			}
			s := settings(driver.Options{"init": tt.init})
			s.Timeout = short
			i, err := openDriver(t, conn, s)
			if err != nil {
				conn.Close()
				t.Fatal(err)
			}
			t.Cleanup(func() { i.Close() })

			faults := map[string]drivertest.Fault{
				"none": {}, "late": drivertest.Late(short * 13 / 10), "very late": drivertest.Late(short * 2), "lost": drivertest.Lost(),
				"twice": drivertest.Duplicate(), "half": drivertest.Half(), "tail": drivertest.Tail(), "merged": drivertest.Merged(),
				"noise": drivertest.Noise(20, 1), "flood": drivertest.Flood(9000),
			}
			for _, fault := range sorted(faults) {
				tt.meter.Next(faults[fault])
				if err := untilGood(t, i, ohms, tt.meter.Waiting); err != nil {
					t.Fatalf("fault %q: %v", fault, err)
				}
			}
		})
	}
}

func sorted(faults map[string]drivertest.Fault) []string {
	var names []string
	for name := range faults {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// untilGood reads until the fault has happened and three values in a row came.
func untilGood(t *testing.T, i driver.Instrument, ohms float64, waiting func() int) error {
	t.Helper()
	good := 0
	var last error
	for range 40 {
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
	return errors.Join(errors.New("no three values in a row among 40 readings"), last)
}
