package modbus_test

import (
	"encoding/csv"
	"encoding/hex"
	"errors"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
	"coilkeep/driver/modbus"
)

// table reads a CSV file of testdata without its head.
func table(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) < 5 {
		t.Fatalf("%s has %d rows, want at least 5", name, len(rows))
	}
	return rows[1:]
}

func unhex(t testing.TB, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// The frames are those of testdata/modbus_frames.csv.
func TestCRC(t *testing.T) {
	for _, row := range table(t, "modbus_frames.csv") {
		want, err := strconv.ParseUint(row[2], 16, 16)
		if err != nil {
			t.Fatal(err)
		}
		if got := modbus.CRC(unhex(t, row[1])); got != uint16(want) {
			t.Errorf("%s: CRC of %s = %04X, want %s", row[0], row[1], got, row[2])
		}
	}
}

func frame(t *testing.T, id string) []byte {
	t.Helper()
	for _, row := range table(t, "modbus_frames.csv") {
		if row[0] == id {
			return unhex(t, row[3])
		}
	}
	t.Fatalf("no frame %s", id)
	return nil
}

func TestRequest(t *testing.T) {
	for _, tt := range []struct {
		id                 string
		unit, function     byte
		address, registers uint16
	}{
		{"m2", 1, modbus.ReadHolding, 107, 3},
		{"m4", 1, modbus.ReadInput, 8, 1},
		{"m12", 1, modbus.ReadHolding, 0, 2},
	} {
		if got, want := modbus.Request(tt.unit, tt.function, tt.address, tt.registers), frame(t, tt.id); string(got) != string(want) {
			t.Errorf("%s: Request = % X, want % X", tt.id, got, want)
		}
	}
}

func TestParseResponse(t *testing.T) {
	for _, tt := range []struct {
		id             string
		unit, function byte
		registers      uint16
		data           string
		exception      byte
	}{
		{"m3", 1, modbus.ReadHolding, 3, "022B00000064", 0},
		{"m5", 1, modbus.ReadInput, 1, "000A", 0},
		{"m6", 1, modbus.ReadHolding, 1, "", 2},
		{"m7", 1, modbus.ReadInput, 1, "", 2},
		{"m8", 0x31, modbus.ReadHolding, 2, "11223344", 0},
		{"m13", 1, modbus.ReadHolding, 2, "3F9DF3B6", 0},
	} {
		got, err := modbus.ParseResponse(frame(t, tt.id), tt.unit, tt.function, tt.registers)
		if string(got) != string(unhex(t, tt.data)) {
			t.Errorf("%s: data = % X, want %s", tt.id, got, tt.data)
		}
		var exception *modbus.Exception
		if errors.As(err, &exception) != (tt.exception != 0) || exception != nil && exception.Code != tt.exception {
			t.Errorf("%s: error = %v, want exception %d", tt.id, err, tt.exception)
		}
		if err != nil && (!errors.Is(err, driver.ErrRefused) || !strings.Contains(err.Error(), "illegal data address")) {
			t.Errorf("%s: error = %v, want %v with its name", tt.id, err, driver.ErrRefused)
		}
	}
}

func TestParseResponseRefuses(t *testing.T) {
	good := "01 04 02 00 0A 39 37" // m5
	for name, text := range map[string]string{
		"empty":            "",
		"cut":              "01 04 02 00",
		"checksum lost":    "01 04 02 00 0A",
		"one bit flipped":  "01 04 02 00 0B 39 37",
		"checksum swapped": "01 04 02 00 0A 37 39",
		"other unit":       "31 03 04 11 22 33 44 7B C5", // m8
		"other function":   "01 03 04 3F 9D F3 B6 A2 8F", // m13
		"request echoed":   "01 04 00 08 00 01 B0 08",    // m4
		"two answers":      good + good,
	} {
		if got, err := modbus.ParseResponse(unhex(t, text), 1, modbus.ReadInput, 1); !errors.Is(err, modbus.ErrFrame) || got != nil {
			t.Errorf("%s: ParseResponse = % X, %v; want %v", name, got, err, modbus.ErrFrame)
		}
	}
	if _, err := modbus.ParseResponse(unhex(t, good), 1, modbus.ReadInput, 2); !errors.Is(err, modbus.ErrFrame) {
		t.Errorf("one register where two were asked for: %v, want %v", err, modbus.ErrFrame)
	}
}

func TestValue(t *testing.T) {
	type format = modbus.Format
	tests := []struct {
		name   string
		format format
		hex    string
		status driver.Status
		value  float64
		step   float64
	}{
		{"int16", format{Type: "int16", Scale: 0.1}, "00D6", driver.OK, 21.4, 0.1},
		{"int16, negative", format{Type: "int16", Scale: 0.1}, "FFDD", driver.OK, -3.5, 0.1},
		{"int16, offset", format{Type: "int16", Scale: 0.1, Offset: -50}, "02CA", driver.OK, 21.4, 0.1},
		{"int16, negative scale", format{Type: "int16", Scale: -1}, "0005", driver.OK, -5, 1},
		{"uint16", format{Type: "uint16", Scale: 1}, "1A22", driver.OK, 6690, 1},
		{"int32", format{Type: "int32", Scale: 0.01}, "000A3564", driver.OK, 6690.28, 0.01},
		{"int32, low word first", format{Type: "int32", LowWordFirst: true, Scale: 0.01}, "3564000A", driver.OK, 6690.28, 0.01},
		{"uint32", format{Type: "uint32", Scale: 0.001}, "00661567", driver.OK, 6690.151, 0.001},
		{"int16, end of range", format{Type: "int16", Scale: 0.1}, "7FFF", driver.Overload, 0, 0},
		{"int16, other end", format{Type: "int16", Scale: 0.1}, "8000", driver.Overload, 0, 0},
		{"uint16, end of range", format{Type: "uint16", Scale: 1}, "FFFF", driver.Overload, 0, 0},
		{"int32, end of range", format{Type: "int32", Scale: 1e-3}, "7FFFFFFF", driver.Overload, 0, 0},
		{"int32, other end", format{Type: "int32", Scale: 1e-3}, "80000000", driver.Overload, 0, 0},
		{"uint32, end of range", format{Type: "uint32", Scale: 1e-3}, "FFFFFFFF", driver.Overload, 0, 0},
		{"uint32, end of int32", format{Type: "uint32", Scale: 1e-3}, "7FFFFFFF", driver.Overload, 0, 0},
		{"float32, infinity", format{Type: "float32", Scale: 1}, "7F800000", driver.Overload, 0, 0},
		{"float32, negative infinity", format{Type: "float32", Scale: 1}, "FF800000", driver.Overload, 0, 0},
		{"float32, 9.9E37 scaled", format{Type: "float32", Scale: 1e-3}, "7E94F56A", driver.Overload, 0, 0},
		{"float32, wrong word order of 21.5", format{Type: "float32", LowWordFirst: true, Scale: 1}, "41AC0000", driver.Impossible, 0, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := tt.format.Value(unhex(t, tt.hex), driver.Resistance)
			if err != nil || got.Status != tt.status || !near(got.Value, tt.value) || got.Resolution != tt.step {
				t.Errorf("Value(%s) = %+v, %v; want %s %v step %v", tt.hex, got, err, tt.status, tt.value, tt.step)
			}
		})
	}
	if _, err := (format{Type: "int32", Scale: 1}).Value([]byte{1, 2}, driver.Resistance); err == nil {
		t.Error("two bytes make an int32")
	}
}

