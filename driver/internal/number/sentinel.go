package number

import (
	"math"
	"regexp"
	"slices"
	"strings"

	"coilkeep/driver"
)

// The values by which SCPI-1999 vol. 1, 7.2.1.4 and 7.2.1.5, marks infinity
// and not-a-number (clause numbers from memory, values as printed in
// programming guides). They lie 0.1 % apart and are spelled with as many
// digits as the instrument likes.
const (
	infinityMark  = 9.9e37
	notNumberMark = 9.91e37
	markTolerance = 3e-4
)

// Limits of what any sensor read by these drivers can show: the range of the
// platinum scale of IEC 60751. A platinum transmitter with a broken or shorted
// sensor shows a value beyond it, such as −242 °C.
const (
	lowestCelsius  = -200.0
	highestCelsius = 850.0
)

// HighestOhms is above the range of every meter (common practice, no published
// source); an instrument that shows more means an overload.
const HighestOhms = 1e15

// What a common one-wire sensor shows before its first conversion, and what
// the programs that read it show when it does not answer (common practice, no
// published source).
var errorCelsius = []float64{85, -127}

// OverloadReason is the reason of every overload.
const OverloadReason = "the instrument shows overload: open leads, or a fixed range that is too small"

// overloadWords are the ways instruments spell "out of range". A sign before
// them and their case do not matter.
var overloadWords = []string{
	"OL", "O.L", "O.L.", ".OL", "OL.", "0L", "0.L", "0L.", ".0L",
	"OF", "OFL", "OVFL", "OVLD", "OVRNG", "OVER", "OVERLOAD", "OVERFLOW", "OVERRANGE",
	"INF", "INFINITY", "∞", "OPEN",
}

// dashes is a display without digits: "----", "--.--".
var dashes = regexp.MustCompile(`^-[-.]+-$`)

// IsOverload reports whether word is one of the spellings of an overload that
// are words: OL, O.L, OVER, inf, ----.
func IsOverload(word string) bool {
	if dashes.MatchString(word) {
		return true
	}
	return slices.Contains(overloadWords, strings.ToUpper(strings.TrimLeft(word, "+-")))
}

// Classify says what v, in the unit of q, is: a reading, an overload, or a
// value that cannot be true. The reason is empty for driver.OK. It is meant
// for values an instrument sent; what a person typed is not a power-on value.
func Classify(v float64, q driver.Quantity) (driver.Status, string) {
	magnitude := math.Abs(v)
	// Not-a-number is larger than the overload mark, so it is asked first.
	switch {
	case math.IsNaN(v), math.Abs(magnitude/notNumberMark-1) < markTolerance:
		return driver.Impossible, "the instrument sends not-a-number: it has no measurement"
	case magnitude > infinityMark*(1-markTolerance), q == driver.Resistance && magnitude > HighestOhms:
		return driver.Overload, OverloadReason
	case q == driver.Temperature && slices.Contains(errorCelsius, v):
		return driver.Impossible, "this is what a sensor shows after power-on or when it does not answer; see to its supply and wires"
	case q == driver.Temperature && (v < lowestCelsius || v > highestCelsius):
		return driver.Impossible, "no sensor shows this temperature; it is open, shorted or set to another unit"
	}
	return driver.OK, ""
}

// Reading makes the reading of value, in the unit of q, with the given
// resolution. Time and Raw are left to the driver.
func Reading(value, resolution float64, q driver.Quantity) driver.Reading {
	status, reason := Classify(value, q)
	if status != driver.OK {
		return driver.Reading{Status: status, Reason: reason}
	}
	return driver.Reading{Value: value, Resolution: resolution, Status: driver.OK}
}

// Overload makes the reading of an overload.
func Overload() driver.Reading {
	return driver.Reading{Status: driver.Overload, Reason: OverloadReason}
}

// Unreadable makes the reading of bytes that are not a whole answer.
func Unreadable(reason string) driver.Reading {
	return driver.Reading{Status: driver.Unreadable, Reason: reason}
}

// Impossible makes the reading of an answer that cannot be true.
func Impossible(reason string) driver.Reading {
	return driver.Reading{Status: driver.Impossible, Reason: reason}
}
