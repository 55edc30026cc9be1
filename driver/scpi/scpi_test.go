package scpi_test

import (
	"errors"
	"io"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
	"coilkeep/driver/scpi"
)

const timeout = 2 * time.Second

func settings(options driver.Options) driver.Settings {
	s := driver.Settings{Quantity: driver.Resistance, Timeout: timeout, Now: time.Now, Options: driver.Options{
		"terminator": "lf", "init": []string{"CONF:RES"}, "query": "READ?",
	}}
	for name, value := range options {
		s.Options[name] = value
	}
	return s
}

func openDriver(t *testing.T, conn driver.Conn, s driver.Settings) (driver.Instrument, error) {
	t.Helper()
	d, ok := driver.Lookup("scpi")
	if !ok {
		t.Fatal("the driver is not registered")
	}
	return d.Open(t.Context(), conn, s)
}

// bench opens the driver on a fake meter in a bubble.
func bench(t *testing.T, f *fakeMeter, options driver.Options, test func(t *testing.T, i driver.Instrument, far *drivertest.Far)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		conn, far := drivertest.Pipe()
		defer conn.Close()
		f.serve(far)
		i, err := openDriver(t, conn, settings(options))
		if err != nil {
			t.Fatal(err)
		}
		test(t, i, far)
	})
}

func expect(t *testing.T, i driver.Instrument, status driver.Status, value float64) driver.Reading {
	t.Helper()
	start := time.Now()
	r, err := i.Read(t.Context())
	if err != nil || r.Status != status || r.Value != value || r.Time.IsZero() {
		t.Fatalf("Read = %+v, %v; want %s %v", r, err, status, value)
	}
	if took := time.Since(start); took > timeout {
		t.Errorf("Read took %v, the time-out is %v", took, timeout)
	}
	return r
}

func expectError(t *testing.T, i driver.Instrument, want error, says string) {
	t.Helper()
	start := time.Now()
	r, err := i.Read(t.Context())
	if !errors.Is(err, want) || !strings.Contains(err.Error(), says) {
		t.Fatalf("Read = %+v, %v; want %v that says %q", r, err, want, says)
	}
	if took := time.Since(start); took > timeout {
		t.Errorf("Read took %v, the time-out is %v", took, timeout)
	}
}

func TestOpeningConversation(t *testing.T) {
	conn := drivertest.Replay(t,
		drivertest.Exchange{Ask: "SYST:REM\r\n"},
		drivertest.Exchange{Ask: "CONF:RES\r\n"},
		drivertest.Exchange{Ask: "*IDN?\r\n", Answer: identity + "\r\n"},
		drivertest.Exchange{Ask: "SYST:ERR?\r\n", Answer: "0,\"No error\"\r\n"},
		drivertest.Exchange{Ask: "FUNC?\r\n", Answer: "\"RES\"\r\n"},
		drivertest.Exchange{Ask: "*CLS\r\n"},
		drivertest.Exchange{Ask: "READ?\r\n", Answer: "+6.690E+03\r\n"},
	)
	defer conn.Close()
	i, err := openDriver(t, conn, settings(driver.Options{"terminator": "crlf", "init": []string{"SYST:REM", "CONF:RES"}}))
	if err != nil {
		t.Fatal(err)
	}
	r := expect(t, i, driver.OK, 6690)
	if r.Resolution != 1 || r.Raw != "+6.690E+03" {
		t.Errorf("reading = %+v, want resolution 1 and the raw answer", r)
	}
	got, err := i.(driver.Identifier).Identify(t.Context())
	want := driver.Identity{Manufacturer: "ELDER VALE", Model: "LX-4", Serial: "0017", Firmware: "1.2", Raw: identity}
	if err != nil || got != want {
		t.Errorf("Identify = %+v, %v; want %+v", got, err, want)
	}
}

func TestPersonalities(t *testing.T) {
	for name, tt := range map[string]struct {
		meter   *fakeMeter
		options driver.Options
	}{
		"plain":                      {&fakeMeter{}, nil},
		"knows its function":         {&fakeMeter{function: "FRES"}, nil},
		"echoes":                     {&fakeMeter{echo: true, function: "RES"}, nil},
		"answers twice":              {&fakeMeter{double: true, function: "RES"}, nil},
		"ends lines with CR":         {&fakeMeter{terminate: "\r"}, nil},
		"slow":                       {&fakeMeter{delay: time.Second}, nil},
		"wants remote first":         {&fakeMeter{needsREM: true}, driver.Options{"init": []string{"SYST:REM", "CONF:RES"}}},
		"has an old error":           {&fakeMeter{queue: []string{`-350,"Queue overflow"`}}, nil},
		"wants remote a second time": {&fakeMeter{needsREM: true}, driver.Options{"init": []string{"CONF:RES", "SYST:REM", "CONF:RES"}}},
	} {
		t.Run(name, func(t *testing.T) {
			f := tt.meter
			f.readings = []string{"+6.691E+03", "+6.692E+03", "+6.693E+03", "9.9E37"}
			bench(t, f, tt.options, func(t *testing.T, i driver.Instrument, _ *drivertest.Far) {
				expect(t, i, driver.OK, 6691)
				expect(t, i, driver.OK, 6692)
				expect(t, i, driver.OK, 6693)
				expect(t, i, driver.Overload, 0)
			})
		})
	}
}

