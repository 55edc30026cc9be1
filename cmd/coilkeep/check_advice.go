package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// advice is one thing to try.
type advice struct {
	// Set is a line for the instrument's table in the configuration; empty when
	// no key helps.
	Set string `json:"set,omitempty"`
	Why string `json:"why"`
}

// advise says what arrived and what to try. What it tries itself is only what
// asks an instrument for its name or a reading.
func (s *subject) advise(ctx context.Context, c *checked, fault error) {
	// Of a port that does not open, or settings that cannot work, the fault says
	// all there is to say.
	if fault != nil && !errors.Is(fault, driver.ErrSilent) && !errors.Is(fault, driver.ErrRefused) {
		return
	}
	switch s.settings.Driver {
	case "line":
		s.adviseLine(ctx, c, fault)
	case "scpi":
		s.adviseSCPI(ctx, c, fault)
	}
	c.Seen = s.heard.shown()
}

// serialAdvice is for an instrument from which nothing sensible arrives.
func (s *subject) serialAdvice() []advice {
	in := s.opener.in
	return []advice{
		{fmt.Sprintf("baud = %d", in.Baud), "must be that of its menu or manual; so must frame, which is " + strconv.Quote(in.Frame) + " now"},
		{fmt.Sprintf("port = %q", in.Port), `must be the port it is on: "coilkeep ports" lists what is plugged in. ` +
			"See that it is switched on, and whether it wants a crossed (null modem) cable"},
		{`reset_pause = "2.5s"`, "if it is a small board that restarts when its port is opened"},
	}
}

// reading is a value as people read it.
func (s *subject) reading(r driver.Reading) string {
	r = s.settings.Converted(r)
	switch {
	case r.Status == driver.Overload:
		return "overload"
	case r.Status != driver.OK:
		return string(r.Status) + ": " + r.Reason
	case s.role == record.Probe:
		return words.CelsiusToStep(r.Value, r.Resolution)
	}
	return words.OhmsToStep(r.Value, r.Resolution)
}

// printAdvice writes what arrived from an instrument with a fault, and what to
// try.
func printAdvice(w io.Writer, c checked) error {
	if len(c.Seen) == 0 && len(c.Advice) == 0 {
		return nil
	}
	text := fmt.Sprintf("\nThe %s of bench %s\n", c.Role, c.Bench)
	switch {
	case len(c.Seen) > 0:
		text += "  sent:\n"
		for _, line := range c.Seen {
			text += "    " + line + "\n"
		}
	case c.Fault != "" && c.Raw == "":
		text += "  sent nothing.\n"
	}
	if len(c.Advice) > 0 {
		text += fmt.Sprintf("  To try, in its [bench.%s], in place of the line with the same key:\n", c.Role)
	}
	for _, a := range c.Advice {
		if a.Set != "" {
			text += "    " + a.Set + "\n    "
		}
		text += "    " + a.Why + ".\n"
	}
	_, err := io.WriteString(w, text)
	return err
}

// converse opens the port without a driver and hands it to talk.
func (s *subject) converse(ctx context.Context, atMost time.Duration, talk func(ctx context.Context, conn driver.Conn) error) error {
	ctx, cancel := context.WithTimeout(ctx, s.settings.ResetPause+atMost)
	defer cancel()
	s.unattended = true
	conn, err := s.opener.connect(ctx, false)
	if err != nil {
		return err
	}
	return errors.Join(talk(ctx, conn), conn.Close())
}

// hear waits until the deadline, or until enough is heard. Silence is no error.
func (h *heard) hear(ctx context.Context, conn driver.Conn, deadline time.Time, enough func() bool) error {
	var chunk [512]byte
	for !enough() && ctx.Err() == nil && time.Now().Before(deadline) {
		if err := conn.SetReadDeadline(deadline); err != nil {
			return err
		}
		if _, err := conn.Read(chunk[:]); err != nil {
			if time.Now().Before(deadline) {
				return err
			}
			return nil
		}
	}
	return nil
}
