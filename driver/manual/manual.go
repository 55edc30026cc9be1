// Package manual is the instrument whose readings a person types in: an old
// analogue bridge, a meter without an interface, a thermometer on the wall. It
// needs no connection. What is typed may carry an SI prefix and a unit: "6690",
// "6.69k", "6.69 kΩ", "21.4", "70.5 F".
package manual

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"

	"coilkeep/driver"
	"coilkeep/driver/internal/lines"
	"coilkeep/driver/internal/number"
)

func init() {
	driver.Register(driver.Driver{
		Name:   "manual",
		Help:   "values that a person types in",
		NoPort: true,
		Open:   open,
	})
}

// Manual is an instrument whose Read waits, as long as it takes, for a person
// to type. It is a [driver.Typist]; Type may be called while Read waits.
type Manual struct {
	settings  driver.Settings
	typed     chan driver.Reading
	closed    chan struct{}
	closeOnce sync.Once
}

func open(_ context.Context, _ driver.Conn, s driver.Settings) (driver.Instrument, error) {
	return &Manual{settings: s, typed: make(chan driver.Reading, 1), closed: make(chan struct{})}, nil
}

// FreeRunning is true: Read waits by itself.
func (m *Manual) FreeRunning() bool { return true }

// Read waits for the next typed value. Unlike other instruments it knows no
// time-out. The error is ctx.Err(), or wraps driver.ErrLineLost after Close.
func (m *Manual) Read(ctx context.Context) (driver.Reading, error) {
	if err := ctx.Err(); err != nil {
		return driver.Reading{}, err
	}
	select {
	case <-m.closed:
		return driver.Reading{}, errClosed
	default:
	}
	select {
	case r := <-m.typed:
		return r, nil
	case <-ctx.Done():
		return driver.Reading{}, ctx.Err()
	case <-m.closed:
		return driver.Reading{}, errClosed
	}
}

var errClosed = fmt.Errorf("%w: the instrument was closed", driver.ErrLineLost)

// Type makes what a person typed the next reading; its time is now. It returns
// an error when the text is not one value, and when the value typed before has
// not been read yet.
func (m *Manual) Type(text string) (driver.Reading, error) {
	r, err := Parse(text, m.settings.Quantity)
	if err != nil {
		return driver.Reading{}, err
	}
	r.Time = m.settings.Now()
	select {
	case <-m.closed:
		return driver.Reading{}, errClosed
	default:
	}
	select {
	case m.typed <- r:
		return r, nil
	default:
		return driver.Reading{}, errors.New("the value typed before this one has not been taken up yet; type this one again in a moment")
	}
}

// Close ends a Read under way.
func (m *Manual) Close() error {
	m.closeOnce.Do(func() { close(m.closed) })
	return nil
}

// Parse maps text as typed to a reading of q; Time is left to the caller. The
// error quotes the text and says what is expected.
func Parse(text string, q driver.Quantity) (driver.Reading, error) {
	if q == driver.Resistance && number.IsOverload(strings.TrimSpace(text)) {
		return driver.Reading{}, fmt.Errorf("%q is an overload: the clips are open, or the coil is, and there is nothing to record; "+
			"type a reading when the meter shows one", text)
	}
	r, err := number.Typed(text, q)
	if err == nil && q == driver.Resistance && r.Value < 0 {
		err = errors.New("a resistance is not negative")
	}
	if err != nil {
		return driver.Reading{}, fmt.Errorf("%q is not a %s: %w; type it like %s", text, q, err, example(q))
	}
	r.Raw = lines.Raw([]byte(text))
	return r, nil
}

func example(q driver.Quantity) string {
	if q == driver.Temperature {
		return "21.4, 21.4 °C or 70.5 F"
	}
	return "6690, 6.69k or 6.69 kΩ"
}