func TestOpenRefuses(t *testing.T) {
	for name, tt := range map[string]struct {
		meter   *fakeMeter
		options driver.Options
		want    error
		says    string
	}{
		"volts": {&fakeMeter{function: "VOLT:DC"}, nil, driver.ErrRefused, "VOLT:DC"},
		"unknown init line": {&fakeMeter{refuses: "CONF:RESS"}, driver.Options{"init": []string{"CONF:RES", "CONF:RESS"}}, driver.ErrRefused,
			`"CONF:RESS": it reports -113,"Undefined header"`},
		"silent init query":   {&fakeMeter{}, driver.Options{"init": []string{"ROUT:TERM?"}}, driver.ErrSilent, "ROUT:TERM?"},
		"unknown terminator":  {&fakeMeter{}, driver.Options{"terminator": "lfcr"}, driver.ErrSettings, "terminator"},
		"empty query":         {&fakeMeter{}, driver.Options{"query": " "}, driver.ErrSettings, "query"},
		"line end in a query": {&fakeMeter{}, driver.Options{"query": "READ?\n"}, driver.ErrSettings, "READ?"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				conn, far := drivertest.Pipe()
				defer conn.Close()
				tt.meter.serve(far)
				_, err := openDriver(t, conn, settings(tt.options))
				if !errors.Is(err, tt.want) || !strings.Contains(err.Error(), tt.says) {
					t.Errorf("Open = %v, want %v that says %s", err, tt.want, tt.says)
				}
			})
		})
	}
}

func TestOpenRefusesResistanceForATemperature(t *testing.T) {
	conn, _ := drivertest.Pipe()
	defer conn.Close()
	s := settings(nil)
	s.Quantity = driver.Temperature
	if _, err := openDriver(t, conn, s); !errors.Is(err, driver.ErrSettings) || !strings.Contains(err.Error(), "CONF:TEMP") {
		t.Errorf("Open = %v, want %v that says CONF:TEMP", err, driver.ErrSettings)
	}
}

func TestTalkerIsNamed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		conn, far := drivertest.Pipe()
		defer conn.Close()
		go func() {
			for {
				select {
				case <-far.Closed():
					return
				case <-time.After(20 * time.Millisecond):
					io.WriteString(far, "R=+6690\n")
				}
			}
		}()
		if _, err := openDriver(t, conn, settings(nil)); !errors.Is(err, driver.ErrSilent) || !strings.Contains(err.Error(), "driver line") {
			t.Errorf("Open = %v, want %v that names the driver line", err, driver.ErrSilent)
		}
	})
}

func TestFunctionTurnedByHand(t *testing.T) {
	f := &fakeMeter{function: "RES", readings: []string{"+6.690E+03"}}
	bench(t, f, nil, func(t *testing.T, i driver.Instrument, _ *drivertest.Far) {
		expect(t, i, driver.OK, 6690)
		f.set(t, func(f *fakeMeter) { f.function = "VOLT" })
		time.Sleep(5 * time.Second) // the bubble's clock
		expectError(t, i, driver.ErrRefused, "VOLT")
	})
}

func TestUnknownQueryIsExplained(t *testing.T) {
	f := &fakeMeter{}
	bench(t, f, driver.Options{"query": "REED?"}, func(t *testing.T, i driver.Instrument, _ *drivertest.Far) {
		expectError(t, i, driver.ErrSilent, `-113,"Undefined header"`)
		expectError(t, i, driver.ErrSilent, `-113,"Undefined header"`)
	})
}

func TestLateAnswers(t *testing.T) {
	for name, delay := range map[string]time.Duration{
		"within the same call": timeout * 80 / 100,
		"between the calls":    timeout,
		"in the next call":     timeout * 140 / 100,
		"two calls later":      timeout * 250 / 100,
	} {
		t.Run(name, func(t *testing.T) {
			f := &fakeMeter{readings: []string{"+1.111E+03", "+2.222E+03", "+3.333E+03"}, delay: delay}
			bench(t, f, nil, func(t *testing.T, i driver.Instrument, _ *drivertest.Far) {
				for calls := 0; ; calls++ {
					r, err := i.Read(t.Context())
					if err == nil {
						if r.Value != 2222 {
							t.Fatalf("the first answer after the late one is %+v, want 2222", r)
						}
						break
					}
					if !errors.Is(err, driver.ErrSilent) || calls > 4 {
						t.Fatalf("call %d: %v", calls, err)
					}
				}
				expect(t, i, driver.OK, 3333)
			})
		})
	}
}

func TestLateAnswerSaysSo(t *testing.T) {
	f := &fakeMeter{readings: []string{"+1.111E+03"}, delay: timeout * 80 / 100}
	bench(t, f, nil, func(t *testing.T, i driver.Instrument, _ *drivertest.Far) {
		expectError(t, i, driver.ErrSilent, "longer timeout")
	})
}

