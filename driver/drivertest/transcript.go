package drivertest

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"

	"coilkeep/driver"
	"coilkeep/driver/transcript"
)

// Transcript is what "coilkeep check --record" kept of an exchange with one or
// more instruments.
type Transcript struct {
	transcript.Header
	// Connections are in the order in which ports were opened.
	Connections []Recorded
}

// Recorded is one connection of a transcript.
type Recorded struct {
	transcript.Opened
	openedAt float64
	events   []recordedEvent
}

type recordedEvent struct {
	transcript.Event
	line int // of the file, from 1
}

func (e recordedEvent) String() string { return fmt.Sprintf("line %d, at %.3f s", e.line, e.AtSeconds) }

// longestTranscriptLine bounds one line of a transcript.
const longestTranscriptLine = 1 << 20

// ReadTranscript reads a transcript. The error names the line at fault.
func ReadTranscript(r io.Reader) (Transcript, error) {
	var t Transcript
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, longestTranscriptLine)
	number := 0
	last := 0.0
	for lines.Scan() {
		number++
		if number == 1 {
			if err := t.header(lines.Bytes()); err != nil {
				return Transcript{}, fmt.Errorf("line 1: %w", err)
			}
			continue
		}
		e := recordedEvent{line: number}
		err := decodeStrictly(lines.Bytes(), &e.Event)
		if err == nil {
			err = t.add(e, last)
		}
		if err != nil {
			return Transcript{}, fmt.Errorf("line %d: %w", number, err)
		}
		last = e.AtSeconds
	}
	if err := lines.Err(); err != nil {
		return Transcript{}, fmt.Errorf("line %d: %w", number+1, err)
	}
	if len(t.Connections) == 0 {
		return Transcript{}, errors.New("a transcript without a connection")
	}
	return t, nil
}

func (t *Transcript) header(line []byte) error {
	if err := decodeStrictly(line, &t.Header); err != nil {
		return err
	}
	if t.Version != transcript.Version {
		return fmt.Errorf("a transcript of version %d, want %d", t.Version, transcript.Version)
	}
	return nil
}

// decodeStrictly takes one JSON object without keys it does not know.
func decodeStrictly(line []byte, into any) error {
	d := json.NewDecoder(bytes.NewReader(line))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		return err
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return errors.New("more than one JSON object")
	}
	return nil
}

// add takes one event, which must not be before the last.
func (t *Transcript) add(e recordedEvent, last float64) error {
	kinds := 0
	for _, is := range []bool{e.Opened != nil, len(e.Sent) > 0, len(e.Received) > 0, len(e.Dropped) > 0, e.Lost != "", e.Result != nil} {
		if is {
			kinds++
		}
	}
	const longest = 24 * 3600
	switch {
	case kinds != 1:
		return fmt.Errorf("%d of opened, sent, received, dropped, lost and result; want one", kinds)
	case e.AtSeconds < last || e.AtSeconds > longest || math.IsNaN(e.AtSeconds):
		return fmt.Errorf("time %v s is before the line above, or more than a day", e.AtSeconds)
	case e.Opened != nil && e.Connection != len(t.Connections)+1:
		return fmt.Errorf("connection %d is opened after %d others", e.Connection, len(t.Connections))
	case e.Opened != nil:
		t.Connections = append(t.Connections, Recorded{Opened: *e.Opened, openedAt: e.AtSeconds})
		return nil
	case e.Connection < 1 || e.Connection > len(t.Connections):
		return fmt.Errorf("connection %d was not opened", e.Connection)
	}
	c := &t.Connections[e.Connection-1]
	c.events = append(c.events, e)
	return nil
}

// settings are those the driver is opened with. JSON has one kind of number and
// lists of anything; the driver says what it wants.
func (c Recorded) settings(d driver.Driver) (driver.Settings, error) {
	s := driver.Settings{Quantity: c.Quantity, Timeout: seconds(c.TimeoutSeconds), Options: driver.Options{}}
	if s.Timeout <= 0 {
		return s, fmt.Errorf("timeout_seconds is %v, want more than 0", c.TimeoutSeconds)
	}
	if s.Quantity != driver.Resistance && s.Quantity != driver.Temperature {
		return s, fmt.Errorf("quantity is %q, want %q or %q", s.Quantity, driver.Resistance, driver.Temperature)
	}
	given := map[string]any{}
	for name, value := range c.Options {
		given[name] = value
	}
	for _, o := range d.Options {
		value, ok := given[o.Name]
		delete(given, o.Name)
		switch n, number := value.(float64); {
		case !ok:
			value = o.Default
		case o.Kind == driver.Integer && number && n == math.Trunc(n):
			value = int64(n)
		case o.Kind == driver.Texts:
			value = texts(value)
		}
		if !ofKind(value, o.Kind) {
			return s, fmt.Errorf("option %s is %v, which is not of kind %q", o.Name, value, o.Kind)
		}
		s.Options[o.Name] = value
	}
	for name := range given {
		return s, fmt.Errorf("driver %s has no option %q", d.Name, name)
	}
	return s, nil
}

// texts is a list of texts as JSON decodes it; nil when it is something else.
func texts(value any) any {
	list, ok := value.([]any)
	if !ok {
		return nil
	}
	out := make([]string, 0, len(list))
	for _, v := range list {
		text, ok := v.(string)
		if !ok {
			return nil
		}
		out = append(out, text)
	}
	return out
}
