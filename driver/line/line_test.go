package line_test

import (
	"errors"
	"io"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
	"coilkeep/driver/line"
)

const timeout = 2 * time.Second

func settings(q driver.Quantity, options driver.Options) driver.Settings {
	s := driver.Settings{Quantity: q, Timeout: timeout, Now: time.Now, Options: driver.Options{"pattern": "", "prompt": "", "unit": ""}}
	for name, value := range options {
		s.Options[name] = value
	}
	return s
}

func open(t *testing.T, conn driver.Conn, s driver.Settings) driver.Instrument {
	t.Helper()
	d, ok := driver.Lookup("line")
	if !ok {
		t.Fatal("the driver is not registered")
	}
	i, err := d.Open(t.Context(), conn, s)
	if err != nil {
		t.Fatal(err)
	}
	return i
}

// expect reads once and compares the status and, for a good one, the value.
func expect(t *testing.T, i driver.Instrument, status driver.Status, value float64) driver.Reading {
	t.Helper()
	r, err := i.Read(t.Context())
	if err != nil || r.Status != status || r.Value != value {
		t.Fatalf("Read = %+v, %v; want %s %v", r, err, status, value)
	}
	if r.Time.IsZero() {
		t.Errorf("Read = %+v without a time", r)
	}
	return r
}

func expectSilent(t *testing.T, i driver.Instrument) {
	t.Helper()
	start := time.Now()
	r, err := i.Read(t.Context())
	if !errors.Is(err, driver.ErrSilent) {
		t.Fatalf("Read = %+v, %v; want %v", r, err, driver.ErrSilent)
	}
	if took := time.Since(start); took > timeout {
		t.Errorf("Read took %v, the time-out is %v", took, timeout)
	}
}

func TestFreeRunning(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		conn, far := drivertest.Pipe()
		defer conn.Close()
		i := open(t, conn, settings(driver.Resistance, nil))
		io.WriteString(far, "90\nR=+6691\r\nR=+6692\r\n")
		r := expect(t, i, driver.OK, 6691) // "90" is the end of a line
		if r.Resolution != 1 || r.Raw != "R=+6691" {
			t.Errorf("reading = %+v, want resolution 1 and the raw line", r)
		}
		expect(t, i, driver.OK, 6692)
		expectSilent(t, i)
		io.WriteString(far, "R=OL MOhm\n")
		expect(t, i, driver.Overload, 0)
		if !i.(driver.FreeRunner).FreeRunning() {
			t.Error("FreeRunning = false without a prompt")
		}
		if got := i.(driver.Dropper).Dropped(); got != 2 {
			t.Errorf("Dropped = %d, want the 2 bytes of the cut line", got)
		}
	})
}

// Bytes without an end are told of once, so that nobody is asked whether the
// instrument is plugged in; then it is silent, so that the port is opened anew.
func TestFreeRunningWithoutLineEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		conn, far := drivertest.Pipe()
		defer conn.Close()
		i := open(t, conn, settings(driver.Resistance, nil))
		go func() {
			for range 3 {
				io.WriteString(far, "\xf8\x80x")
				time.Sleep(timeout) // the bubble's clock
			}
		}()
		if r := expect(t, i, driver.Unreadable, 0); !strings.Contains(r.Reason, "baud") || r.Raw == "" {
			t.Errorf("reading = %+v, want its bytes and a word about baud", r)
		}
		expectSilent(t, i)
		expectSilent(t, i)
	})
}

func TestFreeRunningFirstLineAfterQuiet(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		conn, far := drivertest.Pipe()
		defer conn.Close()
		i := open(t, conn, settings(driver.Resistance, nil))
		go func() {
			time.Sleep(time.Second) // the bubble's clock
			io.WriteString(far, "R=+6690\n")
		}()
		expect(t, i, driver.OK, 6690)
	})
}

