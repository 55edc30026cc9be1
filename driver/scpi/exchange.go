package scpi

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/internal/lines"
)

// send sends one message with its terminator.
func (m *meter) send(message string) error {
	if _, err := m.conn.Write([]byte(message + m.terminator)); err != nil {
		return fmt.Errorf("send %q: %w", message, err)
	}
	return nil
}

// ask sends a question and waits for its answer. Until that is here, the next
// answer may belong to this question. An echo of the question is passed over.
func (m *meter) ask(ctx context.Context, question string, deadline time.Time) (lines.Line, error) {
	m.doubt, m.asked = true, time.Now()
	if err := m.send(question); err != nil {
		return lines.Line{}, err
	}
	for {
		l, err := m.lines.Next(ctx, deadline)
		if err != nil {
			return lines.Line{}, fmt.Errorf("wait for the answer to %q: %w", question, err)
		}
		if m.stripEcho(&l, question) {
			m.doubt = false
			return l, nil
		}
	}
}

// stripEcho takes an echo of the question off the line, and reports whether
// anything is left.
func (m *meter) stripEcho(l *lines.Line, question string) bool {
	rest, echo := bytes.CutPrefix(bytes.TrimSpace(l.Bytes), []byte(question))
	if !echo {
		return len(bytes.TrimSpace(l.Bytes)) > 0
	}
	m.lines.Drop(len(question))
	l.Bytes = bytes.TrimSpace(rest)
	return len(l.Bytes) > 0
}

// settle makes sure that the next answer belongs to the next question.
func (m *meter) settle(ctx context.Context, deadline time.Time) error {
	if m.lines.Waiting() || m.lines.Discard() > 0 {
		m.doubt = true
	}
	if !m.doubt {
		return nil
	}
	if !m.marked() {
		if _, err := m.lines.AwaitLate(ctx, m.asked.Add(lines.Late(m.timeout)), deadline); err != nil {
			return fmt.Errorf("wait for a late answer: %w", err)
		}
		m.doubt = false
		return nil
	}
	start := time.Now()
	if err := m.passMarker(ctx, deadline); err != nil {
		return err
	}
	// With too little time left the question would be late again, for ever.
	if time.Since(start) > m.timeout/4 {
		return fmt.Errorf("%w: an earlier answer came only now; the next question is in step again", driver.ErrSilent)
	}
	return nil
}

// passMarker sends the marker and drops everything up to its answer. One that
// is under way is given half a time-out to arrive before another is sent: a
// slow meter answers each of them.
func (m *meter) passMarker(ctx context.Context, deadline time.Time) error {
	m.lines.Discard()
	if m.marking {
		_, err := m.untilMarker(ctx, time.Now().Add(m.timeout/2))
		if !errors.Is(err, driver.ErrSilent) {
			return err
		}
	}
	if err := m.sendMarker(); err != nil {
		return err
	}
	_, err := m.untilMarker(ctx, deadline)
	return err
}

func (m *meter) sendMarker() error {
	m.marking = true
	return m.send(identify)
}

// marked reports whether the instrument answers *IDN?: answers come in the
// order of the questions, so that everything before its identity is old, and
// an identity is never taken for a number.
func (m *meter) marked() bool { return m.identity.Raw != "" }

// remains is what was found in front of the marker.
type remains struct {
	entry QueueEntry // of the error queue; Code 0 when there was none
	late  bool       // an answer that can be read as a value
}

// untilMarker drops everything up to the answer to *IDN? and the silence after
// it.
func (m *meter) untilMarker(ctx context.Context, deadline time.Time) (remains, error) {
	var found remains
	for {
		l, err := m.lines.Next(ctx, deadline)
		if err != nil {
			return found, fmt.Errorf("wait for the answer to %q: %w", identify, err)
		}
		m.lines.Drop(len(l.Bytes))
		text := strings.TrimSpace(lines.Raw(l.Bytes))
		if text == m.identity.Raw {
			m.marking = false
			break
		}
		if entry, err := ParseQueueEntry(text); err == nil {
			found.entry = entry
		} else if r := Parse(l.Bytes, m.quantity); r.Status == driver.OK || r.Status == driver.Overload {
			found.late = true
		}
	}
	if _, err := m.lines.Quiet(ctx, lines.Gap, deadline); err != nil {
		return found, err
	}
	m.doubt = false
	return found, nil
}

// explain is called when a question got no answer. In the time that is left it
// reads the error queue and brings the conversation back in step, and makes
// the error that says what was found. An error worse than silence takes its
// place.
func (m *meter) explain(ctx context.Context, silent error, deadline time.Time) error {
	if !m.marked() || !errors.Is(silent, driver.ErrSilent) {
		return silent
	}
	if err := errors.Join(m.send(queueQuery), m.sendMarker()); err != nil {
		return err
	}
	found, err := m.untilMarker(ctx, deadline)
	switch {
	case err != nil && !errors.Is(err, driver.ErrSilent):
		return err
	case found.entry.Code != 0:
		return fmt.Errorf("%w; the instrument reports %s: %w", silent, found.entry, m.mend(found.entry, "see to the query and init"))
	case found.late:
		return fmt.Errorf("%w; it came later: set a longer timeout", silent)
	case err != nil:
		return fmt.Errorf("%w, nor to %q", silent, identify)
	}
	return fmt.Errorf("%w, but it answers %q: see to the query", silent, identify)
}