// near allows for the rounding of scale and offset.
func near(got, want float64) bool {
	return math.Abs(got-want) <= 1e-12*math.Abs(want)
}

const timeout = 2 * time.Second

func settings(options driver.Options) driver.Settings {
	d, _ := driver.Lookup("modbus")
	s := driver.Settings{Quantity: driver.Resistance, Timeout: timeout, Now: time.Now, Options: driver.Options{}}
	for _, o := range d.Options {
		s.Options[o.Name] = o.Default
	}
	for name, value := range options {
		s.Options[name] = value
	}
	return s
}

func open(t *testing.T, conn driver.Conn, options driver.Options) driver.Instrument {
	t.Helper()
	d, ok := driver.Lookup("modbus")
	if !ok {
		t.Fatal("the driver is not registered")
	}
	i, err := d.Open(t.Context(), conn, settings(options))
	if err != nil {
		t.Fatal(err)
	}
	return i
}

func TestBadSettings(t *testing.T) {
	d, _ := driver.Lookup("modbus")
	for says, options := range map[string]driver.Options{
		"unit_id 0":             {"unit_id": int64(0)},
		"unit_id 248":           {"unit_id": int64(248)},
		"address -1":            {"address": int64(-1)},
		"address 65535":         {"address": int64(65535)}, // float32 takes two
		"scale 0":               {"scale": 0.0},
		`type "float"`:          {"type": "float"},
		"status_address 65536":  {"status_address": int64(65536), "status_open": int64(1)},
		"status_address -2":     {"status_address": int64(-2), "status_open": int64(1)},
		"status_open 0x10000":   {"status_address": int64(4), "status_open": int64(0x10000)},
		"status_fault 0x10000":  {"status_address": int64(4), "status_fault": int64(0x10000)},
		"say which bits":        {"status_address": int64(4)},
		"need a status_address": {"status_fault": int64(1)},
	} {
		if _, err := d.Open(t.Context(), nil, settings(options)); !errors.Is(err, driver.ErrSettings) || !strings.Contains(err.Error(), says) {
			t.Errorf("Open = %v, want %v that says %s", err, driver.ErrSettings, says)
		}
	}
}

