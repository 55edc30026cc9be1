package scpi_test

import (
	"bufio"
	"io"
	"strings"
	"sync"
	"testing"
	"time"

	"coilkeep/driver/drivertest"
)

const identity = "ELDER VALE,LX-4,0017,1.2"

// fakeMeter answers on the far end of a pipe. Its fields may be changed while
// no question is under way.
type fakeMeter struct {
	mu       sync.Mutex
	readings []string      // answers to READ?, the last one for ever
	delay    time.Duration // of the next answer to READ?
	function string        // answer to FUNC?; empty when it knows no such question
	echo     bool
	double   bool // every answer comes twice
	needsREM bool // it refuses everything before SYST:REM
	inLocal  bool // it takes no order before SYST:REM, and says so in its queue
	noIDN    bool
	asleep   time.Time // it takes no notice of anything before
	// configures is the function that a CONF: line sets; empty leaves it.
	configures string
	refuses    string // a header it does not know
	remote     bool
	queue      []string
	terminate  string
}

// serve lets the fake answer until the driver closes the line. Call it in the
// bubble of the test.
func (f *fakeMeter) serve(far *drivertest.Far) {
	if f.terminate == "" {
		f.terminate = "\n"
	}
	go func() {
		scanner := bufio.NewScanner(far)
		for scanner.Scan() {
			line := strings.TrimRight(scanner.Text(), "\r")
			if f.echo {
				io.WriteString(far, line+f.terminate)
			}
			answer := f.answer(line)
			if answer == "" {
				continue
			}
			if f.double {
				answer += f.terminate + answer
			}
			io.WriteString(far, answer+f.terminate)
		}
	}()
}

func (f *fakeMeter) answer(line string) string {
	f.mu.Lock()
	defer f.mu.Unlock()
	if time.Now().Before(f.asleep) {
		return ""
	}
	if line == "SYST:REM" {
		f.remote = true
		return ""
	}
	if f.needsREM && !f.remote {
		f.queue = append(f.queue, `-203,"Command protected"`)
		return ""
	}
	if f.inLocal && !f.remote && (line == "READ?" || strings.HasPrefix(line, "CONF:")) {
		f.queue = append(f.queue, `-201,"Invalid while in local"`)
		return ""
	}
	switch {
	case line == f.refuses:
	case line == "*CLS":
		f.queue = nil
		return ""
	case strings.HasPrefix(line, "CONF:"):
		if f.configures != "" {
			f.function = f.configures
		}
		return ""
	case line == "*IDN?" && !f.noIDN:
		return identity
	case line == "SYST:ERR?":
		if len(f.queue) == 0 {
			return `0,"No error"`
		}
		oldest := f.queue[0]
		f.queue = f.queue[1:]
		return oldest
	case line == "FUNC?" && f.function != "":
		return `"` + f.function + `"`
	case line == "READ?":
		time.Sleep(f.delay) // the bubble's clock
		f.delay = 0
		reading := f.readings[0]
		if len(f.readings) > 1 {
			f.readings = f.readings[1:]
		}
		return reading
	}
	f.queue = append(f.queue, `-113,"Undefined header"`)
	return ""
}

func (f *fakeMeter) set(t *testing.T, change func(*fakeMeter)) {
	t.Helper()
	f.mu.Lock()
	defer f.mu.Unlock()
	change(f)
}
