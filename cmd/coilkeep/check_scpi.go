package main

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/scpi"
)

// lineEnds are the terminators of driver scpi, in the order they are tried: one
// that takes a single character often takes both as well, but not the other way
// round.
var lineEnds = []struct{ name, end string }{{"lf", "\n"}, {"cr", "\r"}, {"crlf", "\r\n"}}

func endOf(terminator string) string {
	for _, l := range lineEnds {
		if l.name == terminator {
			return l.end
		}
	}
	return ""
}

// unasked is how many lines may come from an instrument that answers neither
// its name nor the query, echoes and a banner among them.
const unasked = 4

// adviseSCPI is advise for an instrument that answers questions.
func (s *subject) adviseSCPI(ctx context.Context, c *checked, fault error) {
	in := s.opener.in
	switch {
	case fault == nil && c.Status == string(driver.Unreadable) && strings.ContainsAny(c.Raw, ",;"):
		prompt := in.Options["query"].(string) + endOf(in.Options["terminator"].(string))
		c.Advice = append(c.Advice, advice{"", fmt.Sprintf("Where it cannot be made to answer with one item: driver = \"line\" with prompt "+
			"= %q, and without terminator, init and query", prompt)})
		return
	case fault == nil: // an answer that is no value; the fault says why
		return
	case errors.Is(fault, scpi.ErrLocal): // the driver has read the error queue
		c.Advice = append(c.Advice, s.remoteAdvice())
		return
	case errors.Is(fault, driver.ErrRefused):
		return
	case c.Identity != "":
		c.Advice = append(c.Advice,
			advice{`query = "READ?"`,
				`it answers *IDN? but not the query, which is ` + strconv.Quote(in.Options["query"].(string)) +
					`; others are "FETC?", "MEAS:RES?" and "VAL1?": see its manual`},
			advice{fmt.Sprintf("timeout = %q", longer(s.settings.Timeout)), "if a reading takes it long"})
		return
	}
	if len(s.heard.lines()) > unasked {
		c.Advice = append(c.Advice, advice{`driver = "line"`, "if what it sends comes unasked; leave terminator, init and query out then"})
		return
	}
	terminator, remote, err := s.tryQuestions(ctx)
	if err != nil {
		c.Advice = append(c.Advice, advice{"", fmt.Sprintf("Asking it in other ways failed: %v", err)})
	}
	if terminator != "" && terminator != in.Options["terminator"] {
		c.Advice = append(c.Advice, advice{fmt.Sprintf("terminator = %q", terminator), "it answered *IDN? when the question ended so"})
	}
	if remote {
		c.Advice = append(c.Advice, s.remoteAdvice())
	}
	if len(c.Advice) > 0 {
		return
	}
	c.Advice = append(c.Advice, advice{`terminator = "crlf"`,
		`or "cr" or "lf", as its manual says; it answered *IDN? with none of them, in remote mode or not`})
	c.Advice = append(c.Advice, s.serialAdvice()...)
}

// remoteAdvice names the init that puts the instrument into remote mode.
func (s *subject) remoteAdvice() advice {
	lines := []string{strconv.Quote("SYST:REM")}
	for _, line := range s.opener.in.Options["init"].([]string) {
		lines = append(lines, strconv.Quote(line))
	}
	return advice{"init = [" + strings.Join(lines, ", ") + "]", "it takes no orders until it is put into remote mode; where its manual " +
		"names another command for that, use that one"}
}

// tryQuestions asks the instrument for its name with each line end, first as it
// is and then in remote mode, and returns the one it answered to; empty when it
// answered to none.
func (s *subject) tryQuestions(ctx context.Context) (terminator string, remote bool, err error) {
	wait := min(s.settings.Timeout, time.Second)
	err = s.converse(ctx, 2*time.Duration(len(lineEnds))*wait+time.Second, func(ctx context.Context, conn driver.Conn) error {
		for _, first := range []string{"", "SYST:REM"} {
			for _, try := range lineEnds {
				answered, err := s.asksName(ctx, conn, first, try.end, wait)
				if err != nil {
					return err
				}
				if !answered {
					continue
				}
				terminator, remote = try.name, first != ""
				if !remote {
					return nil
				}
				_, err = conn.Write([]byte("SYST:LOC" + try.end)) // its keys are a person's again
				return err
			}
		}
		return nil
	})
	return terminator, remote, err
}

// asksName reports whether the instrument says who it is when it is asked after
// another line, with the given line end. An end in front closes what an earlier
// try has left in its buffer.
func (s *subject) asksName(ctx context.Context, conn driver.Conn, first, end string, wait time.Duration) (bool, error) {
	message := end
	if first != "" {
		message += first + end
	}
	if _, err := conn.Write([]byte(message + "*IDN?" + end)); err != nil {
		return false, err
	}
	before := len(s.heard.lines())
	named := func() bool {
		for _, line := range s.heard.lines()[before:] {
			if _, err := scpi.ParseIdentity(strings.TrimSpace(string(line))); err == nil {
				return true
			}
		}
		return false
	}
	err := s.heard.hear(ctx, conn, time.Now().Add(wait), named)
	return named(), err
}
