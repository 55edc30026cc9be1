// Package transcript is the format in which an exchange with a real instrument
// is kept, and the recorder that writes it. A transcript lets anybody with a
// meter show how it talks, to people and to the tests of a driver: package
// drivertest plays one back.
//
// It is JSON Lines. The first line is the [Header], every other one an [Event].
// Times are seconds since the first line; bytes are a string where they are
// readable text, {"hex":"01 04 …"} where they are not.
package transcript

import (
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"coilkeep/driver"
)

// Version is that of the format. A file of another version cannot be read.
const Version = 1

// Header is the first line.
type Header struct {
	Version int `json:"coilkeep_transcript"`
	// Time is when it was recorded, in UTC.
	Time time.Time `json:"time"`
	// Program is the version of the program that recorded it.
	Program string `json:"program"`
	// Note is for people: make and model of the instruments, and whether they are
	// simulated.
	Note string `json:"note"`
}

// Event is one thing that happened on one connection. Besides the time and the
// connection it has exactly one member.
type Event struct {
	// AtSeconds is the time since the first line.
	AtSeconds float64 `json:"at_seconds"`
	// Connection counts, from 1, how often a port was opened.
	Connection int `json:"connection"`
	// Opened begins a connection.
	Opened *Opened `json:"opened,omitempty"`
	// Sent is what was written to the instrument.
	Sent Bytes `json:"sent,omitempty"`
	// Received is what was read from it.
	Received Bytes `json:"received,omitempty"`
	// Dropped arrived and was thrown away unread, as what comes before a question
	// is.
	Dropped Bytes `json:"dropped,omitempty"`
	// Lost is what failed because the line was gone: "read" or "write".
	Lost string `json:"lost,omitempty"`
	// Result is what the driver made of what came before.
	Result *Result `json:"result,omitempty"`
}

// Opened is what an instrument was opened with. It says nothing of where it is
// or whose.
type Opened struct {
	// Line is "serial", "usb" or "tcp".
	Line string `json:"line"`
	// Baud and Frame are those of a serial line.
	Baud  int    `json:"baud,omitempty"`
	Frame string `json:"frame,omitempty"`
	// Driver is empty where bytes were exchanged without one, to find out what
	// would help.
	Driver         string          `json:"driver,omitempty"`
	Quantity       driver.Quantity `json:"quantity,omitempty"`
	TimeoutSeconds float64         `json:"timeout_seconds,omitempty"`
	Options        driver.Options  `json:"options,omitempty"`
}

// The calls of a driver that have results.
const (
	CallOpen     = "open"
	CallIdentify = "identify"
	CallRead     = "read"
)

// Result is what one call of a driver returned.
type Result struct {
	Call string `json:"call"`
	// Error is one of the errors of package driver by its text; empty for none.
	Error string `json:"error,omitempty"`
	// Identity is the whole answer of an instrument that says what it is.
	Identity string `json:"identity,omitempty"`
	// Status, Value in ohms or degrees Celsius, Resolution, Reason and Raw are
	// those of a reading.
	Status     driver.Status `json:"status,omitempty"`
	Value      float64       `json:"value,omitempty"`
	Resolution float64       `json:"resolution,omitempty"`
	Reason     string        `json:"reason,omitempty"`
	Raw        string        `json:"raw,omitempty"`
}

// ErrorText is what a Result says of an error: the text of the one of package
// driver it wraps, "another error", or nothing for nil.
func ErrorText(err error) string {
	if err == nil {
		return ""
	}
	for _, known := range []error{driver.ErrSilent, driver.ErrLineLost, driver.ErrRefused, driver.ErrSettings} {
		if errors.Is(err, known) {
			return known.Error()
		}
	}
	return "another error"
}

// Bytes are as they were on the line.
type Bytes []byte

type hexBytes struct {
	Hex string `json:"hex"`
}

// MarshalJSON writes readable text as a string and anything else in hexadecimal.
func (b Bytes) MarshalJSON() ([]byte, error) {
	strange := func(r rune) bool {
		return r == utf8.RuneError || !unicode.IsPrint(r) && !strings.ContainsRune("\r\n\t", r)
	}
	if !strings.ContainsFunc(string(b), strange) {
		return json.Marshal(string(b))
	}
	return json.Marshal(hexBytes{fmt.Sprintf("% x", []byte(b))})
}

// UnmarshalJSON reads either form.
func (b *Bytes) UnmarshalJSON(text []byte) error {
	var readable string
	if json.Unmarshal(text, &readable) == nil {
		*b = Bytes(readable)
		return nil
	}
	var other hexBytes
	if err := json.Unmarshal(text, &other); err != nil {
		return fmt.Errorf(`bytes are %s, want a string or {"hex":"…"}`, text)
	}
	raw, err := hex.DecodeString(strings.ReplaceAll(other.Hex, " ", ""))
	if err != nil {
		return fmt.Errorf("bytes %q: %w", other.Hex, err)
	}
	*b = raw
	return nil
}
