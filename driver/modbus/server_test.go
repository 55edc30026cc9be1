package modbus_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
	"coilkeep/driver/port"
)

// python is the interpreter that Debian's packages belong to.
const python = "/usr/bin/python3"

// registers is what the independent server serves: unit, table, address.
type registers map[string]map[string]map[string]uint16

// startServer runs testdata/server.py on one end of a line and returns the
// address of the other. The server is another implementation of the protocol:
// python3-pymodbus.
func startServer(t *testing.T, units registers) (address string) {
	t.Helper()
	if out, err := exec.Command(python, "-c", "import pymodbus.server").CombinedOutput(); err != nil {
		message := "no independent Modbus server: install python3-pymodbus and python3-serial-asyncio; " +
			err.Error() + " " + strings.TrimSpace(string(out))
		if os.Getenv("CI") == "true" {
			t.Fatal(message)
		}
		t.Skip(message)
	}
	theirs, ours := drivertest.PTY(t), drivertest.PTY(t)
	// The line between them; both copies end when the terminals are unplugged.
	go io.Copy(theirs, ours)
	go io.Copy(ours, theirs)

	served, err := json.Marshal(units)
	if err != nil {
		t.Fatal(err)
	}
	server := exec.Command(python, "testdata/server.py", theirs.Path(), string(served))
	var trouble bytes.Buffer
	server.Stderr = &trouble
	out, err := server.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	end := func() {
		server.Process.Kill()
		server.Wait() // the error is that it was killed
	}
	if line, err := bufio.NewReader(out).ReadString('\n'); line != "ready\n" {
		end()
		t.Fatalf("the server says %q, %v: %s", line, err, trouble.String())
	}
	t.Cleanup(end)
	return ours.Path()
}

func swapped(word uint16) uint16 { return word<<8 | word>>8 }

func words(v uint32) (high, low uint16) { return uint16(v >> 16), uint16(v) }

