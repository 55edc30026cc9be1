// Package line reads instruments that print lines of text, either on their own
// (free-running) or one for each prompt.
//
// # Setting up an unknown instrument
//
// Connect it, and look at what it prints with any terminal program. Baud rate
// and frame are right when the text is clean. Then:
//
//   - If it prints without being asked, leave prompt empty. If it waits for a
//     command, put that command in prompt with its line end: prompt = "R?\r\n".
//   - Try without a pattern first. The default finds "R=+6690", "6.690 kOhm",
//     "0012 6.690 kΩ 21.4 C", "T=21.43 °C", "21,4 °C", "OL MOhm", "----". It
//     takes the number that carries a unit of what is measured; of several
//     numbers without a unit it takes none.
//   - If the lines show no unit and the values are not in ohms (or °C), name the
//     unit: unit = "kohm", unit = "F".
//   - If a reading is unreadable because the line may mean two things, write a
//     pattern: a regular expression with the group value, and the groups prefix
//     and unit where the line has them. For "12;6,690;21,4" that is
//     pattern = '^\d+;(?P<value>[\d,]+);'. Anchor it with ^ and $ where you can.
//
// The command check shows the raw text of one reading and what was made of it.
//
// # What is refused
//
// A line ends with LF, CR LF or CR and is at most 4 KiB long; a longer one is
// dropped with all that is glued to its end. The first line of a free-running
// instrument is dropped unless the line was quiet before it, because it is
// mostly cut. A NUL byte (this is how a byte with a parity error arrives),
// noise, two values run together: all are driver.Unreadable, one reading for
// each such line.
//
// A line that lost bytes may still read as a number. Therefore a line without
// a unit is refused once lines had one, and a line whose form (its characters,
// with every digit alike) is new since the connection was opened is refused
// until it is the third of that form among 32 lines; only the very first is
// believed. An instrument whose numbers change their length thus pays two
// readings at each new length, once. The answer to a prompt cannot have run into
// another, so one with a digit more than usual is believed at once.
//
// After a prompt that was not answered in time, or not with a value, the late answer
// is waited for and dropped, up to 1.4 time-outs after its prompt, so that it is
// not taken for the answer to the next one. A still later answer
// cannot be told from a timely one: choose a time-out well above the slowest.
package line

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/internal/lines"
	"coilkeep/driver/internal/number"
)

func init() {
	driver.Register(driver.Driver{
		Name: "line",
		Help: "an instrument that prints lines of text, on its own or when prompted",
		Options: []driver.Option{
			{Name: "pattern", Kind: driver.Text, Default: "",
				Help: "regular expression with the group value and, where the line shows them, prefix and unit; empty finds the value by its unit"},
			{Name: "prompt", Kind: driver.Text, Default: "",
				Help: `what to send for each line, with its line end ("R?\r\n"); empty for an instrument that prints on its own`},
			{Name: "unit", Kind: driver.Text, Default: "",
				Help: `unit of values that show none: "ohm", "kohm", "C", "F", "K"; empty means ohm or °C`},
		},
		Open: open,
	})
}

type instrument struct {
	conn    driver.Conn
	lines   *lines.Reader
	parser  *Parser
	prompt  string
	timeout time.Duration

	shapes  lines.Shapes
	hadUnit bool // a good line showed a unit
	first   bool // no line of a free-running instrument was read yet
	late    bool // a prompt was not answered in time, or not as it should be
	doubted bool // the last answer came, but in a form that may have lost bytes
	unread  bool // the last line could not be read
	endless bool // bytes without a line end were told of
	// nothingBehind is true once nothing came behind a line that could not be
	// read, until one can: such lines are the answers, and no banner.
	nothingBehind bool
	asked         time.Time
}

func open(_ context.Context, conn driver.Conn, s driver.Settings) (driver.Instrument, error) {
	pattern, prompt, unit := s.Options["pattern"].(string), s.Options["prompt"].(string), s.Options["unit"].(string)
	parser, err := NewParser(s.Quantity, pattern, unit)
	if err != nil {
		return nil, err
	}
	return &instrument{
		conn:    conn,
		lines:   lines.New(conn, s.Now),
		parser:  parser,
		prompt:  prompt,
		timeout: s.Timeout,
		first:   true,
		shapes:  lines.Shapes{Answers: prompt != ""},
	}, nil
}

func (i *instrument) Close() error { return i.conn.Close() }

// FreeRunning reports whether the instrument prints on its own.
func (i *instrument) FreeRunning() bool { return i.prompt == "" }

// Dropped implements driver.Dropper.
func (i *instrument) Dropped() int64 { return i.lines.Dropped() }

