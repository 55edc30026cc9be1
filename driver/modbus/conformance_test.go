package modbus_test

import (
	"encoding/binary"
	"math"
	"testing"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
)

// modbusResponse is unit 1's answer to function 3 with a float32.
func modbusResponse(value float64) []byte { return response(3, value) }

func response(function byte, value float64) []byte {
	frame := binary.BigEndian.AppendUint32([]byte{1, function, 4}, math.Float32bits(float32(value)))
	return binary.LittleEndian.AppendUint16(frame, checksum(frame))
}

// checksum is computed by table-free long division of the reflected message,
// another way than the driver's: bit by bit through a shift register.
func checksum(frame []byte) uint16 {
	register := uint32(0xFFFF)
	for bit := range len(frame) * 8 {
		in := uint32(frame[bit/8]>>(bit%8)) & 1
		out := register & 1
		register >>= 1
		if in != out {
			register ^= 0xA001
		}
	}
	return uint16(register)
}

func TestConformance(t *testing.T) {
	d, _ := driver.Lookup("modbus")
	drivertest.Conformance(t, d, drivertest.Peer{
		Answer: func(value float64) []byte { return response(4, value) },
		Respond: func(sent []byte) (int, drivertest.Response) {
			if len(sent) < 8 {
				return 0, drivertest.Response{}
			}
			return 8, drivertest.Response{Value: true}
		},
		Overload: response(4, math.Inf(1)),
	})
}