func TestAgainstIndependentServer(t *testing.T) {
	high, low := words(math.Float32bits(6690.5))
	address := startServer(t, registers{
		"1": {
			"holding": {"0": high, "1": low, "10": low, "11": high, "20": 0x000A, "21": 0x3564, "30": 0x3564, "31": 0x000A, "40": 0x7FFF,
				"41": 0xFFFF,
				"50": swapped(high), "51": swapped(low), "60": swapped(low), "61": swapped(high), "70": swapped(6690),
				"80": 0x7FC0, "81": 0, "82": 0xFF80, "83": 0, "90": high, "91": low, "92": 0x0400, "93": 0x0002},
			"input": {"107": 6690},
		},
		"17": {"input": {"8": 214, "9": 0xFFDD}},
	})
	var pool port.Pool
	bus := port.Settings{Address: address, Baud: 19200, Timeout: 5 * time.Second}
	for _, tt := range []struct {
		name    string
		q       driver.Quantity
		options driver.Options
		status  driver.Status
		value   float64
	}{
		{"float32, high word first", driver.Resistance, driver.Options{"table": "holding"}, driver.OK, 6690.5},
		{"float32, low word first", driver.Resistance, driver.Options{"table": "holding", "address": int64(10), "word_order": "little"},
			driver.OK, 6690.5},
		{"int32, high word first", driver.Resistance, driver.Options{"table": "holding", "address": int64(20), "type": "int32", "scale": 0.01},
			driver.OK, 6690.28},
		{"uint32, low word first", driver.Resistance, driver.Options{"table": "holding", "address": int64(30), "type": "uint32", "scale": 0.01,
			"word_order": "little"}, driver.OK, 6690.28},
		{"int16 at the end of its range", driver.Resistance, driver.Options{"table": "holding", "address": int64(40), "type": "int16"},
			driver.Overload, 0},
		{"uint16", driver.Resistance, driver.Options{"address": int64(107), "type": "uint16"}, driver.OK, 6690},
		{"float32, bytes swapped", driver.Resistance, driver.Options{"table": "holding", "address": int64(50), "byte_order": "little"},
			driver.OK, 6690.5},
		{"float32, low byte first", driver.Resistance, driver.Options{"table": "holding", "address": int64(60), "byte_order": "little",
			"word_order": "little"}, driver.OK, 6690.5},
		{"uint16, low byte first", driver.Resistance, driver.Options{"table": "holding", "address": int64(70), "type": "uint16",
			"byte_order": "little"}, driver.OK, 6690},
		{"not a number", driver.Resistance, driver.Options{"table": "holding", "address": int64(80)}, driver.Overload, 0},
		{"not a number from a probe", driver.Temperature, driver.Options{"table": "holding", "address": int64(80)}, driver.Impossible, 0},
		{"negative infinity", driver.Resistance, driver.Options{"table": "holding", "address": int64(82)}, driver.Overload, 0},
		{"status, nothing set", driver.Resistance, driver.Options{"table": "holding", "address": int64(90), "status_address": int64(93),
			"status_open": int64(0x0400)}, driver.OK, 6690.5},
		{"status, open", driver.Resistance, driver.Options{"table": "holding", "address": int64(90), "status_address": int64(92),
			"status_open": int64(0x0400)}, driver.Overload, 0},
		{"status, fault", driver.Resistance, driver.Options{"table": "holding", "address": int64(90), "status_address": int64(93),
			"status_fault": int64(0x0002)}, driver.Impossible, 0},
		{"another unit, int16", driver.Temperature, driver.Options{"unit_id": int64(17), "address": int64(8), "type": "int16", "scale": 0.1},
			driver.OK, 21.4},
		{"another unit, negative", driver.Temperature, driver.Options{"unit_id": int64(17), "address": int64(9), "type": "int16",
			"scale": 0.1}, driver.OK, -3.5},
	} {
		t.Run(tt.name, func(t *testing.T) {
			i := openOnBus(t, &pool, bus, tt.q, tt.options)
			r, err := i.Read(t.Context())
			if err != nil || r.Status != tt.status || !near(r.Value, tt.value) {
				t.Errorf("Read = %+v, %v; want %s %v", r, err, tt.status, tt.value)
			}
		})
	}
	t.Run("exception", func(t *testing.T) {
		i := openOnBus(t, &pool, bus, driver.Resistance, driver.Options{"address": int64(5000)})
		if r, err := i.Read(t.Context()); !errors.Is(err, driver.ErrRefused) || !strings.Contains(err.Error(), "illegal data address") {
			t.Errorf("Read = %+v, %v; want %v: illegal data address", r, err, driver.ErrRefused)
		}
	})
	t.Run("two on one bus", func(t *testing.T) {
		meter := openOnBus(t, &pool, bus, driver.Resistance, driver.Options{"table": "holding"})
		probe := openOnBus(t, &pool, bus, driver.Temperature,
			driver.Options{"unit_id": int64(17), "address": int64(8), "type": "int16", "scale": 0.1})
		done := make(chan error)
		for i, want := range map[driver.Instrument]float64{meter: 6690.5, probe: 21.4} {
			go func() {
				for range 20 {
					if r, err := i.Read(t.Context()); err != nil || !near(r.Value, want) {
						done <- errors.Join(err, errors.New(r.Raw+" "+r.Reason))
						return
					}
				}
				done <- nil
			}()
		}
		for range 2 {
			if err := <-done; err != nil {
				t.Error(err)
			}
		}
	})
	t.Run("no such unit", func(t *testing.T) {
		i := openOnBus(t, &pool, port.Settings{Address: address, Baud: 19200, Timeout: 5 * time.Second}, driver.Resistance,
			driver.Options{"unit_id": int64(99)})
		if r, err := i.Read(t.Context()); !errors.Is(err, driver.ErrSilent) {
			t.Errorf("Read = %+v, %v; want %v", r, err, driver.ErrSilent)
		}
	})
}

func openOnBus(t *testing.T, pool *port.Pool, bus port.Settings, q driver.Quantity, options driver.Options) driver.Instrument {
	t.Helper()
	conn, err := pool.Open(t.Context(), bus, port.Use{User: t.Name(), Shared: true})
	if err != nil {
		t.Fatal(err)
	}
	s := settings(options)
	s.Quantity, s.Timeout = q, time.Second
	d, _ := driver.Lookup("modbus")
	i, err := d.Open(t.Context(), conn, s)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { i.Close() })
	return i
}
