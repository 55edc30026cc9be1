// Package scpi reads instruments that answer questions as IEEE 488.2 and
// SCPI-1999 say: *IDN?, READ?, SYSTem:ERRor?.
//
// # Setting up an unknown meter
//
// Find baud rate, frame and terminator in its menu or manual, and how it is
// asked for a reading: mostly init = ["CONF:RES"] and query = "READ?", which
// are the defaults. Then:
//
//   - If it answers nothing, shows an error, or reports -201, "Invalid while in
//     local", it wants to be told first: init = ["SYST:REM", "CONF:RES"]. The
//     command check tries that.
//   - If it answers *IDN? and no query, the error names the entry of its error
//     queue; -113 is a command it does not know. Older meters want "FETC?",
//     "MEAS:RES?" or "VAL1?".
//   - Two commands in one line need ";:" between them: "CONF:RES;:READ?". After
//     ";" alone the second is looked for below the first.
//   - For four wires configure "CONF:FRES"; for a fixed range "CONF:RES 20E3". A
//     range that is too small looks like open leads: both are an overload.
//   - For a coil's sake choose a slow rate ("SENS:RES:NPLC 10") and a time-out
//     well above the time one reading takes.
//
// # Every time it is opened
//
// The init lines are sent in order; to a line with a question mark the answer
// is awaited and dropped. *IDN? is asked and kept. If the error queue is not
// empty, it is cleared and each init line is sent again and checked, so that a
// line the meter refuses is named. The meter is asked for its function (FUNC?,
// CONF?), and refused when it says it measures something else; one that does
// not know the question is trusted. It is asked again every 5 s, in case
// somebody turns the knob, and after a silence, in case it was switched off and
// on; one that does not know the question is sent the init lines again then.
// *CLS is sent last. A meter that is silent when asked *IDN? must answer the
// query, or it is taken to be off; once it has answered, all is sent again.
//
// # Answers and questions
//
// An answer must not be taken for that to another question. What arrives before
// a question is dropped. After a time-out, a doubled or an unreadable answer the
// next question waits until *IDN? has been answered: answers come in order, so
// everything before the identity is old, and it is no number. Of each time-out
// a quarter, at most 0.5 s, is kept for this and for reading the error queue; the
// answer must come within the rest. From a meter that does not answer *IDN? the
// late answer is awaited instead, up to 1.4 time-outs after its question; a still later one cannot be told from a timely one.
package scpi

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"regexp"
	"strings"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/internal/lines"
	"coilkeep/driver/internal/number"
)

// Common commands (IEEE 488.2-1992, 10.14 and 10.3) and the query of the error
// queue (SCPI-1999 vol. 2, 21.8).
const (
	identify   = "*IDN?"
	clear      = "*CLS"
	queueQuery = "SYST:ERR?"
)

// functionCheck is how often the function of the meter is asked for.
const functionCheck = 5 * time.Second

var terminators = map[string]string{"lf": "\n", "crlf": "\r\n", "cr": "\r"}

func init() {
	driver.Register(driver.Driver{
		Name: "scpi",
		Help: "an instrument that answers questions as IEEE 488.2 and SCPI say",
		Options: []driver.Option{
			{Name: "terminator", Kind: driver.Text, Default: "lf", OneOf: []string{"lf", "crlf", "cr"},
				Help: "what ends each line sent; answers may end in any of them"},
			{Name: "init", Kind: driver.Texts, Default: []string{"CONF:RES"},
				Help: `lines sent each time the instrument is opened, in order; some need "SYST:REM" first`},
			{Name: "query", Kind: driver.Text, Default: "READ?",
				Help: `the question for one reading; two commands need ";:" between them ("CONF:RES;:READ?"), ` +
					`or the second is looked for below the first`},
		},
		Open: open,
	})
}

// meter is an opened instrument.
type meter struct {
	conn       driver.Conn
	lines      *lines.Reader
	quantity   driver.Quantity
	timeout    time.Duration
	terminator string
	initLines  []string
	query      string

	identity      driver.Identity // Raw is empty when it does not tell
	functionQuery string          // the question for its function; empty when it does not tell
	checkedAt     time.Time       // when the function was last asked for
	asked         time.Time       // when the last question was sent
	untold        bool            // it was silent, and cannot tell whether it has forgotten init
	doubt         bool            // the next answer may belong to an earlier question
	marking       bool            // a marker was sent and not answered yet
	shapes        lines.Shapes
}

