package modbus_test

import (
	"encoding/binary"
	"errors"
	"io"
	"maps"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
	"coilkeep/driver/modbus"
)

// statusOptions are those of a transmitter whose register 9 has bits 2 and 3
// for an open input and bit 7 for a value that is not valid.
var statusOptions = driver.Options{"status_address": int64(9), "status_open": int64(0x000C), "status_fault": int64(0x0080)}

// answer is unit 1's answer to a function with registers.
func answer(function byte, registers []byte) []byte {
	body := append([]byte{1, function, byte(len(registers))}, registers...)
	return binary.LittleEndian.AppendUint16(body, checksum(body))
}

// 45D11400h is 6690.5 in IEEE 754 single precision.
func TestStatusRegister(t *testing.T) {
	const value, open = "45D11400", "7FC00000"
	for _, tt := range []struct {
		name, value, status string
		want                driver.Status
		says                string
	}{
		{"nothing set", value, "0000", driver.OK, ""},
		{"bits that mean nothing here", value, "FF73", driver.OK, ""},
		{"open", value, "0004", driver.Overload, "open leads"},
		{"open by another bit", value, "0008", driver.Overload, "open leads"},
		{"fault", value, "0080", driver.Impossible, "0x0080"},
		{"open and fault", value, "0084", driver.Overload, "open leads"},
		{"open, and so says the value", open, "0004", driver.Overload, "open leads"},
		{"only the value says open", open, "0000", driver.Overload, "open leads"},
		{"a value from nowhere, open", "00007FC0", "0004", driver.Overload, "open leads"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			conn := drivertest.Replay(t,
				drivertest.Exchange{Ask: string(modbus.Request(1, modbus.ReadInput, 0, 2)), Answer: string(answer(4, unhex(t, tt.value)))},
				drivertest.Exchange{Ask: string(modbus.Request(1, modbus.ReadInput, 9, 1)), Answer: string(answer(4, unhex(t, tt.status)))},
			)
			defer conn.Close()
			r, err := openWithStatus(t, conn).Read(t.Context())
			if err != nil || r.Status != tt.want || !strings.Contains(r.Reason, tt.says) || (r.Status == driver.OK) != (r.Value == 6690.5) {
				t.Errorf("Read = %+v, %v; want %s that says %q", r, err, tt.want, tt.says)
			}
			if r.Time.IsZero() || !strings.HasPrefix(r.Raw, "01 04 04") || !strings.Contains(r.Raw, ", status 01 04 02") {
				t.Errorf("Read = %+v, want its time and both frames", r)
			}
		})
	}
}

func openWithStatus(t *testing.T, conn driver.Conn) driver.Instrument {
	t.Helper()
	return open(t, conn, statusOptions)
}

// Without its status a value is none: a status that is refused, damaged or
// late is never taken for "nothing set", nor for the next value.
func TestStatusThatDoesNotCome(t *testing.T) {
	good, status := answer(4, []byte{0x45, 0xD1, 0x14, 0}), answer(4, []byte{0, 0})
	damaged := append([]byte{}, status...)
	damaged[4] ^= 4
	for name, tt := range map[string]struct {
		sent []byte
		want error
		says string
	}{
		"refused":             {frame(t, "m7"), driver.ErrRefused, "for its status: exception 2"},
		"silent":              {nil, driver.ErrSilent, "for its status"},
		"damaged":             {damaged, nil, "bad checksum"},
		"the value once more": {good, nil, "bad checksum"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				conn, far := drivertest.Pipe()
				defer conn.Close()
				i := openWithStatus(t, conn)
				answers(far, good, tt.sent, good, status)
				r, err := i.Read(t.Context())
				told := r.Reason
				if err != nil {
					told = err.Error()
				}
				if !errors.Is(err, tt.want) || err == nil && r.Status != driver.Unreadable || !strings.Contains(told, tt.says) {
					t.Errorf("Read = %+v, %v; want %v or unreadable, saying %q", r, err, tt.want, tt.says)
				}
				for range 3 {
					if r, err = i.Read(t.Context()); !errors.Is(err, driver.ErrSilent) {
						break
					}
				}
				if err != nil || r.Value != 6690.5 {
					t.Errorf("the next reading = %+v, %v; want 6690.5", r, err)
				}
			})
		})
	}
}

// A value of one register has the shape of a status: sent twice, its second
// copy must not be the status, even when it comes in two pieces.
func TestDoubledValueIsNoStatus(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		conn, far := drivertest.Pipe()
		defer conn.Close()
		options := driver.Options{"type": "uint16"}
		maps.Copy(options, statusOptions)
		i := open(t, conn, options)
		value := answer(4, []byte{0x1A, 0x84}) // as a status: open and fault
		go func() {
			request := make([]byte, 8)
			if _, err := io.ReadFull(far, request); err != nil {
				return
			}
			far.Write(append(append([]byte{}, value...), value[:3]...))
			time.Sleep(2 * time.Millisecond) // the bubble's clock
			far.Write(value[3:])
			answers(far, answer(4, []byte{0, 0}))
		}()
		if r, err := i.Read(t.Context()); err != nil || r.Value != 0x1A84 {
			t.Errorf("Read = %+v, %v; want %d", r, err, 0x1A84)
		}
	})
}

// The contract holds with a status register, too.
func TestConformanceWithStatus(t *testing.T) {
	d, _ := driver.Lookup("modbus")
	drivertest.Conformance(t, d, drivertest.Peer{
		Options: statusOptions,
		Answer:  func(value float64) []byte { return response(4, value) },
		Respond: func(sent []byte) (int, drivertest.Response) {
			if len(sent) < 8 {
				return 0, drivertest.Response{}
			}
			if sent[3] == 9 {
				return 8, drivertest.Response{Bytes: answer(4, []byte{0, 0})}
			}
			return 8, drivertest.Response{Value: true}
		},
		Overload: answer(4, []byte{0x7F, 0xC0, 0, 0}),
	})
}
