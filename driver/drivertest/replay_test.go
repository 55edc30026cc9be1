package drivertest_test

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
)

// witness records what a helper reports instead of failing the test.
type witness struct {
	testing.TB
	failures []string
	cleanups []func()
}

func (w *witness) Helper()          {}
func (w *witness) Cleanup(f func()) { w.cleanups = append(w.cleanups, f) }
func (w *witness) Errorf(format string, args ...any) {
	w.failures = append(w.failures, fmt.Sprintf(format, args...))
}
func (w *witness) finish() {
	for _, f := range slices.Backward(w.cleanups) {
		f()
	}
}

func TestReplay(t *testing.T) {
	conn := drivertest.Replay(t,
		drivertest.Exchange{Answer: "READY\r\n"},
		drivertest.Exchange{Ask: "CONF:RES\n"},
		drivertest.Exchange{Ask: "READ?\n", Answer: "+6.69E3\n"},
	)
	io.WriteString(conn, "CONF:RES\nREAD"[:9])
	io.WriteString(conn, "READ")
	io.WriteString(conn, "?\n")
	p := make([]byte, 64)
	n, err := conn.Read(p)
	if got, want := string(p[:n]), "READY\r\n+6.69E3\n"; err != nil || got != want {
		t.Errorf("read %q, %v; want %q", got, err, want)
	}
}

func TestReplayTellsDepartures(t *testing.T) {
	script := []drivertest.Exchange{{Ask: "READ?\n", Answer: "1\n"}, {Ask: "*IDN?\n", Answer: "x\n"}}
	tests := []struct {
		name, sent string
		lost       bool
		want       string
	}{
		{name: "another question", sent: "MEAS?\n", lost: true, want: `sent "MEAS?\n", the conversation has "READ?\n" here`},
		{name: "not used up", sent: "READ?\n", want: `1 steps of the conversation were not used, next is "*IDN?\n"`},
		{name: "asked once too often", sent: "READ?\n|*IDN?\n|READ?\n", lost: true, want: `sent "READ?\n" after the end`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			w := &witness{TB: t}
			conn := drivertest.Replay(w, script...)
			var err error
			for _, part := range strings.Split(tt.sent, "|") {
				_, err = io.WriteString(conn, part)
			}
			if got := errors.Is(err, driver.ErrLineLost); got != tt.lost {
				t.Errorf("last Write = %v, want line lost: %t", err, tt.lost)
			}
			w.finish()
			if len(w.failures) == 0 || !strings.Contains(w.failures[0], tt.want) {
				t.Errorf("reported %q, want %q", w.failures, tt.want)
			}
		})
	}
}
