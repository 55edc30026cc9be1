package drivertest

import (
	"bytes"
	"cmp"
	"context"
	"io"
	"slices"
	"strings"
	"sync"
	"time"

	"coilkeep/driver/simulate"
)

// SCPIMeter is an ohmmeter that answers questions as IEEE 488.2 and SCPI-1999
// describe. Its fields are its personality; set them before it is plugged in.
//
// It knows *IDN?, *CLS, *RST, *OPC?, SYSTem:ERRor[:NEXT]?, SYSTem:REMote,
// SYSTem:LOCal, CONFigure:RESistance, CONFigure:VOLTage[:DC], CONFigure?,
// [SENSe:]FUNCtion?, READ? and MEASure:RESistance?. A header it does not know
// gets no answer but -113 in the error queue.
type SCPIMeter struct {
	Faults
	// Bench is what it measures.
	Bench *Bench
	// Identity is its answer to *IDN?; empty is "Elder Vale,EV-41,0007,1.2".
	Identity string
	// Terminator ends each answer; empty is a line feed. Questions may end in
	// LF, CR or both.
	Terminator string
	// Overload is its answer with the input out of range; empty is
	// "+9.90000000E+37".
	Overload string
	// AnswerDelay passes before every answer, besides the time of integration
	// before a reading.
	AnswerDelay time.Duration
	// Integration is how long READ? takes; it should be that of the Bench's
	// meter.
	Integration time.Duration
	// Echo sends every line back before its answer.
	Echo bool
	// WakesInVolts makes it measure volts after power-on and *RST, until it is
	// configured.
	WakesInVolts bool
	// NeedsRemote refuses everything but SYSTem:REMote until that was sent,
	// with -203 in the error queue.
	NeedsRemote bool
	// RefusesInLocal answers who it is and what its errors are at any time, but
	// neither configures nor measures before SYSTem:REMote was sent: that puts
	// -201 in the error queue (SCPI-1999 vol. 2, 21.8.10).
	RefusesInLocal bool
	// Listens is what ends each question; empty takes LF, CR or both.
	Listens string
	// DeafWhileMeasuring drops what it is sent between a READ? and its answer.
	DeafWhileMeasuring bool

	mu     sync.Mutex
	errors []string
	remote bool
}

// PowerOn implements simulate.Powered: it forgets what a power failure makes a meter forget.
func (m *SCPIMeter) PowerOn() {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.errors, m.remote = nil, false
	if m.WakesInVolts {
		m.Bench.Volts(true)
	}
}

// longestLine is how much of a line without an end is kept.
const longestLine = 512

// Serve implements simulate.Instrument.
func (m *SCPIMeter) Serve(ctx context.Context, line io.ReadWriter) {
	ctx, pieces := hear(ctx, line)
	defer drain(pieces)
	var pending []byte
	for piece := range pieces {
		pending = append(pending, piece...)
		for {
			message, rest, ended := m.cut(pending)
			if !ended {
				break
			}
			pending = rest
			if strings.TrimSpace(message) == "" {
				continue
			}
			if err := m.respond(ctx, line, message, pieces); err != nil {
				return
			}
		}
		if len(pending) > longestLine {
			m.fail(`-363,"Input buffer overrun"`)
			pending = nil
		}
	}
}

// cut takes the next message off what was heard.
func (m *SCPIMeter) cut(heard []byte) (message string, rest []byte, ended bool) {
	end, size := bytes.IndexAny(heard, "\r\n"), 1
	if m.Listens != "" {
		end, size = bytes.Index(heard, []byte(m.Listens)), len(m.Listens)
	}
	if end < 0 {
		return "", heard, false
	}
	return string(heard[:end]), heard[end+size:], true
}

// respond obeys one line and sends the answers to its questions as one line.
func (m *SCPIMeter) respond(ctx context.Context, line io.Writer, message string, pieces <-chan []byte) error {
	terminator := cmp.Or(m.Terminator, "\n")
	if m.Echo {
		if _, err := io.WriteString(line, message+terminator); err != nil {
			return err
		}
	}
	var answers []string
	for _, header := range headers(message) {
		answer, err := m.obey(ctx, header, pieces)
		if err != nil {
			return err
		}
		if answer != "" {
			answers = append(answers, answer)
		}
	}
	if len(answers) == 0 {
		return nil
	}
	if err := simulate.Pause(ctx, m.AnswerDelay); err != nil {
		return err
	}
	// Answers to several questions on one line stand apart by semicolons
	// (IEEE 488.2-1992, 8.4).
	return m.send(ctx, line, []byte(strings.Join(answers, ";")+terminator))
}

