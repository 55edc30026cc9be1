package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/line"
)

// linesWanted is how many lines a pattern is worked out from.
const linesWanted = 5

// adviseLine is advise for an instrument that prints lines.
func (s *subject) adviseLine(ctx context.Context, c *checked, fault error) {
	if fault == nil && c.Status != string(driver.Unreadable) {
		return // whole lines that cannot be true; the fault says what they are
	}
	if fault == nil {
		s.proposePatterns(ctx, c)
		return
	}
	prompt := s.opener.in.Options["prompt"].(string)
	heardLines := len(s.heard.lines()) > 0
	switch {
	case strings.Contains(prompt, `\r`) || strings.Contains(prompt, `\n`):
		c.Advice = append(c.Advice, advice{"prompt = \"" + prompt + "\"",
			`in double quotes: between single ones \r and \n are letters and no line end`})
	case prompt != "" && !strings.ContainsAny(prompt, "\r\n"):
		c.Advice = append(c.Advice, advice{fmt.Sprintf("prompt = %q", prompt+"\r\n"),
			`the prompt has no line end; most instruments want one ("\r\n", "\r" or "\n")`})
	case prompt != "":
		c.Advice = append(c.Advice, advice{fmt.Sprintf("prompt = %q", otherEnd(prompt)),
			"if it wants another line end; and see to the command itself in its manual"})
	case len(s.heard.bytes) > 0 && !heardLines:
		c.Advice = append(c.Advice, advice{"", "Bytes came and no line end. Where they are not plain text, baud or frame is wrong; where " +
			"they are, wait longer: timeout"})
	case !heardLines:
		c.Advice = append(c.Advice, advice{`prompt = "READ?\r\n"`, "if it says nothing until it is asked. The command for one reading is in " +
			"its manual; give its line end, in double quotes. Without such a command, set it to send by itself"})
	}
	c.Advice = append(c.Advice, advice{fmt.Sprintf("timeout = %q", longer(s.settings.Timeout)),
		fmt.Sprintf("if it sends less often than every %v", s.settings.Timeout)})
	c.Advice = append(c.Advice, s.serialAdvice()...)
}

// otherEnd is a prompt with another line end.
func otherEnd(prompt string) string {
	command := strings.TrimRight(prompt, "\r\n")
	if strings.HasSuffix(prompt, "\r\n") {
		return command + "\r"
	}
	return command + "\r\n"
}

// longer is three time-outs, and at least 5 s.
func longer(timeout time.Duration) string {
	return fmt.Sprintf("%.0fs", max(5, (3*timeout).Seconds()))
}

// proposePatterns listens to a few lines and works out what reads them.
func (s *subject) proposePatterns(ctx context.Context, c *checked) {
	in := s.opener.in
	// The first lines may be a banner, or cut.
	earlier := s.heard
	s.heard = heard{}
	if err := s.converse(ctx, 3*s.settings.Timeout+time.Second, s.collect); err != nil && len(s.heard.lines()) == 0 {
		s.heard = earlier
		c.Advice = append(c.Advice, advice{"", fmt.Sprintf("Listening for more lines failed: %v", err)})
	}
	lines := s.heard.lines()
	if prompt := in.Options["prompt"].(string); prompt == "" && len(lines) > 1 {
		lines = lines[1:] // it may have been under way
	}
	unit := in.Options["unit"].(string)
	proposals := line.Propose(lines, s.opener.quantity, unit)
	for i, p := range proposals {
		why := fmt.Sprintf("reads %s from the last line. Use it if that is what its display shows", s.reading(p.Latest))
		if i > 0 {
			why = fmt.Sprintf("or this one, which reads %s", s.reading(p.Latest))
		}
		if !p.ShowsUnit && unit == "" && s.opener.quantity == driver.Resistance {
			why += `; where the lines are in kilohms, add unit = "kohm"`
		}
		c.Advice = append(c.Advice, advice{"pattern = '" + p.Pattern + "'", why})
	}
	if len(proposals) > 0 {
		return
	}
	c.Advice = append(c.Advice, advice{"pattern = '^…(?P<value>[-+.\\d]+)…$'",
		"with what stands around the value in place of the dots; no field of the lines holds a number every time, so none can be proposed. " +
			"Where the lines are no plain text, baud or frame is wrong"})
	c.Advice = append(c.Advice, s.serialAdvice()...)
}

// collect hears a handful of lines, sending the prompt for each if there is one.
func (s *subject) collect(ctx context.Context, conn driver.Conn) error {
	prompt := s.opener.in.Options["prompt"].(string)
	enough := func() bool { return len(s.heard.lines()) > linesWanted }
	if prompt == "" {
		return s.heard.hear(ctx, conn, time.Now().Add(3*s.settings.Timeout), enough)
	}
	for range linesWanted {
		if _, err := conn.Write([]byte(prompt)); err != nil {
			return err
		}
		before := len(s.heard.lines())
		err := s.heard.hear(ctx, conn, time.Now().Add(s.settings.Timeout/2), func() bool { return len(s.heard.lines()) > before })
		if err != nil {
			return err
		}
	}
	if !enough() && len(s.heard.bytes) == 0 {
		return errors.New("it was silent")
	}
	return nil
}
