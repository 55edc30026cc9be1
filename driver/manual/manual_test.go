package manual_test

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
	"coilkeep/driver/manual"
)

func open(t *testing.T, q driver.Quantity) driver.Instrument {
	t.Helper()
	d, ok := driver.Lookup("manual")
	if !ok || !d.NoPort {
		t.Fatalf("Lookup = %+v, %v; want a driver without a port", d, ok)
	}
	i, err := d.Open(t.Context(), nil, driver.Settings{Quantity: q, Timeout: time.Second, Now: time.Now, Options: driver.Options{}})
	if err != nil {
		t.Fatal(err)
	}
	return i
}

func TestTypeWhileReadWaits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		i := open(t, driver.Resistance)
		got := make(chan driver.Reading)
		go func() {
			r, err := i.Read(t.Context())
			if err != nil {
				t.Error(err)
			}
			got <- r
		}()
		time.Sleep(time.Hour) // the bubble's clock; nobody typed yet
		typed, err := i.(driver.Typist).Type("6.69k")
		if err != nil {
			t.Fatal(err)
		}
		want := driver.Reading{Time: time.Now(), Value: 6690, Resolution: 10, Status: driver.OK, Raw: "6.69k"}
		if r := <-got; r != want || typed != want {
			t.Errorf("Read = %+v, Type = %+v; want both %+v", r, typed, want)
		}
	})
}

func TestConformance(t *testing.T) {
	d, _ := driver.Lookup("manual")
	drivertest.Conformance(t, d, drivertest.Peer{
		Answer: func(value float64) []byte { return fmt.Appendf(nil, "%.3fk", value/1000) },
	})
}

func TestTypeTwice(t *testing.T) {
	i := open(t, driver.Temperature)
	if _, err := i.(driver.Typist).Type("21.4"); err != nil {
		t.Fatal(err)
	}
	if _, err := i.(driver.Typist).Type("21.5"); err == nil {
		t.Error("a second value replaces one that nobody has read")
	}
	if r, err := i.Read(t.Context()); err != nil || r.Value != 21.4 {
		t.Errorf("Read = %+v, %v; want 21.4", r, err)
	}
}

func TestReadEnds(t *testing.T) {
	for name, tt := range map[string]struct {
		end  func(driver.Instrument, context.CancelFunc)
		want error
	}{
		"close":   {func(i driver.Instrument, _ context.CancelFunc) { i.Close(); i.Close() }, driver.ErrLineLost},
		"context": {func(_ driver.Instrument, cancel context.CancelFunc) { cancel() }, context.Canceled},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				i := open(t, driver.Resistance)
				ctx, cancel := context.WithCancel(t.Context())
				defer cancel()
				done := make(chan error)
				go func() {
					_, err := i.Read(ctx)
					done <- err
				}()
				synctest.Wait()
				tt.end(i, cancel)
				if err := <-done; !errors.Is(err, tt.want) {
					t.Errorf("Read = %v, want %v", err, tt.want)
				}
				if _, err := i.Read(ctx); !errors.Is(err, tt.want) {
					t.Errorf("the next Read = %v, want %v", err, tt.want)
				}
			})
		})
	}
}

func TestTypeAfterClose(t *testing.T) {
	i := open(t, driver.Resistance)
	i.Close()
	if _, err := i.(driver.Typist).Type("6690"); !errors.Is(err, driver.ErrLineLost) {
		t.Errorf("Type after Close = %v, want %v", err, driver.ErrLineLost)
	}
}

func TestParseErrorsQuoteAndExplain(t *testing.T) {
	for text, q := range map[string]driver.Quantity{
		"six": driver.Resistance, "-5": driver.Resistance, "6,690": driver.Resistance, "12 V": driver.Temperature, "": driver.Temperature,
	} {
		_, err := manual.Parse(text, q)
		if err == nil || !strings.Contains(err.Error(), strconv.Quote(text)) || !strings.Contains(err.Error(), "type it like") {
			t.Errorf("Parse(%q) = %v, want an error that quotes it and gives an example", text, err)
		}
	}
}

func TestParseSaysWhatAnOverloadIs(t *testing.T) {
	for _, text := range []string{"OL", " o.l ", "overload"} {
		if _, err := manual.Parse(text, driver.Resistance); err == nil || !strings.Contains(err.Error(), "is an overload") {
			t.Errorf("Parse(%q) = %v", text, err)
		}
	}
}

// FuzzParse holds that what is accepted prints back the same value.
func FuzzParse(f *testing.F) {
	for _, seed := range []string{"6690", "6.69k", "6,69 kΩ", "21.4 °C", "70.5F", "six", "1e-5"} {
		f.Add(seed, true)
		f.Add(seed, false)
	}
	f.Fuzz(func(t *testing.T, text string, resistance bool) {
		q := driver.Temperature
		if resistance {
			q = driver.Resistance
		}
		r, err := manual.Parse(text, q)
		if err != nil {
			return
		}
		again, err := manual.Parse(strconv.FormatFloat(r.Value, 'g', -1, 64), q)
		if err != nil || again.Value != r.Value {
			t.Fatalf("Parse(%q) = %v, which reads back as %+v, %v", text, r.Value, again, err)
		}
	})
}
