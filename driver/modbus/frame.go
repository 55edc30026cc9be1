package modbus

import (
	"encoding/binary"
	"errors"
	"fmt"

	"coilkeep/driver"
)

// Function codes (MODBUS Application Protocol V1.1b3, 6.3 and 6.4).
const (
	ReadHolding = 0x03
	ReadInput   = 0x04
)

// exceptionBit marks the function code of an exception response (ibid., 7).
const exceptionBit = 0x80

// Lengths in bytes: unit, function, count of bytes, CRC.
const (
	requestLength   = 8
	exceptionLength = 5
	overhead        = 5
)

// ErrFrame means bytes that are not the whole, undamaged answer to the request.
var ErrFrame = errors.New("not an answer to the request")

// Exception is an instrument's refusal. It wraps driver.ErrRefused.
type Exception struct {
	Function, Code byte
}

// exceptionNames are the codes of MODBUS Application Protocol V1.1b3, 7.
var exceptionNames = map[byte]string{
	0x01: "illegal function",
	0x02: "illegal data address",
	0x03: "illegal data value",
	0x04: "server device failure",
	0x05: "acknowledge",
	0x06: "server device busy",
	0x08: "memory parity error",
	0x0A: "gateway path unavailable",
	0x0B: "gateway target device failed to respond",
}

func (e *Exception) Error() string {
	name, known := exceptionNames[e.Code]
	if !known {
		name = "unknown exception"
	}
	return fmt.Sprintf("exception %d to function %d: %s", e.Code, e.Function, name)
}

// Unwrap makes an exception a driver.ErrRefused.
func (e *Exception) Unwrap() error { return driver.ErrRefused }

// CRC is the checksum of MODBUS over Serial Line V1.02, 6.2.2: polynomial A001h
// (reflected 8005h), preset to FFFFh. It is sent low byte first.
func CRC(frame []byte) uint16 {
	crc := uint16(0xFFFF)
	for _, b := range frame {
		crc ^= uint16(b)
		for range 8 {
			low := crc & 1
			crc >>= 1
			if low == 1 {
				crc ^= 0xA001
			}
		}
	}
	return crc
}

// Request is the frame that asks a unit for registers from an address on.
func Request(unit, function byte, address, registers uint16) []byte {
	frame := make([]byte, 0, requestLength)
	frame = append(frame, unit, function)
	frame = binary.BigEndian.AppendUint16(frame, address)
	frame = binary.BigEndian.AppendUint16(frame, registers)
	return binary.LittleEndian.AppendUint16(frame, CRC(frame))
}

// ResponseLength is how long the response that begins with start is, for a
// request of so many registers; 0 while start is too short to tell.
func ResponseLength(start []byte, registers uint16) int {
	switch {
	case len(start) < 2:
		return 0
	case start[1]&exceptionBit != 0:
		return exceptionLength
	}
	return overhead + 2*int(registers)
}

// ParseResponse takes the registers out of a response, two bytes each, high
// byte first. The error wraps ErrFrame, or is an *Exception.
func ParseResponse(frame []byte, unit, function byte, registers uint16) ([]byte, error) {
	if len(frame) < exceptionLength {
		return nil, fmt.Errorf("%w: %d bytes", ErrFrame, len(frame))
	}
	body, sum := frame[:len(frame)-2], binary.LittleEndian.Uint16(frame[len(frame)-2:])
	switch want := CRC(body); {
	case sum != want:
		return nil, fmt.Errorf("%w: bad checksum %04X, computed %04X: damaged on the way, or another baud rate or frame", ErrFrame, sum, want)
	case body[0] != unit:
		return nil, fmt.Errorf("%w: it comes from unit %d, not from %d", ErrFrame, body[0], unit)
	case body[1] == function|exceptionBit && len(frame) == exceptionLength:
		return nil, &Exception{Function: function, Code: body[2]}
	case body[1] != function:
		return nil, fmt.Errorf("%w: it answers function %d, not %d", ErrFrame, body[1], function)
	case int(body[2]) != 2*int(registers) || len(body) != 3+int(body[2]):
		return nil, fmt.Errorf("%w: %d bytes of data where %d were asked for", ErrFrame, body[2], 2*int(registers))
	}
	return body[3:], nil
}