// headers are the headers of a message, complete from the root and without
// their parameters. A header that does not begin with a colon goes on from the
// path of the one before it; common commands neither have nor change a path
// (SCPI-1999 vol. 1, 6.2.4).
func headers(message string) []string {
	var all []string
	path := ""
	for unit := range strings.SplitSeq(message, ";") {
		header, _, _ := strings.Cut(strings.TrimSpace(unit), " ")
		switch {
		case header == "":
			continue
		case strings.HasPrefix(header, "*"):
			all = append(all, strings.ToUpper(header))
			continue
		case strings.HasPrefix(header, ":"):
			header = header[1:]
		default:
			header = path + header
		}
		path = header[:strings.LastIndex(header, ":")+1]
		all = append(all, strings.ToUpper(header))
	}
	return all
}

// obey carries out one command or answers one question; "" is no answer.
func (m *SCPIMeter) obey(ctx context.Context, header string, pieces <-chan []byte) (string, error) {
	is := func(patterns ...string) bool {
		return slices.ContainsFunc(patterns, func(p string) bool { return matches(p, header) })
	}
	if is("SYSTem:REMote") {
		m.setRemote(true)
		return "", nil
	}
	if m.NeedsRemote && !m.isRemote() {
		m.fail(`-203,"Command protected"`)
		return "", nil
	}
	if m.RefusesInLocal && !m.isRemote() && is("READ?", "MEASure:RESistance?", "CONFigure:RESistance", "CONFigure:VOLTage",
		"CONFigure:VOLTage:DC", "*RST") {
		m.fail(`-201,"Invalid while in local"`)
		return "", nil
	}
	switch {
	case is("READ?", "MEASure:RESistance?"):
		if header != "READ?" {
			m.Bench.Volts(false)
		}
		return m.read(ctx, pieces)
	case is("CONFigure:RESistance"):
		m.Bench.Volts(false)
	case is("CONFigure:VOLTage", "CONFigure:VOLTage:DC"):
		m.Bench.Volts(true)
	case is("CONFigure?", "FUNCtion?", "SENSe:FUNCtion?"):
		return `"` + m.function() + `"`, nil
	case is("SYSTem:ERRor?", "SYSTem:ERRor:NEXT?"):
		return m.oldestError(), nil
	case is("SYSTem:LOCal"):
		m.setRemote(false)
	case is("*IDN?"):
		return cmp.Or(m.Identity, "Elder Vale,EV-41,0007,1.2"), nil
	case is("*OPC?"):
		return "1", nil
	case is("*CLS"):
		m.clear()
	case is("*RST"):
		m.Bench.Volts(m.WakesInVolts)
	default:
		m.fail(`-113,"Undefined header"`)
	}
	return "", nil
}

// matches is true when header is pattern in its short form, the capitals, or
// its long form, word by word (SCPI-1999 vol. 1, 6.2.1).
func matches(pattern, header string) bool {
	words, given := strings.Split(pattern, ":"), strings.Split(header, ":")
	if len(words) != len(given) {
		return false
	}
	for i, word := range words {
		short := strings.Map(func(r rune) rune {
			if r >= 'a' && r <= 'z' {
				return -1
			}
			return r
		}, word)
		if given[i] != short && given[i] != strings.ToUpper(word) {
			return false
		}
	}
	return true
}

func (m *SCPIMeter) read(ctx context.Context, pieces <-chan []byte) (string, error) {
	if err := m.integrate(ctx, pieces); err != nil {
		return "", err
	}
	v := m.Bench.ReadMeter()
	if v.Overload {
		return cmp.Or(m.Overload, "+9.90000000E+37"), nil
	}
	return v.NR3(), nil
}

// integrate waits as long as a reading takes, hearing or not.
func (m *SCPIMeter) integrate(ctx context.Context, pieces <-chan []byte) error {
	if !m.DeafWhileMeasuring {
		return simulate.Pause(ctx, m.Integration)
	}
	done := time.NewTimer(m.Integration)
	defer done.Stop()
	for {
		select {
		case <-done.C:
			return nil
		case _, more := <-pieces:
			if !more {
				return io.EOF
			}
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

func (m *SCPIMeter) function() string {
	if m.Bench.MeasuresVolts() {
		return "VOLT"
	}
	return "RES"
}

func (m *SCPIMeter) setRemote(remote bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.remote = remote
}

func (m *SCPIMeter) isRemote() bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.remote
}

// errorQueue is how many errors the meter keeps.
const errorQueue = 10

// fail puts an error in the queue. When the queue is full its last entry is
// replaced by -350 (SCPI-1999 vol. 2, 21.8).
func (m *SCPIMeter) fail(text string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if len(m.errors) == errorQueue {
		m.errors[errorQueue-1] = `-350,"Queue overflow"`
		return
	}
	m.errors = append(m.errors, text)
}

func (m *SCPIMeter) oldestError() string {
	m.mu.Lock()
	defer m.mu.Unlock()
	if len(m.errors) == 0 {
		return `0,"No error"`
	}
	oldest := m.errors[0]
	m.errors = m.errors[1:]
	return oldest
}

func (m *SCPIMeter) clear() {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.errors = nil
}
