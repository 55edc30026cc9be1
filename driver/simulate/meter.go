package simulate

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math"
	"strings"
	"time"
)

// Meter is an ohmmeter that answers questions in the manner of IEEE 488.2 and
// SCPI-1999, as many as the driver of the demo asks, in capitals and their short
// form only. It wakes in volts and must be sent CONF:RES first. What it does not
// know gets no answer, but is told when SYST:ERR? asks.
type Meter struct {
	// Bench is what it measures.
	Bench *Bench
	// Integration is how long READ? takes; it should be that of the Bench's
	// meter.
	Integration time.Duration
	// AnswerDelay passes before every answer.
	AnswerDelay time.Duration

	unknown bool // something was sent that it does not know
}

// PowerOn implements Powered.
func (m *Meter) PowerOn() { m.Bench.Volts(true) }

// Serve implements Instrument.
func (m *Meter) Serve(ctx context.Context, line io.ReadWriter) {
	for lines := bufio.NewScanner(line); lines.Scan(); {
		message := strings.TrimSpace(lines.Text())
		wait := m.AnswerDelay
		if message == "READ?" {
			wait += m.Integration
		}
		if Pause(ctx, wait) != nil {
			return
		}
		if answer := m.answer(message); answer != "" {
			if _, err := io.WriteString(line, answer+"\n"); err != nil {
				return
			}
		}
	}
}

// answer obeys one command or answers one question; "" is no answer.
func (m *Meter) answer(message string) string {
	switch message {
	case "READ?":
		if v := m.Bench.ReadMeter(); !v.Overload {
			return v.NR3()
		}
		return "+9.90000000E+37" // SCPI-1999 vol. 1, 7.2.1.4: infinity
	case "CONF:RES":
		m.Bench.Volts(false)
	case "FUNC?":
		if m.Bench.MeasuresVolts() {
			return `"VOLT"`
		}
		return `"RES"`
	case "*IDN?":
		return "Elder Vale,EV-41,0007,1.2"
	case "*CLS":
		m.unknown = false
	case "SYST:ERR?":
		if m.unknown {
			m.unknown = false
			return `-113,"Undefined header"`
		}
		return `0,"No error"`
	case "":
	default:
		m.unknown = true
	}
	return ""
}

// NR3 writes the value in the form NR3 of IEEE 488.2-1992, 8.7.4, with as many
// digits as the display has and at least the one after the point that the form
// asks for.
func (v MeterValue) NR3() string {
	decimals := 8
	if v.Resolution > 0 {
		// The logarithm of a power of ten may come out just below a whole
		// number.
		exponent := func(v float64) int { return int(math.Floor(math.Log10(v) + 1e-9)) }
		size := max(math.Abs(v.Value), v.Resolution)
		decimals = max(1, exponent(size)-exponent(v.Resolution))
	}
	return fmt.Sprintf("%+.*E", decimals, v.Value)
}

// Pause waits, or returns the error of ctx when that is done first.
func Pause(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return ctx.Err()
	}
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