func TestReadFrames(t *testing.T) {
	conn := drivertest.Replay(t,
		drivertest.Exchange{Ask: string(frame(t, "m12")), Answer: string(frame(t, "m13"))},
		drivertest.Exchange{Ask: string(frame(t, "m12")), Answer: string(frame(t, "m6"))},
		drivertest.Exchange{Ask: string(frame(t, "m12")), Answer: string(frame(t, "m13"))},
	)
	defer conn.Close()
	i := open(t, conn, driver.Options{"table": "holding", "address": int64(0)})
	expect := func() {
		t.Helper()
		r, err := i.Read(t.Context())
		if err != nil || r.Status != driver.OK || float32(r.Value) != 1.234 || r.Raw != "01 03 04 3F 9D F3 B6 A2 8F" {
			t.Errorf("Read = %+v, %v; want 1.234 with its frame", r, err)
		}
	}
	expect()
	if r, err := i.Read(t.Context()); !errors.Is(err, driver.ErrRefused) || !strings.Contains(err.Error(), "illegal data address") {
		t.Errorf("Read = %+v, %v; want %v", r, err, driver.ErrRefused)
	}
	expect()
}

// answers plays a bus: it answers the nth request with the nth text.
func answers(far *drivertest.Far, frames ...[]byte) {
	go func() {
		request := make([]byte, 8)
		for _, f := range frames {
			if _, err := io.ReadFull(far, request); err != nil {
				return
			}
			far.Write(f)
		}
	}()
}

func TestDamagedFrames(t *testing.T) {
	good, other := frame(t, "m13"), frame(t, "m8")
	for name, damaged := range map[string][]byte{
		"bad checksum":      append(append([]byte{}, good[:8]...), good[8]^1),
		"another unit":      other,
		"one register":      frame(t, "m5"),
		"cut":               good[:6],
		"noise in front":    append([]byte{0xFF}, good...),
		"stale frame":       append(append([]byte{}, other...), good...),
		"ASCII from a line": []byte("R=+6690\r\n"),
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				conn, far := drivertest.Pipe()
				defer conn.Close()
				answers(far, damaged, good)
				i := open(t, conn, driver.Options{"table": "holding"})
				r, err := i.Read(t.Context())
				if err != nil || r.Status != driver.Unreadable || r.Reason == "" || r.Raw == "" {
					t.Errorf("Read = %+v, %v; want unreadable", r, err)
				}
				for range 3 {
					r, err = i.Read(t.Context())
					if err == nil {
						break
					}
					if !errors.Is(err, driver.ErrSilent) {
						t.Fatal(err)
					}
				}
				if err != nil || float32(r.Value) != 1.234 {
					t.Errorf("the frame after it = %+v, %v; want 1.234", r, err)
				}
			})
		})
	}
}

