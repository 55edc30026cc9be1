package modbus_test

import (
	"errors"
	"math"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
	"coilkeep/driver/port"
	"coilkeep/driver/simulate"
)

// TestNeverAWrongNumber reads a simulated bus with a meter and a probe over a
// real pseudo-terminal while answers are spoiled: each value that comes must
// be that of the resistor or of the room, and after each fault one comes again.
func TestNeverAWrongNumber(t *testing.T) {
	const (
		ohms, celsius = 6690.0, 21.5
		short         = 200 * time.Millisecond
	)
	bench := drivertest.NewBench(simulate.Config{
		Room:  simulate.Room{BaseCelsius: celsius},
		Meter: simulate.MeterModel{NoiseOhms: 0.1, ResolutionOhms: 0.1},
		Probe: simulate.ProbeModel{NoiseKelvin: 0.01, ResolutionKelvin: 0.01},
	})
	bench.Attach(simulate.Coil{R20Ohms: ohms})
	bus := &drivertest.ModbusBus{Units: []drivertest.ModbusUnit{
		{ID: 1, Table: drivertest.Input, Registers: drivertest.Float32(drivertest.MeterOhms(bench), drivertest.Encoding{})},
		{ID: 2, Table: drivertest.Input, Registers: drivertest.Float32(drivertest.ProbeCelsius(bench), drivertest.Encoding{})},
	}}
	plug, err := simulate.PlugAny(t.TempDir(), "bus", bus)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { plug.Close() })
	var pool port.Pool
	open := func(unit int64, q driver.Quantity) driver.Instrument {
		t.Helper()
		conn, err := pool.Open(t.Context(), port.Settings{Address: plug.Address(), Timeout: time.Second}, port.Use{User: string(q), Shared: true})
		if err != nil {
			t.Fatal(err)
		}
		s := settings(driver.Options{"unit_id": unit})
		s.Quantity, s.Timeout = q, short
		d, _ := driver.Lookup("modbus")
		i, err := d.Open(t.Context(), conn, s)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { i.Close() })
		return i
	}
	meter, probe := open(1, driver.Resistance), open(2, driver.Temperature)
	for _, f := range []struct {
		name  string
		fault drivertest.Fault
	}{
		{"none", drivertest.Fault{}}, {"late", drivertest.Late(short * 13 / 10)}, {"lost", drivertest.Lost()}, {"twice", drivertest.Duplicate()},
		{"half", drivertest.Half()}, {"tail", drivertest.Tail()}, {"noise", drivertest.Noise(20, 1)}, {"flood", drivertest.Flood(5000)},
		{"bad checksum", drivertest.BadChecksum()},
	} {
		bus.Next(f.fault)
		good := 0
		for n := 0; good < 4; n++ {
			if n == 40 {
				t.Fatalf("fault %q: no four values in a row among 40 readings", f.name)
			}
			i, want, within := meter, ohms, 1.0
			if n%2 == 1 {
				i, want, within = probe, celsius, 0.1
			}
			r, err := i.Read(t.Context())
			switch {
			case err != nil && !errors.Is(err, driver.ErrSilent):
				t.Fatalf("fault %q: %v", f.name, err)
			case err != nil || r.Status != driver.OK:
				good = 0
			case math.Abs(r.Value-want) > within:
				t.Fatalf("fault %q: a wrong number: %+v", f.name, r)
			default:
				good++
			}
		}
	}
}
