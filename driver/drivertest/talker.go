package drivertest

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"coilkeep/driver/simulate"
)

// Talker is an instrument that prints lines: by itself, or one for every
// prompt it is sent. Its fields are its personality; set them before it is
// plugged in.
type Talker struct {
	Faults
	// Line makes the next line, without its end.
	Line func() string
	// Every is the time between two lines; 0 never talks unasked.
	Every time.Duration
	// Prompt is the text that asks for a line; empty asks for none.
	Prompt string
	// Terminator ends each line; empty is CR LF.
	Terminator string
	// Banner is sent first whenever somebody opens the port; a line end follows
	// it.
	Banner string
	// CutFirst makes the port open while a line is on its way: its second half
	// comes at once, before the banner.
	CutFirst bool
}

// MeterLine makes lines such as "R=+6690.1 OHM" and, out of range,
// "R=O.L OHM"; a meter turned to volts prints "U=+0.000012 V".
func MeterLine(b *Bench) func() string {
	return func() string {
		v := b.ReadMeter()
		switch {
		case v.Volts:
			return "U=" + signed(v) + " V"
		case v.Overload:
			return "R=O.L OHM"
		}
		return "R=" + signed(v) + " OHM"
	}
}

// FieldsLine makes lines with a counter, the value, its unit and a status
// between commas, such as "000123,+6.6901E+03,OHM,0"; out of range the value is
// +9.9E+37 and the status 1.
func FieldsLine(b *Bench) func() string {
	count := 122
	return func() string {
		count++
		v := b.ReadMeter()
		unit, status, value := "OHM", 0, v.NR3()
		if v.Volts {
			unit = "V"
		}
		if v.Overload {
			status, value = 1, "+9.9E+37"
		}
		return fmt.Sprintf("%06d,%s,%s,%d", count, value, unit, status)
	}
}

// ChannelLine makes lines with a channel, the temperature and its unit, such as
// "CH1,22.60,degC" with a comma between.
func ChannelLine(b *Bench, between string) func() string {
	return func() string {
		return strings.Join([]string{"CH1", strconv.FormatFloat(b.ReadProbe(), 'f', 2, 64), "degC"}, between)
	}
}

func signed(v simulate.MeterValue) string {
	text := strconv.FormatFloat(v.Value, 'f', decimals(v.Resolution), 64)
	if strings.HasPrefix(text, "-") {
		return text
	}
	return "+" + text
}

// ProbeLine makes lines such as "T=21.43 C".
func ProbeLine(b *Bench) func() string {
	return func() string {
		return "T=" + strconv.FormatFloat(b.ReadProbe(), 'f', 2, 64) + " C"
	}
}

// decimals is how many decimals show a resolution that is a power of ten; -1,
// as many as it takes, when there is none.
func decimals(resolution float64) int {
	if resolution <= 0 {
		return -1
	}
	n := 0
	for ; resolution < 0.999 && n < 9; n++ {
		resolution *= 10
	}
	return n
}

// Serve implements simulate.Instrument.
func (t *Talker) Serve(ctx context.Context, line io.ReadWriter) {
	ctx, pieces := hear(ctx, line)
	defer drain(pieces)
	if err := t.greet(line); err != nil {
		return
	}
	var tick <-chan time.Time
	if t.Every > 0 {
		ticker := time.NewTicker(t.Every)
		defer ticker.Stop()
		tick = ticker.C
	}
	var heard []byte
	for {
		lines := 0
		select {
		case <-ctx.Done():
			return
		case <-tick:
			lines = 1
		case piece := <-pieces:
			heard, lines = t.prompts(append(heard, piece...))
		}
		for range lines {
			if err := t.send(ctx, line, t.line()); err != nil {
				return
			}
		}
	}
}

// greet sends what comes when a port is opened, lines or not.
func (t *Talker) greet(line io.Writer) error {
	var greeting []byte
	if t.CutFirst {
		whole := t.line()
		greeting = whole[len(whole)/2:]
	}
	if t.Banner != "" {
		greeting = append(greeting, t.Banner+t.end()...)
	}
	if len(greeting) == 0 {
		return nil
	}
	_, err := line.Write(greeting)
	return err
}

func (t *Talker) line() []byte { return []byte(t.Line() + t.end()) }

func (t *Talker) end() string {
	if t.Terminator == "" {
		return "\r\n"
	}
	return t.Terminator
}

// prompts counts the prompts in what was heard and returns what may be the
// beginning of the next one.
func (t *Talker) prompts(heard []byte) (rest []byte, count int) {
	if t.Prompt == "" {
		return nil, 0
	}
	prompt := []byte(t.Prompt)
	for {
		at := bytes.Index(heard, prompt)
		if at < 0 {
			return heard[max(0, len(heard)-len(prompt)+1):], count
		}
		heard, count = heard[at+len(prompt):], count+1
	}
}
