package drivertest

import (
	"bytes"
	"context"
	"encoding/binary"
	"io"
	"math"
	"slices"
	"time"

	"coilkeep/driver/simulate"
)

// The tables a Modbus transmitter may keep its value in, by the function code
// that reads them (MODBUS Application Protocol V1.1b3, 6.3 and 6.4).
const (
	Holding byte = 3
	Input   byte = 4
)

// Exception codes (MODBUS Application Protocol V1.1b3, 7).
const (
	IllegalFunction    byte = 1
	IllegalDataAddress byte = 2
	DeviceFailure      byte = 4
	DeviceBusy         byte = 6
)

// ModbusUnit is one transmitter on a bus.
type ModbusUnit struct {
	ID byte
	// Table is Input or Holding.
	Table byte
	// Address is that of its first register, counted from 0.
	Address uint16
	// Registers makes the contents of its registers, from Address on; see
	// [Float32], [Int32] and [Int16].
	Registers func() []uint16
}

// ModbusBus is one or more Modbus RTU transmitters on one line.
type ModbusBus struct {
	Faults
	Units []ModbusUnit
	// AnswerDelay passes before every answer.
	AnswerDelay time.Duration
}

// MeterOhms gives the meter's reading in ohms as numbers for registers; false
// when it is overloaded. A meter turned to volts gives volts.
func MeterOhms(b *Bench) func() (float64, bool) {
	return func() (float64, bool) {
		v := b.ReadMeter()
		return v.Value, !v.Overload
	}
}

// ProbeCelsius gives the probe's reading as a number for registers.
func ProbeCelsius(b *Bench) func() (float64, bool) {
	return func() (float64, bool) { return b.ReadProbe(), true }
}

// Order is how the bytes of a 32-bit value, A the highest, lie in two registers.
// Of a 16-bit value, AB, only BADC and DCBA change the order, to BA.
type Order string

const (
	ABCD Order = "ABCD"
	CDAB Order = "CDAB"
	BADC Order = "BADC"
	DCBA Order = "DCBA"
)

// Encoding is how a transmitter writes its value into registers.
type Encoding struct {
	// Order is ABCD where it is empty.
	Order Order
	// Overload is what is written when the meter is overloaded, as a number
	// whose highest byte is A; 0 stands for the mark that is usual for the type.
	Overload uint32
}

// Float32 makes two registers of a number. The usual mark of an overload is
// 9.9E37, which is how SCPI-1999 vol. 1, 7.2.1.4 writes infinity.
func Float32(value func() (float64, bool), e Encoding) func() []uint16 {
	return func() []uint16 {
		v, ok := value()
		if !ok {
			v = 9.9e37
		}
		return e.two(math.Float32bits(float32(v)), ok)
	}
}

// Int32 makes two registers of a number of steps. The usual mark of an overload
// is 7FFFFFFFh.
func Int32(value func() (float64, bool), step float64, e Encoding) func() []uint16 {
	return func() []uint16 {
		n, ok := steps(value, step, math.MaxInt32)
		return e.two(uint32(int32(n)), ok)
	}
}

// Int16 makes one register of a number of steps. The usual mark of an overload
// is 7FFFh.
func Int16(value func() (float64, bool), step float64, e Encoding) func() []uint16 {
	return func() []uint16 {
		n, ok := steps(value, step, math.MaxInt16)
		return e.one(uint16(int16(n)), ok)
	}
}

// Held is a value that stays what it was when the meter is overloaded, at first that of
// the coil before. Whoever asks for the value and then for a status may hear the old
// value and the new status once, when a coil comes between the two.
func Held(value func() (float64, bool)) func() (float64, bool) {
	held := 6690.0
	return func() (float64, bool) {
		if v, ok := value(); ok {
			held = v
		}
		return held, true
	}
}

// Flag makes a status register whose bit is set while a meter is overloaded.
func Flag(value func() (float64, bool), bit uint16) func() []uint16 {
	return func() []uint16 {
		if _, ok := value(); ok {
			return []uint16{0}
		}
		return []uint16{bit}
	}
}

// Joined puts registers one after the other.
func Joined(parts ...func() []uint16) func() []uint16 {
	return func() []uint16 {
		var all []uint16
		for _, part := range parts {
			all = append(all, part()...)
		}
		return all
	}
}

// steps is the value in steps, as far as most goes; most and false when
// overloaded.
func steps(value func() (float64, bool), step float64, most float64) (float64, bool) {
	v, ok := value()
	if !ok {
		return most, false
	}
	return max(-most, min(most, math.Round(v/step))), true
}