func open(ctx context.Context, conn driver.Conn, s driver.Settings) (driver.Instrument, error) {
	m := &meter{
		conn:       conn,
		lines:      lines.New(conn, s.Now),
		quantity:   s.Quantity,
		timeout:    s.Timeout,
		terminator: terminators[s.Options["terminator"].(string)],
		initLines:  s.Options["init"].([]string),
		query:      s.Options["query"].(string),
		shapes:     lines.Shapes{Answers: true},
	}
	if err := m.checkSettings(); err != nil {
		return nil, fmt.Errorf("%w: %w", driver.ErrSettings, err)
	}
	if err := m.prepare(ctx); err != nil {
		return nil, err
	}
	return m, nil
}

var configuresResistance = regexp.MustCompile(`(?i)^:?CONF(?:IGURE)?:F?RES`)

func (m *meter) checkSettings() error {
	if m.terminator == "" {
		return errors.New(`terminator must be "lf", "crlf" or "cr"`)
	}
	if strings.TrimSpace(m.query) == "" {
		return errors.New(`query is empty; "READ?" is usual`)
	}
	for _, line := range append([]string{m.query}, m.initLines...) {
		if strings.ContainsAny(line, "\r\n\x00") {
			return fmt.Errorf("%q holds a line end; that is what terminator is for, and init takes several lines", line)
		}
		if m.quantity == driver.Temperature && configuresResistance.MatchString(line) {
			return fmt.Errorf(`%q makes it measure resistance where a temperature is wanted: set init = ["CONF:TEMP"], `+
				`or sensor to the kind of resistance thermometer`, line)
		}
	}
	return nil
}

// Close implements driver.Instrument.
func (m *meter) Close() error { return m.conn.Close() }

// Dropped implements driver.Dropper.
func (m *meter) Dropped() int64 { return m.lines.Dropped() }

// Identify returns what the instrument said when it was opened, or asks again
// if it said nothing then.
func (m *meter) Identify(ctx context.Context) (driver.Identity, error) {
	if m.marked() {
		return m.identity, nil
	}
	deadline := time.Now().Add(m.timeout)
	if err := m.settle(ctx, deadline); err != nil {
		return driver.Identity{}, err
	}
	if err := m.learnIdentity(ctx, deadline); err != nil {
		return driver.Identity{}, err
	}
	return m.identity, nil
}

// Read implements driver.Instrument.
func (m *meter) Read(ctx context.Context) (driver.Reading, error) {
	deadline := time.Now().Add(m.timeout)
	answerBy := deadline
	if m.marked() { // the rest is kept for explain
		answerBy = deadline.Add(-min(m.timeout/4, 500*time.Millisecond))
	}
	if err := m.settle(ctx, deadline); err != nil {
		return driver.Reading{}, fmt.Errorf("before %q: %w", m.query, err)
	}
	if m.untold {
		for _, line := range m.initLines {
			if err := m.sendInit(ctx, line); err != nil {
				return driver.Reading{}, err
			}
		}
		m.untold = false
	}
	if m.functionQuery != "" && time.Since(m.checkedAt) >= functionCheck {
		if err := m.checkFunction(ctx, answerBy); err != nil {
			return driver.Reading{}, m.explain(ctx, err, deadline)
		}
	}
	l, err := m.ask(ctx, m.query, answerBy)
	if err != nil {
		m.checkedAt, m.untold = time.Time{}, m.functionQuery == ""
		return driver.Reading{}, m.explain(ctx, err, deadline)
	}
	r, doubted := m.interpret(l)
	r.Time = l.Time
	// An answer that cannot be read may be that to another question. A value in
	// a doubtful form is the answer; the marker costs little, but waiting for a
	// late answer would cost the next readings.
	m.doubt = r.Status == driver.Unreadable && (m.marked() || !doubted)
	return r, nil
}

// interpret maps an answer to a reading. The second result is true when it read
// as a value and its form is doubted.
func (m *meter) interpret(l lines.Line) (driver.Reading, bool) {
	if l.Fault != "" {
		return driver.Reading{Raw: lines.Raw(l.Bytes), Status: driver.Unreadable, Reason: l.Fault}, false
	}
	r := Parse(l.Bytes, m.quantity)
	if r.Status != driver.OK || m.shapes.Known(string(bytes.TrimSpace(l.Bytes))) {
		return r, false
	}
	doubt := number.Unreadable("the answer has another form than those before it: it may have lost a part")
	doubt.Raw = r.Raw
	return doubt, true
}
