package drivertest

import (
	"fmt"
	"strings"
	"testing"
	"testing/synctest"

	"coilkeep/driver"
)

// Peer is the instrument a driver is made for, as far as [Conformance] has to
// play it.
type Peer struct {
	// Quantity is what is measured; empty means driver.Resistance.
	Quantity driver.Quantity
	// Options are the driver's settings where they differ from its defaults.
	Options driver.Options
	// Answer gives the bytes, or for a driver without a port the typed text,
	// with which the instrument says a value. The suite uses whole numbers:
	// 5001 to 5999 Ω or 20 to 29 °C.
	Answer func(value float64) []byte
	// Respond looks at what the driver has sent and not yet been answered for.
	// It returns the length of the first whole message, 0 when that is still
	// to come, and what the instrument does about it. Nil means an instrument
	// that talks without being asked.
	Respond func(sent []byte) (length int, r Response)
	// Overload is what the instrument sends while its leads are open; nil when
	// it has no way to say so.
	Overload []byte
}

// Response is what an instrument does about one message.
type Response struct {
	// Value makes it answer with its present value.
	Value bool
	// Bytes are sent otherwise; empty for a message that has no answer.
	Bytes []byte
}

// Conformance runs the suite that says whether a driver keeps the contract of
// package driver. Each failure quotes the sentence that was broken. The line
// is a [Pipe] and the clock that of a testing/synctest bubble, so the suite
// takes no time; a driver must therefore not wait for anything but its
// connection, its context, channels and timers of its own.
//
//	func TestConformance(t *testing.T) {
//		drivertest.Conformance(t, myDriver, drivertest.Peer{
//			Answer: func(value float64) []byte { return fmt.Appendf(nil, "%.1f ohm\r\n", value) },
//		})
//	}
func Conformance(t *testing.T, d driver.Driver, peer Peer) {
	t.Helper()
	if peer.Quantity == "" {
		peer.Quantity = driver.Resistance
	}
	if err := declaration(d, peer); err != nil {
		t.Fatal(err)
	}
	for _, c := range cases {
		t.Run(strings.ReplaceAll(c.name, " ", "_"), func(t *testing.T) {
			if c.needs != nil {
				if missing := c.needs(d, peer); missing != "" {
					t.Skip(missing)
				}
			}
			if err := c.check(t, d, peer); err != nil {
				t.Errorf("%v\nThe contract says: %s", err, c.sentence)
			}
		})
	}
}

// contractCase is one case of the suite.
type contractCase struct {
	name string
	// sentence is that of package driver which the case defends.
	sentence string
	// needs says why a driver does not have this case; empty when it does.
	needs func(d driver.Driver, peer Peer) string
	// run does the case on a rig whose instrument is not opened yet.
	run func(r *rig) error
}

// check runs the case in a bubble of its own.
func (c contractCase) check(t *testing.T, d driver.Driver, peer Peer) (err error) {
	defer func() {
		// When a goroutine of the bubble can never end, synctest panics.
		if p := recover(); p != nil {
			if !strings.HasPrefix(fmt.Sprint(p), "deadlock:") {
				panic(p)
			}
			err = fmt.Errorf("the driver waits for ever, or left a goroutine behind after Close: %v", p)
		}
	}()
	synctest.Test(t, func(t *testing.T) {
		r := newRig(t.Context(), d, peer)
		defer r.end()
		err = c.run(r)
	})
	return err
}

// declaration checks what can be checked without opening anything.
func declaration(d driver.Driver, peer Peer) error {
	if d.Name == "" || strings.Trim(d.Name, "abcdefghijklmnopqrstuvwxyz") != "" {
		return fmt.Errorf("driver name %q: want lower-case letters", d.Name)
	}
	if d.Help == "" || d.Open == nil || peer.Answer == nil {
		return fmt.Errorf("driver %s: Help, Open and the peer's Answer are required", d.Name)
	}
	declared := map[string]bool{}
	for _, o := range d.Options {
		if err := option(o, peer); err != nil {
			return fmt.Errorf("driver %s: option %q: %w", d.Name, o.Name, err)
		}
		if declared[o.Name] {
			return fmt.Errorf("driver %s: option %q is declared twice", d.Name, o.Name)
		}
		declared[o.Name] = true
	}
	for name := range peer.Options {
		if !declared[name] {
			return fmt.Errorf("driver %s: the peer sets option %q, which the driver does not declare", d.Name, name)
		}
	}
	return nil
}

func option(o driver.Option, peer Peer) error {
	if o.Name == "" || o.Help == "" {
		return fmt.Errorf("name and Help are required")
	}
	given, ok := peer.Options[o.Name]
	if o.Default == nil && !ok {
		return fmt.Errorf("is required and the peer does not set it")
	}
	for _, value := range []any{o.Default, given} {
		if value != nil && !ofKind(value, o.Kind) {
			return fmt.Errorf("value %v has type %T, which is not of kind %q", value, value, o.Kind)
		}
	}
	if len(o.OneOf) == 0 || o.Default == nil {
		return nil
	}
	for _, allowed := range o.OneOf {
		if o.Default == allowed {
			return nil
		}
	}
	return fmt.Errorf("default %v is not among %q", o.Default, o.OneOf)
}

func ofKind(value any, kind driver.Kind) bool {
	var ok bool
	switch kind {
	case driver.Text:
		_, ok = value.(string)
	case driver.Integer:
		_, ok = value.(int64)
	case driver.Number:
		_, ok = value.(float64)
	case driver.Texts:
		_, ok = value.([]string)
	}
	return ok
}