// two are the registers of 32 bits.
func (e Encoding) two(bits uint32, ok bool) []uint16 {
	if !ok && e.Overload != 0 {
		bits = e.Overload
	}
	a, b, c, d := bits>>24, bits>>16&0xFF, bits>>8&0xFF, bits&0xFF
	pair := func(p, q, r, s uint32) []uint16 { return []uint16{uint16(p<<8 | q), uint16(r<<8 | s)} }
	switch e.Order {
	case CDAB:
		return pair(c, d, a, b)
	case BADC:
		return pair(b, a, d, c)
	case DCBA:
		return pair(d, c, b, a)
	}
	return pair(a, b, c, d)
}

// one is the register of 16 bits.
func (e Encoding) one(bits uint16, ok bool) []uint16 {
	if !ok && e.Overload != 0 {
		bits = uint16(e.Overload)
	}
	if e.Order == BADC || e.Order == DCBA {
		bits = bits<<8 | bits>>8
	}
	return []uint16{bits}
}

// requestLength is the length of the one kind of request that is answered:
// unit, function, address, count, checksum.
const requestLength = 8

// Serve implements simulate.Instrument. It finds the requests in what it hears by their
// checksum; the silence between frames, by which a real transmitter finds
// them, does not survive a pseudo-terminal.
func (m *ModbusBus) Serve(ctx context.Context, line io.ReadWriter) {
	ctx, pieces := hear(ctx, line)
	defer drain(pieces)
	var pending []byte
	for piece := range pieces {
		pending = append(pending, piece...)
		for {
			request, rest, found := nextRequest(pending)
			if pending = rest; !found {
				break
			}
			if err := m.respond(ctx, line, request); err != nil {
				return
			}
		}
	}
}

// nextRequest finds the first request in what was heard, and what follows it;
// when there is none, what may be the beginning of one.
func nextRequest(heard []byte) (request, rest []byte, found bool) {
	for len(heard) >= requestLength {
		if frame := heard[:requestLength]; checksumHolds(frame) {
			return frame, heard[requestLength:], true
		}
		heard = heard[1:]
	}
	return nil, heard, false
}

func (m *ModbusBus) respond(ctx context.Context, line io.Writer, request []byte) error {
	answer := m.answer(request)
	if answer == nil {
		return nil
	}
	if err := simulate.Pause(ctx, m.AnswerDelay); err != nil {
		return err
	}
	return m.send(ctx, line, answer)
}

// answer is the frame that answers a request; nil when it is for no unit here.
func (m *ModbusBus) answer(request []byte) []byte {
	at := slices.IndexFunc(m.Units, func(u ModbusUnit) bool { return u.ID == request[0] })
	if at < 0 {
		return nil
	}
	unit, function := m.Units[at], request[1]
	if function != unit.Table {
		return exception(request, IllegalFunction)
	}
	registers := unit.Registers()
	first := int(binary.BigEndian.Uint16(request[2:])) - int(unit.Address)
	count := int(binary.BigEndian.Uint16(request[4:]))
	if first < 0 || count < 1 || first+count > len(registers) {
		return exception(request, IllegalDataAddress)
	}
	frame := []byte{unit.ID, function, byte(2 * count)}
	for _, word := range registers[first : first+count] {
		frame = binary.BigEndian.AppendUint16(frame, word)
	}
	return withChecksum(frame)
}

// exception is the answer that refuses a request, or replaces its answer.
func exception(frame []byte, code byte) []byte {
	return withChecksum([]byte{frame[0], frame[1] | 0x80, code})
}

// Exception answers with an exception code instead.
func Exception(code byte) Fault {
	return Fault{spoil: func(a []byte) []byte { return exception(a, code) }}
}

// BadChecksum spoils the checksum of a frame.
func BadChecksum() Fault {
	return Fault{spoil: func(a []byte) []byte {
		spoiled := bytes.Clone(a)
		spoiled[len(spoiled)-1] ^= 0x55
		return spoiled
	}}
}

// FromUnit sends a frame in the name of another unit, its checksum right.
func FromUnit(id byte) Fault {
	return Fault{spoil: func(a []byte) []byte {
		other := bytes.Clone(a[:len(a)-2])
		other[0] = id
		return withChecksum(other)
	}}
}

// checksum is CRC-16 with polynomial A001h reflected, beginning with FFFFh
// (MODBUS over Serial Line V1.02, appendix B).
func checksum(frame []byte) uint16 {
	crc := uint16(0xFFFF)
	for _, b := range frame {
		crc ^= uint16(b)
		for range 8 {
			odd := crc&1 == 1
			crc >>= 1
			if odd {
				crc ^= 0xA001
			}
		}
	}
	return crc
}

// withChecksum appends the checksum, its low byte first.
func withChecksum(frame []byte) []byte {
	return binary.LittleEndian.AppendUint16(frame, checksum(frame))
}

func checksumHolds(frame []byte) bool {
	body := frame[:len(frame)-2]
	return binary.LittleEndian.Uint16(frame[len(body):]) == checksum(body)
}