// Each case is a line that reads as a number and is none.
func TestDamagedLines(t *testing.T) {
	for name, damaged := range map[string]string{
		"half a line":                "R=+66",
		"half a line, head lost":     "690 ohm",
		"unit lost":                  "R=+6690",
		"unit cut":                   "R=+6690 oh",
		"merged":                     "R=+6690 ohmR=+6690 ohm",
		"merged, middle lost":        "R=+66R=+6690 ohm",
		"merged digits":              "R=+66906690 ohm",
		"NUL for a digit":            "R=+6\x0090 ohm",
		"noise":                      "R=+6\xff90 ohm",
		"megabyte with a good end":   strings.Repeat("x", 5000) + "R=+6690 ohm",
		"a digit lost":               "R=+669 ohm",
		"another function":           "R=+6690 V",
		"the line of another device": "21.4 C",
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				conn, far := drivertest.Pipe()
				defer conn.Close()
				i := open(t, conn, settings(driver.Resistance, nil))
				io.WriteString(far, "\nR=+6690 ohm\nR=+6691 ohm\n"+damaged+"\nR=+6692 ohm\n")
				expect(t, i, driver.OK, 6691)
				r, err := i.Read(t.Context())
				if err != nil || r.Status != driver.Unreadable && r.Status != driver.Impossible || r.Value != 0 || r.Reason == "" {
					t.Errorf("the damaged line gives %+v, %v", r, err)
				}
				if len(r.Raw) > 4<<10 {
					t.Errorf("Raw has %d bytes", len(r.Raw))
				}
				expect(t, i, driver.OK, 6692)
			})
		})
	}
}

func TestLostUnitStaysRefused(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		conn, far := drivertest.Pipe()
		defer conn.Close()
		i := open(t, conn, settings(driver.Resistance, nil))
		io.WriteString(far, "\n6.690 kOhm\n6.690 kOhm\n")
		expect(t, i, driver.OK, 6690)
		for range 5 {
			io.WriteString(far, "6.690\n")
			expect(t, i, driver.Unreadable, 0)
		}
	})
}

func TestPrompted(t *testing.T) {
	conn := drivertest.Replay(t,
		drivertest.Exchange{Ask: "R?\r\n", Answer: "6690 ohm\r\n"},
		drivertest.Exchange{Ask: "R?\r\n", Answer: "R?\r\n6691 ohm\r\n"}, // it echoes
	)
	defer conn.Close()
	i := open(t, conn, settings(driver.Resistance, driver.Options{"prompt": "R?\r\n"}))
	expect(t, i, driver.OK, 6690)
	expect(t, i, driver.OK, 6691)
	if i.(driver.FreeRunner).FreeRunning() {
		t.Error("FreeRunning = true with a prompt")
	}
}

// scripted answers prompts: the nth prompt with the nth answer after its delay.
type scripted struct {
	answer string
	after  time.Duration
}

func serve(far *drivertest.Far, prompt string, script ...scripted) (asked chan struct{}) {
	asked = make(chan struct{}, len(script))
	go func() {
		buffer := make([]byte, len(prompt))
		for _, step := range script {
			if _, err := io.ReadFull(far, buffer); err != nil {
				return
			}
			asked <- struct{}{}
			go func() {
				time.Sleep(step.after) // the bubble's clock
				io.WriteString(far, step.answer)
			}()
		}
	}()
	return asked
}

func TestPromptedLateAnswer(t *testing.T) {
	for name, late := range map[string]time.Duration{
		"between the calls":       timeout,
		"during the next call":    timeout + timeout/4,
		"just in the last moment": timeout * 139 / 100,
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				conn, far := drivertest.Pipe()
				defer conn.Close()
				i := open(t, conn, settings(driver.Resistance, driver.Options{"prompt": "?\n"}))
				serve(far, "?\n", scripted{"1111\n", late}, scripted{"2222\n", time.Millisecond}, scripted{"3333\n", time.Millisecond})
				expectSilent(t, i)
				expect(t, i, driver.OK, 2222)
				expect(t, i, driver.OK, 3333)
				if got := i.(driver.Dropper).Dropped(); got < 4 || got > 5 { // with or without the line end
					t.Errorf("Dropped = %d, want the 4 bytes of the late answer", got)
				}
			})
		})
	}
}

// An instrument that answers just within the time-out is found again after it
// was late once.
func TestPromptedSlowInstrumentComesBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		conn, far := drivertest.Pipe()
		defer conn.Close()
		i := open(t, conn, settings(driver.Resistance, driver.Options{"prompt": "?\n"}))
		script := []scripted{{"1111\n", timeout + time.Second/2}}
		for range 20 {
			script = append(script, scripted{"2222\n", timeout * 85 / 100})
		}
		serve(far, "?\n", script...)
		for range 10 {
			r, err := i.Read(t.Context())
			if err == nil {
				if r.Value != 2222 {
					t.Fatalf("Read = %+v, want 2222", r)
				}
				return
			}
			if !errors.Is(err, driver.ErrSilent) {
				t.Fatal(err)
			}
		}
		t.Error("ten calls without an answer")
	})
}

func TestPromptedDoubledAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		conn, far := drivertest.Pipe()
		defer conn.Close()
		i := open(t, conn, settings(driver.Resistance, driver.Options{"prompt": "?\n"}))
		serve(far, "?\n", scripted{"1111\n1111\n", 0}, scripted{"2222\n2222\n22", 0}, scripted{"3333\n", 0})
		expect(t, i, driver.OK, 1111)
		expect(t, i, driver.OK, 2222)
		expect(t, i, driver.OK, 3333)
	})
}

func TestPromptedBannerThenAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		conn, far := drivertest.Pipe()
		defer conn.Close()
		i := open(t, conn, settings(driver.Resistance, driver.Options{"prompt": "?\n"}))
		serve(far, "?\n", scripted{"Elder Vale LX ready\n", 0}, scripted{"2222\n", 0}, scripted{"3333\n", 0})
		go func() {
			time.Sleep(timeout / 4) // the bubble's clock; the answer to the first prompt
			io.WriteString(far, "1111\n")
		}()
		expect(t, i, driver.Unreadable, 0)
		expect(t, i, driver.OK, 2222)
		expect(t, i, driver.OK, 3333)
	})
}

// The spoiled line at the moment of unclipping has a digit more. It is read, and
// the next coil is not missed by waiting for an answer that was there.
func TestPromptedOneDigitMore(t *testing.T) {
	for name, tt := range map[string]struct {
		odd    string
		status driver.Status
		value  float64
	}{
		"one digit more":  {"R=+12074.0", driver.OK, 12074},
		"cut":             {"R=+66", driver.Unreadable, 0},
		"two digits more": {"R=+120740.0", driver.Unreadable, 0},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				conn, far := drivertest.Pipe()
				defer conn.Close()
				i := open(t, conn, settings(driver.Resistance, driver.Options{"prompt": "?\n"}))
				serve(far, "?\n", scripted{"R=+6690.0\n", 0}, scripted{tt.odd + "\n", 0}, scripted{"R=O.L\n", 0}, scripted{"R=+6691.0\n", 0})
				expect(t, i, driver.OK, 6690)
				expect(t, i, tt.status, tt.value)
				odd := time.Now()
				expect(t, i, driver.Overload, 0)
				expect(t, i, driver.OK, 6691)
				if took := time.Since(odd); took > 2*lineGap {
					t.Errorf("the answers behind %q took %v", tt.odd, took)
				}
			})
		})
	}
}

// Lines that cannot be read are told as such, and not as silence: a person has
// to see the reason.
func TestPromptedUnreadableIsNoSilence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		conn, far := drivertest.Pipe()
		defer conn.Close()
		i := open(t, conn, settings(driver.Resistance, driver.Options{"prompt": "?\n"}))
		var script []scripted
		for range 5 {
			script = append(script, scripted{"1,234\n", 0})
		}
		script = append(script, scripted{"R=6690\n", 0}, scripted{"ready\n", 0}, scripted{"R=6692\n", 0})
		serve(far, "?\n", script...)
		expect(t, i, driver.Unreadable, 0)
		expectSilent(t, i) // an answer behind it would be waited for
		for range 4 {
			start := time.Now()
			expect(t, i, driver.Unreadable, 0)
			if took := time.Since(start); took > timeout/2 {
				t.Errorf("an answer that cannot be read took %v", took)
			}
		}
		expect(t, i, driver.OK, 6690)
		// Among good answers it may be a banner, and is waited behind again.
		expect(t, i, driver.Unreadable, 0)
		go func() {
			time.Sleep(timeout / 4) // the bubble's clock
			io.WriteString(far, "R=6691\n")
		}()
		expect(t, i, driver.OK, 6692)
	})
}

// lineGap is how long a line must be silent to be quiet, and some.
const lineGap = 60 * time.Millisecond

