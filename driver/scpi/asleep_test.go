package scpi_test

import (
	"errors"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
)

// A meter that knows no *IDN? is opened all the same; what it answered while
// that was found out is no reading.
func TestMeterWithoutIdentity(t *testing.T) {
	f := &fakeMeter{noIDN: true, readings: []string{"+9.999E+03", "+6.691E+03", "+6.692E+03", "9.9E37"}}
	bench(t, f, nil, func(t *testing.T, i driver.Instrument, _ *drivertest.Far) {
		expect(t, i, driver.OK, 6691)
		expect(t, i, driver.OK, 6692)
		expect(t, i, driver.Overload, 0)
	})
}

// A meter behind a serial server can be off while its port opens. It must not
// come back nameless, in whatever function it woke up.
func TestMeterSwitchedOnLate(t *testing.T) {
	for name, wakes := range map[string]time.Duration{
		"while it is asked who it is": timeout / 2, "while it is asked for a reading": timeout * 15 / 10,
		"just before": timeout * 99 / 100,
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				f := &fakeMeter{function: "VOLT", configures: "RES", asleep: time.Now().Add(wakes), readings: []string{"+6.690E+03"}}
				var i driver.Instrument
				for tries := 0; ; tries++ {
					conn, far := drivertest.Pipe()
					defer conn.Close()
					f.serve(far)
					var err error
					if i, err = openDriver(t, conn, settings(nil)); err == nil {
						break
					}
					if !errors.Is(err, driver.ErrSilent) || tries > 1 {
						t.Fatalf("Open = %v, want %v at most twice", err, driver.ErrSilent)
					}
					conn.Close()
				}
				expect(t, i, driver.OK, 6690)
				got, err := i.(driver.Identifier).Identify(t.Context())
				if err != nil || got.Raw != identity {
					t.Errorf("Identify = %+v, %v; want %s", got, err, identity)
				}
				if f.function != "RES" {
					t.Errorf("it measures %s: the init line did not reach it", f.function)
				}
			})
		})
	}
}

func TestMeterThatIsOff(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		conn, far := drivertest.Pipe()
		defer conn.Close()
		(&fakeMeter{asleep: time.Now().Add(time.Hour)}).serve(far)
		if _, err := openDriver(t, conn, settings(nil)); !errors.Is(err, driver.ErrSilent) || !strings.Contains(err.Error(), "READ?") {
			t.Errorf("Open = %v, want %v that names the query", err, driver.ErrSilent)
		}
	})
}

// Switched off and on between two readings it may wake up measuring volts.
func TestFunctionIsAskedAfterASilence(t *testing.T) {
	f := &fakeMeter{function: "RES", readings: []string{"+6.690E+03"}}
	bench(t, f, nil, func(t *testing.T, i driver.Instrument, _ *drivertest.Far) {
		expect(t, i, driver.OK, 6690)
		f.set(t, func(f *fakeMeter) { f.function, f.asleep = "VOLT", time.Now().Add(timeout) })
		expectError(t, i, driver.ErrSilent, "")
		expectError(t, i, driver.ErrSilent, "in step again")
		expectError(t, i, driver.ErrRefused, "VOLT")
	})
}

// One that cannot tell its function is set to it again, for it may measure volts.
func TestInitIsSentAfterASilence(t *testing.T) {
	f := &fakeMeter{refuses: "FUNC?", configures: "RES", readings: []string{"+6.690E+03"}}
	bench(t, f, nil, func(t *testing.T, i driver.Instrument, _ *drivertest.Far) {
		expect(t, i, driver.OK, 6690)
		f.set(t, func(f *fakeMeter) { f.function, f.asleep = "VOLT", time.Now().Add(timeout) })
		expectError(t, i, driver.ErrSilent, "")
		expectError(t, i, driver.ErrSilent, "in step again")
		expect(t, i, driver.OK, 6690)
		f.set(t, func(f *fakeMeter) {
			if f.function != "RES" {
				t.Errorf("it measures %s: the init line was not sent again", f.function)
			}
		})
	})
}