// A meter without *IDN? is protected as far as its silence tells.
func TestLateAnswerWithoutMarker(t *testing.T) {
	f := &fakeMeter{noIDN: true, readings: []string{"+9.999E+03", "+1.111E+03", "+2.222E+03"}}
	bench(t, f, nil, func(t *testing.T, i driver.Instrument, _ *drivertest.Far) {
		f.set(t, func(f *fakeMeter) { f.delay = timeout * 119 / 100 })
		expectError(t, i, driver.ErrSilent, "READ?")
		expect(t, i, driver.OK, 2222)
	})
}

func TestStrayBytes(t *testing.T) {
	f := &fakeMeter{readings: []string{"+1.111E+03", "+2.222E+03"}}
	bench(t, f, nil, func(t *testing.T, i driver.Instrument, far *drivertest.Far) {
		expect(t, i, driver.OK, 1111)
		io.WriteString(far, "+9.9")
		go func() {
			time.Sleep(5 * time.Millisecond) // the bubble's clock: the rest comes behind the next question
			io.WriteString(far, "99E+03\n")
		}()
		expect(t, i, driver.OK, 2222)
		if got := i.(driver.Dropper).Dropped(); got < int64(len("+9.999E+03")) {
			t.Errorf("Dropped = %d, want at least the stray answer", got)
		}
	})
}

func TestUnreadableAnswerIsFollowedByTheRightOne(t *testing.T) {
	f := &fakeMeter{readings: []string{"Elder Vale ready\n+1.111E+03", "+2.222E+03"}}
	bench(t, f, nil, func(t *testing.T, i driver.Instrument, _ *drivertest.Far) {
		expect(t, i, driver.Unreadable, 0)
		expect(t, i, driver.OK, 2222)
	})
}

func TestCutAnswers(t *testing.T) {
	for _, cut := range []string{"+6.690E+0", "+6.69", "6.690E+03", "+6.690E", "90E+03", "+6.690E+03+6.690E+03", "+6.6\x000E+03"} {
		t.Run(cut, func(t *testing.T) {
			f := &fakeMeter{readings: []string{"+6.690E+03", cut, "+6.691E+03"}}
			bench(t, f, nil, func(t *testing.T, i driver.Instrument, _ *drivertest.Far) {
				expect(t, i, driver.OK, 6690)
				expect(t, i, driver.Unreadable, 0)
				expect(t, i, driver.OK, 6691)
			})
		})
	}
}

// A meter that answers in the form NR2 sends a digit more at the moment of
// unclipping.
func TestOneDigitMore(t *testing.T) {
	for _, nameless := range []bool{false, true} {
		f := &fakeMeter{noIDN: nameless, readings: []string{"6689.0", "6690.0", "12074.0", "66", "9.9E37", "6691.0"}}
		bench(t, f, nil, func(t *testing.T, i driver.Instrument, _ *drivertest.Far) {
			if !nameless {
				expect(t, i, driver.OK, 6689)
			}
			expect(t, i, driver.OK, 6690)
			expect(t, i, driver.OK, 12074)
			start := time.Now()
			expect(t, i, driver.Unreadable, 0)
			expect(t, i, driver.Overload, 0)
			expect(t, i, driver.OK, 6691)
			if took := time.Since(start); took > timeout/4 {
				t.Errorf("nameless %v: three answers took %v", nameless, took)
			}
		})
	}
}

// A meter that takes no orders in local says so only in its error queue.
func TestMeterInLocal(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		conn, far := drivertest.Pipe()
		defer conn.Close()
		(&fakeMeter{inLocal: true}).serve(far)
		_, err := openDriver(t, conn, settings(nil))
		if !errors.Is(err, driver.ErrRefused) || !errors.Is(err, scpi.ErrLocal) ||
			!strings.Contains(err.Error(), `init = ["SYST:REM", "CONF:RES"]`) {
			t.Errorf("Open = %v, want %v that names the init line", err, scpi.ErrLocal)
		}
	})
	f := &fakeMeter{inLocal: true, readings: []string{"+6.690E+03"}}
	bench(t, f, driver.Options{"init": []string{}}, func(t *testing.T, i driver.Instrument, _ *drivertest.Far) {
		expectError(t, i, scpi.ErrLocal, `init = ["SYST:REM"]`)
	})
	f = &fakeMeter{inLocal: true, readings: []string{"+6.690E+03"}}
	bench(t, f, driver.Options{"init": []string{"SYST:REM", "CONF:RES"}}, func(t *testing.T, i driver.Instrument, _ *drivertest.Far) {
		expect(t, i, driver.OK, 6690)
	})
}

func TestHangUp(t *testing.T) {
	f := &fakeMeter{readings: []string{"+6.690E+03"}}
	bench(t, f, nil, func(t *testing.T, i driver.Instrument, far *drivertest.Far) {
		far.Close()
		expectError(t, i, driver.ErrLineLost, "")
	})
}