func TestStaleFrameInTheBuffer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		conn, far := drivertest.Pipe()
		defer conn.Close()
		i := open(t, conn, driver.Options{"table": "holding"})
		far.Write(modbusResponse(999))
		answers(far, frame(t, "m13"))
		r, err := i.Read(t.Context())
		if err != nil || float32(r.Value) != 1.234 {
			t.Errorf("Read = %+v, %v; want 1.234", r, err)
		}
		if got := i.(driver.Dropper).Dropped(); got != 9 {
			t.Errorf("Dropped = %d, want the 9 bytes of the stale frame", got)
		}
	})
}

func TestDoubledFrame(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		conn, far := drivertest.Pipe()
		defer conn.Close()
		i := open(t, conn, driver.Options{"table": "holding"})
		a, b := modbusResponse(1111), modbusResponse(2222)
		answers(far, append(a, a...), append(b, b...))
		for _, want := range []float64{1111, 2222} {
			if r, err := i.Read(t.Context()); err != nil || r.Value != want {
				t.Errorf("Read = %+v, %v; want %v", r, err, want)
			}
		}
	})
}

// sharedConn is a line that several instruments use.
type sharedConn struct {
	driver.Conn
	sync.Mutex
}

// Two channels of one transmitter have the same unit, function and length: a
// late answer to the one must not become the other's.
func TestLateAnswerOnASharedBus(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		conn, far := drivertest.Pipe()
		defer conn.Close()
		bus := &sharedConn{Conn: conn}
		meter := open(t, bus, driver.Options{"table": "holding"})
		probe := open(t, bus, driver.Options{"table": "holding", "address": int64(2)})
		go func() {
			request := make([]byte, 8)
			for n := 0; ; n++ {
				if _, err := io.ReadFull(far, request); err != nil {
					return
				}
				if n == 0 {
					time.Sleep(timeout * 95 / 100) // the bubble's clock
				}
				far.Write(modbusResponse(1000 + float64(request[3])))
			}
		}()
		if r, err := meter.Read(t.Context()); !errors.Is(err, driver.ErrSilent) {
			t.Errorf("the late meter = %+v, %v; want %v", r, err, driver.ErrSilent)
		}
		for range 2 {
			if r, err := probe.Read(t.Context()); err != nil || r.Value != 1002 {
				t.Errorf("the probe after it = %+v, %v; want 1002", r, err)
			}
			if r, err := meter.Read(t.Context()); err != nil || r.Value != 1000 {
				t.Errorf("the meter after it = %+v, %v; want 1000", r, err)
			}
		}
	})
}

// FuzzParseResponse holds that no bytes panic, that data has the length asked
// for, and that what is accepted is the response its data makes.
func FuzzParseResponse(f *testing.F) {
	for _, seed := range []string{"010402000A3937", "0103043F9DF3B6A28F", "018302C0F1", "3103041122334455", ""} {
		f.Add(unhex(f, seed), byte(1), byte(3), uint16(2))
	}
	for _, mark := range openMarks {
		f.Add(answer(4, unhex(f, mark.hex)), byte(1), byte(4), uint16(len(mark.hex)/4))
	}
	f.Add(answer(4, []byte{0, 4}), byte(1), byte(4), uint16(1)) // a status
	f.Fuzz(func(t *testing.T, frame []byte, unit, function byte, registers uint16) {
		data, err := modbus.ParseResponse(frame, unit, function, registers)
		if err != nil {
			if data != nil || !errors.Is(err, modbus.ErrFrame) && !errors.Is(err, driver.ErrRefused) {
				t.Fatalf("ParseResponse(% X) = % X, %v", frame, data, err)
			}
			return
		}
		body := append([]byte{unit, function, byte(len(data))}, data...)
		crc := modbus.CRC(body)
		if again := append(body, byte(crc), byte(crc>>8)); string(again) != string(frame) {
			t.Fatalf("ParseResponse accepts % X, which should be % X", frame, again)
		}
		if len(data) != 2*int(registers) {
			t.Fatalf("%d bytes for %d registers", len(data), registers)
		}
	})
}
