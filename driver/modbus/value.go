package modbus

import (
	"encoding/binary"
	"fmt"
	"math"
	"strconv"
	"strings"

	"coilkeep/driver"
	"coilkeep/driver/internal/number"
)

// Format says how registers hold a value.
type Format struct {
	// Type is float32, int16, uint16, int32 or uint32.
	Type string
	// LowWordFirst and LowByteFirst are the order of the registers of a 32-bit
	// value and that of the bytes within each. Of ABCD, high byte first, the one
	// makes CDAB, the other BADC, and both DCBA.
	LowWordFirst, LowByteFirst bool
	// Scale and Offset make the value in ohms or degrees Celsius: what the
	// registers hold times Scale, plus Offset.
	Scale, Offset float64
}

var registersOf = map[string]uint16{"float32": 2, "int16": 1, "uint16": 1, "int32": 2, "uint32": 2}

// What no register holds that is read in the right order (common practice, no
// published source): leastFloat is far below any ohms or degrees that are
// measured, lowestOhms below what leads and a zero make of shorted clips, and
// mostKelvin beyond what a broken sensor shows.
const (
	leastFloat = 1e-9
	lowestOhms = -100
	mostKelvin = 10_000
)

// Registers is how many registers a value takes: 1 or 2.
func (f Format) Registers() uint16 { return registersOf[f.Type] }

// OtherOrders are the formats that read the same registers in another order of
// words or bytes.
func (f Format) OtherOrders() []Format {
	var others []Format
	for order := range 4 {
		other := f
		other.LowWordFirst, other.LowByteFirst = order&1 != 0, order&2 != 0
		if f.Registers() == 1 && other.LowWordFirst != f.LowWordFirst {
			continue // a single word has no order
		}
		if other != f {
			others = append(others, other)
		}
	}
	return others
}

// Value maps the registers of a response to a reading of q; Time and Raw are
// left to the caller. The ends of an integer's range and the infinities are
// overload, as transmitters send them for an open input; of a resistance so are
// not-a-number and numbers that stand for none (common practice, no published
// source). What a wrong order makes of a value is impossible. The resolution of
// an integer is one step of it; that of a float32 is not known.
func (f Format) Value(registers []byte, q driver.Quantity) (driver.Reading, error) {
	if f.Registers() == 0 || len(registers) != 2*int(f.Registers()) {
		return driver.Reading{}, fmt.Errorf("%d bytes are not one %s", len(registers), f.Type)
	}
	raw, step, end := f.decode(registers)
	value := raw*f.Scale + f.Offset
	// The marks of SCPI are met here, too, before any scaling.
	status, reason := number.Classify(raw, "")
	switch {
	case end || status == driver.Overload:
		return number.Overload(), nil
	case q == driver.Resistance && (status != driver.OK || f.standsForNone(raw)):
		return number.Overload(), nil
	case status != driver.OK:
		return number.Impossible(reason), nil
	case f.disordered(raw, value, q):
		return number.Impossible(f.askForOrder(raw)), nil
	}
	return number.Reading(value, step*math.Abs(f.Scale), q), nil
}

// standsForNone reports whether raw is a number that makers write where a meter
// has nothing to show: a power of ten, or nines, of more ohms than there are
// (1e30, -9.99e20) or far below zero (-9999). What a wrong order makes is hardly
// ever so round: one float32 in ten million is.
func (f Format) standsForNone(raw float64) bool {
	if math.Abs(raw) <= number.HighestOhms && raw > -999 {
		return false
	}
	bits := 64
	if f.Type == "float32" {
		bits = 32
	}
	digits, _, _ := strings.Cut(strconv.FormatFloat(math.Abs(raw), 'e', -1, bits), "e")
	digits = strings.Replace(digits, ".", "", 1)
	return digits == "1" || len(digits) >= 2 && strings.Trim(digits, "9") == ""
}

// disordered reports whether a value looks like one that was read in another
// order than it was written in: next to nothing, or beyond everything.
func (f Format) disordered(raw, value float64, q driver.Quantity) bool {
	switch {
	case raw != 0 && math.Abs(raw) < leastFloat, math.Abs(raw) > number.HighestOhms:
		return true
	case q == driver.Resistance:
		return value < lowestOhms
	}
	return math.Abs(value) > mostKelvin
}

func (f Format) askForOrder(raw float64) string {
	if f.Registers() == 1 {
		return fmt.Sprintf("the register reads as %.3g: wrong byte order? See to byte_order, type and address", raw)
	}
	return fmt.Sprintf("the registers read as %.3g: wrong word order? See to word_order, byte_order, type and address", raw)
}

// decode gives what the registers hold, the size of one step of it, and
// whether it is an infinity or the end of an integer's range.
func (f Format) decode(registers []byte) (raw, step float64, end bool) {
	word, double := f.bits(registers)
	switch f.Type {
	case "int16":
		v := int16(word)
		return float64(v), 1, v == math.MaxInt16 || v == math.MinInt16
	case "uint16":
		return float64(word), 1, word == math.MaxUint16
	case "int32":
		v := int32(double)
		return float64(v), 1, v == math.MaxInt32 || v == math.MinInt32
	case "uint32":
		// 7FFFFFFFh is sent by transmitters that count in int32.
		return float64(double), 1, double == math.MaxUint32 || double == math.MaxInt32
	}
	v := math.Float32frombits(double)
	return float64(v), 0, math.IsInf(float64(v), 0)
}

// bits are those of a single register, or of two.
func (f Format) bits(registers []byte) (word uint16, double uint32) {
	read := binary.BigEndian.Uint16
	if f.LowByteFirst {
		read = binary.LittleEndian.Uint16
	}
	if len(registers) == 2 {
		return read(registers), 0
	}
	high, low := read(registers[:2]), read(registers[2:])
	if f.LowWordFirst {
		high, low = low, high
	}
	return 0, uint32(high)<<16 | uint32(low)
}
