package scpi

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/internal/lines"
)

// prepare brings a meter that was just opened into its function. One that is
// silent when asked who it is may know no *IDN? and still measure, or be off and
// have heard nothing. So it is asked for a reading, which is dropped; when it
// answers it is on, and everything is told it again before a reading counts.
func (m *meter) prepare(ctx context.Context) error {
	err := m.setUp(ctx)
	if !errors.Is(err, errNameless) {
		return err
	}
	if err := m.settle(ctx, m.soon().Add(m.timeout)); err != nil {
		return fmt.Errorf("before %q: %w", m.query, err)
	}
	l, err := m.ask(ctx, m.query, m.soon())
	if err != nil {
		return fmt.Errorf("%w, nor to %q", err, identify)
	}
	m.lines.Drop(len(l.Bytes))
	if err := m.setUp(ctx); !errors.Is(err, errNameless) {
		return err
	}
	return nil
}

// errNameless means that everything was sent and *IDN? not answered.
var errNameless = errors.New("it does not say what it is")

// setUp sends the init lines, asks who the meter is and checks what it can
// tell of itself.
func (m *meter) setUp(ctx context.Context) error {
	if _, err := m.lines.Quiet(ctx, lines.Gap, m.soon()); err != nil {
		return fmt.Errorf("before the first question (an instrument that prints on its own wants the driver line): %w", err)
	}
	for _, line := range m.initLines {
		if err := m.sendInit(ctx, line); err != nil {
			return err
		}
	}
	switch err := m.learnIdentity(ctx, m.soon()); {
	case errors.Is(err, driver.ErrSilent):
		return errNameless
	case err != nil:
		return err
	}
	if err := m.checkInit(ctx); err != nil {
		return err
	}
	if err := m.learnFunction(ctx); err != nil {
		return err
	}
	return m.command(ctx, clear)
}

// soon is one time-out from now.
func (m *meter) soon() time.Time { return time.Now().Add(m.timeout) }

// command sends what has no answer and gives it, and its echo, a quiet moment.
func (m *meter) command(ctx context.Context, line string) error {
	if err := m.send(line); err != nil {
		return err
	}
	_, err := m.lines.Quiet(ctx, lines.Gap, m.soon())
	return err
}

func (m *meter) sendInit(ctx context.Context, line string) error {
	if !strings.Contains(line, "?") {
		if err := m.command(ctx, line); err != nil {
			return fmt.Errorf("init line %q: %w", line, err)
		}
		return nil
	}
	l, err := m.ask(ctx, line, m.soon())
	if err != nil {
		return fmt.Errorf("init line %q: %w", line, err)
	}
	m.lines.Drop(len(l.Bytes))
	return nil
}

// learnIdentity asks *IDN? and passes over what is no identity, such as a
// banner.
func (m *meter) learnIdentity(ctx context.Context, deadline time.Time) error {
	l, err := m.ask(ctx, identify, deadline)
	for ; err == nil; l, err = m.lines.Next(ctx, deadline) {
		identity, notOne := ParseIdentity(strings.TrimSpace(lines.Raw(l.Bytes)))
		if notOne == nil {
			m.identity = identity
			_, err = m.lines.Quiet(ctx, lines.Gap, m.soon())
			return err
		}
		m.lines.Drop(len(l.Bytes))
	}
	m.doubt = true
	return fmt.Errorf("ask %q: %w", identify, err)
}

// checkInit looks into the error queue. An entry may be older than this
// connection, or come from a meter that took nothing before it was told to go
// remote; so the queue is cleared and each init line sent again by itself.
func (m *meter) checkInit(ctx context.Context) error {
	entry, err := m.queueEntry(ctx)
	if err != nil || entry.Code == 0 {
		return err
	}
	if err := m.command(ctx, clear); err != nil {
		return err
	}
	for _, line := range m.initLines {
		if err := m.sendInit(ctx, line); err != nil {
			return err
		}
		entry, err := m.queueEntry(ctx)
		if err != nil {
			return err
		}
		if entry.Code != 0 {
			return fmt.Errorf("%w: init line %q: it reports %s; %w", driver.ErrRefused, line, entry, m.mend(entry, "mend the line or take it out"))
		}
	}
	return nil
}

var putsInRemote = regexp.MustCompile(`(?i)^:?SYST(?:EM)?:(?:REM|RWL)`)

// ErrLocal is in errors of Open and Read of an instrument that takes no orders
// until it is put into remote mode.
var ErrLocal = errors.New("it wants to be put into remote mode first")

// mend says what to do about an entry of the error queue.
func (m *meter) mend(entry QueueEntry, otherwise string) error {
	if !entry.WantsRemote() {
		return errors.New(otherwise)
	}
	for _, line := range m.initLines {
		if putsInRemote.MatchString(line) {
			return fmt.Errorf("it is not in remote mode, in spite of %q: see its manual", line)
		}
	}
	return fmt.Errorf("%w: %s", ErrLocal, initTOML(append([]string{"SYST:REM"}, m.initLines...)))
}

// initTOML is the key init as a configuration has it.
func initTOML(lines []string) string {
	quoted := make([]string, len(lines))
	for i, line := range lines {
		quoted[i] = strconv.Quote(line)
	}
	return "init = [" + strings.Join(quoted, ", ") + "]"
}

// queueEntry takes the oldest entry out of the error queue; none when it is
// empty or the meter has no queue.
func (m *meter) queueEntry(ctx context.Context) (QueueEntry, error) {
	text, err := m.tolerant(ctx, queueQuery)
	if err != nil || text == "" {
		return QueueEntry{}, err
	}
	entry, err := ParseQueueEntry(text)
	if err != nil {
		return QueueEntry{}, fmt.Errorf("%w: %q: %w", driver.ErrRefused, queueQuery, err)
	}
	return entry, nil
}

// learnFunction finds the question that makes the meter tell its function, and
// checks the answer.
func (m *meter) learnFunction(ctx context.Context) error {
	for _, question := range []string{"FUNC?", "CONF?"} {
		text, err := m.tolerant(ctx, question)
		if err != nil {
			return err
		}
		if _, tells := ParseFunction(text); tells {
			m.functionQuery, m.checkedAt = question, time.Now()
			return m.judgeFunction(text)
		}
	}
	return nil
}

// checkFunction asks for the function again.
func (m *meter) checkFunction(ctx context.Context, deadline time.Time) error {
	l, err := m.ask(ctx, m.functionQuery, deadline)
	if err != nil {
		return err
	}
	if err := m.judgeFunction(string(l.Bytes)); err != nil {
		return err
	}
	m.checkedAt = time.Now()
	return nil
}

func (m *meter) judgeFunction(text string) error {
	if q, tells := ParseFunction(text); tells && q != m.quantity {
		return fmt.Errorf("%w: it is set to %s, not to measure %s; set it so, or see to init", driver.ErrRefused, strings.TrimSpace(text),
			m.quantity)
	}
	return nil
}

// tolerant asks a question that the meter need not know; no answer is an empty
// text.
func (m *meter) tolerant(ctx context.Context, question string) (string, error) {
	wait := min(m.timeout, 500*time.Millisecond)
	l, err := m.ask(ctx, question, time.Now().Add(wait))
	if errors.Is(err, driver.ErrSilent) {
		return "", m.settle(ctx, m.soon())
	}
	if err != nil {
		return "", err
	}
	return string(l.Bytes), nil
}