// Read implements driver.Instrument.
func (i *instrument) Read(ctx context.Context) (driver.Reading, error) {
	deadline := time.Now().Add(i.timeout)
	next := i.answer
	if i.prompt == "" {
		next = i.next
	}
	arrived := i.lines.Arrived()
	l, err := next(ctx, deadline)
	if part := i.lines.Partial(); errors.Is(err, driver.ErrSilent) && i.prompt == "" && !i.endless && len(part.Bytes) > 0 &&
		i.lines.Arrived() > arrived {
		// Said once: for an instrument that never ends a line, opening the port
		// again may help, and silence brings that about.
		i.endless, err = true, nil
		l = part
		l.Fault = "bytes and no line end: see to baud rate and frame; a slow one needs a longer timeout"
	}
	if err != nil {
		return driver.Reading{}, err
	}
	r, doubted := i.interpret(l)
	r.Time = l.Time
	// What cannot be read may be no answer, with the answer still to come. A
	// value in a doubtful form is the answer: the instrument can be asked again
	// as soon as it is quiet.
	i.unread = r.Status == driver.Unreadable && !doubted
	i.nothingBehind = i.nothingBehind && i.unread
	i.late = i.unread && !i.nothingBehind
	i.doubted = doubted || i.nothingBehind
	return r, nil
}

// next waits for the next line of a free-running instrument.
func (i *instrument) next(ctx context.Context, deadline time.Time) (lines.Line, error) {
	if i.first {
		if err := i.skipCut(ctx, deadline); err != nil {
			return lines.Line{}, fmt.Errorf("wait for the first line: %w", err)
		}
		i.first = false
	}
	l, err := i.lines.Next(ctx, deadline)
	if err != nil {
		return lines.Line{}, fmt.Errorf("wait for a line: %w", err)
	}
	return l, nil
}

// skipCut drops the line that was under way when the connection was opened. A
// quiet gap before the first byte shows that there was none.
func (i *instrument) skipCut(ctx context.Context, deadline time.Time) error {
	gap := time.Now().Add(lines.Gap)
	if gap.After(deadline) {
		gap = deadline
	}
	err := i.lines.Receive(ctx, gap)
	if errors.Is(err, driver.ErrSilent) {
		return nil
	}
	if err != nil {
		return err
	}
	cut, err := i.lines.Next(ctx, deadline)
	i.lines.Drop(len(cut.Bytes))
	return err
}

// answer sends the prompt and waits for the line that answers it.
func (i *instrument) answer(ctx context.Context, deadline time.Time) (lines.Line, error) {
	if err := i.settle(ctx, deadline); err != nil {
		return lines.Line{}, fmt.Errorf("before prompt %q: %w", i.prompt, err)
	}
	i.late, i.unread, i.asked = true, false, time.Now() // until the answer is here
	if _, err := i.conn.Write([]byte(i.prompt)); err != nil {
		return lines.Line{}, fmt.Errorf("send prompt %q: %w", i.prompt, err)
	}
	for {
		l, err := i.lines.Next(ctx, deadline)
		if err != nil {
			return lines.Line{}, fmt.Errorf("wait for the answer to prompt %q: %w", i.prompt, err)
		}
		if l.Fault == "" && i.isEcho(l.Bytes) {
			i.lines.Drop(len(l.Bytes))
			continue
		}
		return l, nil
	}
}

// settle makes sure that nothing of an earlier answer is still to come.
func (i *instrument) settle(ctx context.Context, deadline time.Time) error {
	var err error
	if i.late {
		var behind int
		behind, err = i.lines.AwaitLate(ctx, i.asked.Add(lines.Late(i.timeout)), deadline)
		i.nothingBehind = i.unread && behind == 0 && err == nil
		i.unread = i.unread && behind == 0
	} else if i.lines.Discard() > 0 || i.doubted {
		// What arrived unasked may not have arrived whole.
		_, err = i.lines.Quiet(ctx, lines.Gap, deadline)
	}
	if err == nil {
		i.late, i.doubted = false, false
	}
	return err
}

func (i *instrument) isEcho(line []byte) bool {
	prompt := strings.TrimSpace(i.prompt)
	return prompt != "" && string(bytes.TrimSpace(line)) == prompt
}

// interpret maps a line to a reading and refuses what may be a damaged line.
// The second result is true when it read as a value and its form is doubted.
func (i *instrument) interpret(l lines.Line) (driver.Reading, bool) {
	if l.Fault != "" {
		r := number.Unreadable(l.Fault)
		r.Raw = lines.Raw(l.Bytes)
		return r, false
	}
	r, unit := i.parser.Parse(l.Bytes)
	if r.Status != driver.OK {
		return r, false
	}
	var doubt driver.Reading
	switch {
	case i.hadUnit && !unit:
		doubt = number.Unreadable("the line has lost the unit that earlier lines had: it is cut")
	case !i.shapes.Known(string(l.Bytes)):
		doubt = number.Unreadable("the line has another form than the lines before it: it may be cut, or two run together")
	default:
		i.hadUnit = i.hadUnit || unit
		return r, false
	}
	doubt.Raw = r.Raw
	return doubt, true
}
