package modbus

import (
	"encoding/binary"
	"fmt"
	"math"

	"coilkeep/driver"
	"coilkeep/driver/internal/number"
)

// Format says how registers hold a value.
type Format struct {
	// Type is float32, int16, uint16, int32 or uint32.
	Type string
	// LowWordFirst is the word order of two registers: false for ABCD, true
	// for CDAB. Within a register the high byte is always first.
	LowWordFirst bool
	// Scale and Offset make the value in ohms or degrees Celsius: what the
	// registers hold times Scale, plus Offset.
	Scale, Offset float64
}

var registersOf = map[string]uint16{"float32": 2, "int16": 1, "uint16": 1, "int32": 2, "uint32": 2}

// leastFloat is far below any ohms or degrees that are measured (common
// practice, no published source). With its words swapped a number of few
// binary digits becomes smaller than this.
const leastFloat = 1e-12

// Registers is how many registers a value takes: 1 or 2.
func (f Format) Registers() uint16 { return registersOf[f.Type] }

// Value maps the registers of a response to a reading of q; Time and Raw are
// left to the caller. The ends of an integer's range and the infinities are
// overload, as transmitters send them for an open input (common practice, no
// published source). The resolution of an integer is one step of it; that of a
// float32 is not known.
func (f Format) Value(registers []byte, q driver.Quantity) (driver.Reading, error) {
	if f.Registers() == 0 || len(registers) != 2*int(f.Registers()) {
		return driver.Reading{}, fmt.Errorf("%d bytes are not one %s", len(registers), f.Type)
	}
	raw, step, overload := f.decode(registers)
	// The marks of SCPI are met here, too, before any scaling.
	switch status, reason := number.Classify(raw, ""); {
	case overload || status == driver.Overload:
		return number.Overload(), nil
	case status != driver.OK:
		return number.Impossible(reason), nil
	case raw != 0 && math.Abs(raw) < leastFloat:
		return number.Impossible("the number is next to nothing: see to word_order, type and address"), nil
	}
	return number.Reading(raw*f.Scale+f.Offset, step*math.Abs(f.Scale), q), nil
}

// decode gives what the registers hold, the size of one step of it, and
// whether it is the end of an integer's range.
func (f Format) decode(registers []byte) (raw, step float64, overload bool) {
	var word uint16
	var double uint32
	if len(registers) == 2 {
		word = binary.BigEndian.Uint16(registers)
	} else {
		high, low := registers[:2], registers[2:]
		if f.LowWordFirst {
			high, low = low, high
		}
		double = uint32(binary.BigEndian.Uint16(high))<<16 | uint32(binary.BigEndian.Uint16(low))
	}
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