func TestParsePattern(t *testing.T) {
	tests := []struct {
		name, pattern, unit, line string
		status                    driver.Status
		value                     float64
	}{
		{"value only", `^\d+;(?P<value>[\d,]+);`, "kohm", "12;6,690;21,4", driver.OK, 6690},
		{"prefix and unit", `(?P<value>[\d.]+) (?P<prefix>[kM]?)(?P<unit>\w+)$`, "", "6.690 kOhm", driver.OK, 6690},
		{"prefix did not take part", `(?P<value>[\d.]+) (?P<prefix>[kM])?(?P<unit>ohm)$`, "", "6690 ohm", driver.OK, 6690},
		{"wrong unit", `(?P<value>[\d.]+) (?P<unit>\w+)$`, "", "6.690 mV", driver.Impossible, 0},
		{"overload", `^R=(?P<value>\S+)`, "", "R=O.L", driver.Overload, 0},
		{"no match", `^R=(?P<value>\d+)$`, "", "T=21", driver.Unreadable, 0},
		{"two matches", `R=(?P<value>\d+)`, "", "R=6690R=6691", driver.Unreadable, 0},
		{"cuts a number", `(?P<value>\d{3}\.\d)`, "", "6690.5", driver.Unreadable, 0},
		{"value is no number", `^(?P<value>\S+)`, "", "6.6.9", driver.Unreadable, 0},
		{"commas part fields", `^[^,]*,(?P<value>[^,]*),(?P<unit>[^,]*),`, "", "000123,+6.75E+03,OHM,0", driver.OK, 6750},
		{"whole numbers between commas", `^CH1,(?P<value>\d+),(?P<unit>\w+)$`, "", "CH1,6690,OHM", driver.OK, 6690},
		{"a comma in front", `,(?P<value>\d+) ohm`, "", "12,6690 ohm", driver.OK, 6690},
		{"spaces beside the commas", `^[^,]*,(?P<value>[^,]*),`, "", "CH1 , 6690 , OHM", driver.OK, 6690},
		{"overload between commas", `^[^,]*,(?P<value>[^,]*),`, "", "CH1,O.L,OHM", driver.Overload, 0},
		{"the pattern does not know the comma", `(?P<value>\d+) ohm`, "", "6,690 ohm", driver.Unreadable, 0},
		{"nor the one behind", `^R=(?P<value>\d+)`, "", "R=6,69 kOhm", driver.Unreadable, 0},
		{"nor one that may be anything", `^.*?(?P<value>\d+).*$`, "", "6,69 kOhm", driver.Unreadable, 0},
		{"an apostrophe between thousands", `(?P<value>\d+) ohm`, "", "6'690 ohm", driver.Unreadable, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p, err := line.NewParser(driver.Resistance, tt.pattern, tt.unit)
			if err != nil {
				t.Fatal(err)
			}
			got, _ := p.Parse([]byte(tt.line))
			if got.Status != tt.status || got.Value != tt.value || got.Raw != tt.line {
				t.Errorf("Parse(%q) = %+v, want %s %v", tt.line, got, tt.status, tt.value)
			}
		})
	}
}

func TestBadSettings(t *testing.T) {
	d, _ := driver.Lookup("line")
	for name, tt := range map[string]struct {
		options driver.Options
		says    string
	}{
		"pattern does not compile": {driver.Options{"pattern": "("}, "pattern"},
		"no value group":           {driver.Options{"pattern": `(\d+)`}, "value"},
		"unknown group":            {driver.Options{"pattern": `(?P<value>\d+)(?P<units>\w+)`}, `"units"`},
		"unit of something else":   {driver.Options{"unit": "V"}, `"V"`},
	} {
		_, err := d.Open(t.Context(), drivertest.Replay(t, drivertest.Exchange{}), settings(driver.Resistance, tt.options))
		if !errors.Is(err, driver.ErrSettings) || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%s: Open = %v, want %v that names %s", name, err, driver.ErrSettings, tt.says)
		}
	}
}

// FuzzParse holds that no line and no pattern panics, and that what is no
// reading has a reason and no value.
func FuzzParse(f *testing.F) {
	for _, seed := range [][2]string{
		{"R=+6690 ohm", ""}, {"12;6,690;21,4", `^\d+;(?P<value>[\d,]+);`}, {"6.690 k\xea", ""},
		{"000123,+6.75E+03,OHM,0", `^[^,]*,(?P<value>[^,]*),(?P<unit>[^,]*),[^,]*$`}, {"CH1,22.60,degC", ""}, {"6,69 k", `^.*?(?P<value>\d+).*$`},
		{"R=+66\x0090", ""}, {"6.690 kOhm", `(?P<value>[\d.]+) (?P<prefix>[kM]?)(?P<unit>\w+)$`}, {"", "(?P<value>)"},
	} {
		f.Add([]byte(seed[0]), seed[1])
	}
	f.Fuzz(func(t *testing.T, text []byte, pattern string) {
		p, err := line.NewParser(driver.Resistance, pattern, "")
		if err != nil {
			return
		}
		r, _ := p.Parse(text)
		if r.Status == "" || (r.Status == driver.OK) != (r.Reason == "") || r.Status != driver.OK && r.Value != 0 {
			t.Fatalf("Parse(%q) = %+v", text, r)
		}
	})
}
