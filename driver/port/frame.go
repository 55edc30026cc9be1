package port

import (
	"fmt"
	"regexp"

	"go.bug.st/serial"
)

// Frame is how one character travels on a serial line.
type Frame struct {
	// DataBits is 5 to 8.
	DataBits int
	// Parity is 'N' none, 'E' even, 'O' odd, 'M' mark or 'S' space.
	Parity byte
	// StopBits is 1 or 2.
	StopBits int
}

var framePattern = regexp.MustCompile(`^([5-8])([NEOMSneoms])([12])$`)

// ParseFrame understands data bits, parity and stop bits written as one word,
// for example "8N1" or "7E1"; empty means "8N1". Errors wrap
// driver.ErrSettings.
func ParseFrame(text string) (Frame, error) {
	if text == "" {
		text = "8N1"
	}
	if !framePattern.MatchString(text) {
		return Frame{}, settingsError("frame = %q: want data bits 5 to 8, parity N, E, O, M or S, and stop bits 1 or 2, for example 8N1", text)
	}
	return Frame{
		DataBits: int(text[0] - '0'),
		Parity:   text[1] &^ 0x20, // upper case
		StopBits: int(text[2] - '0'),
	}, nil
}

// String is the frame as [ParseFrame] takes it.
func (f Frame) String() string { return fmt.Sprintf("%d%c%d", f.DataBits, f.Parity, f.StopBits) }

// mode is the frame as the serial library wants it.
func (f Frame) mode(baud int) *serial.Mode {
	parity := map[byte]serial.Parity{
		'N': serial.NoParity, 'E': serial.EvenParity, 'O': serial.OddParity,
		'M': serial.MarkParity, 'S': serial.SpaceParity,
	}
	stop := serial.OneStopBit
	if f.StopBits == 2 {
		stop = serial.TwoStopBits
	}
	return &serial.Mode{BaudRate: baud, DataBits: f.DataBits, Parity: parity[f.Parity], StopBits: stop}
}
