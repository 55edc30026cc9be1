package simulate

import (
	"bytes"
	"context"
	"encoding/binary"
	"io"
	"math"
	"slices"
	"time"
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

// Float32 makes two registers of a number, the high word first or, with
// lowFirst, the low one. An overloaded value is 9.9E37, which is how SCPI-1999
// vol. 1, 7.2.1.4 writes infinity.
func Float32(value func() (float64, bool), lowFirst bool) func() []uint16 {
	return func() []uint16 {
		v, ok := value()
		if !ok {
			v = 9.9e37
		}
		return words(math.Float32bits(float32(v)), lowFirst)
	}
}

// Int32 makes two registers of a number of steps, the high word first or, with
// lowFirst, the low one. An overloaded value is 7FFFFFFFh.
func Int32(value func() (float64, bool), step float64, lowFirst bool) func() []uint16 {
	return func() []uint16 {
		return words(uint32(int32(steps(value, step, math.MaxInt32))), lowFirst)
	}
}

// Int16 makes one register of a number of steps. An overloaded value is 7FFFh.
func Int16(value func() (float64, bool), step float64) func() []uint16 {
	return func() []uint16 { return []uint16{uint16(int16(steps(value, step, math.MaxInt16)))} }
}

// steps is the value in steps, as far as most goes; most when overloaded.
func steps(value func() (float64, bool), step float64, most float64) float64 {
	v, ok := value()
	if !ok {
		return most
	}
	return max(-most, min(most, math.Round(v/step)))
}

func words(bits uint32, lowFirst bool) []uint16 {
	pair := []uint16{uint16(bits >> 16), uint16(bits)}
	if lowFirst {
		slices.Reverse(pair)
	}
	return pair
}

// requestLength is the length of the one kind of request that is answered:
// unit, function, address, count, checksum.
const requestLength = 8

// Serve implements Instrument. It finds the requests in what it hears by their
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
	if err := pause(ctx, m.AnswerDelay); err != nil {
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
