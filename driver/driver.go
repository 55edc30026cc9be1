// Package driver is the contract between coilkeep and the instruments at a
// bench: what a meter or a probe driver must do, what it returns and which
// errors it may return. It knows nothing of coils.
//
// A driver turns the bytes of one opened connection into readings. It does not
// open ports, retry, pause between questions or decide whether a coil is
// connected; the bench does all of that, the same way for every driver.
//
// A third party adds a driver from a module of its own by calling [Register]
// in an init function and importing that package from a small main of its own;
// see the package example. The conformance suite in driver/drivertest says in
// one line whether a driver keeps this contract.
package driver

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"
)

// Quantity says what an instrument is asked to measure. Its text is part of
// the contract.
type Quantity string

const (
	// Resistance readings are in ohms.
	Resistance Quantity = "resistance"
	// Temperature readings are in degrees Celsius.
	Temperature Quantity = "temperature"
)

// Unit names the unit readings of q carry: "Ω" or "°C".
func (q Quantity) Unit() string {
	if q == Temperature {
		return "°C"
	}
	return "Ω"
}

// Status says whether a reading is a number, and if not, why not. Its text is
// stored and used as a metric label, so it is part of the contract.
type Status string

const (
	// OK marks a whole answer with a value in range.
	OK Status = "ok"
	// Overload marks an instrument that says its input is out of its range:
	// open leads, or a fixed range that is too small. A meter may say so by
	// sending not-a-number, where its protocol has no word for it.
	Overload Status = "overload"
	// Unreadable marks bytes that are not a whole answer: a cut or merged line,
	// noise, a bad checksum, an answer to some other question.
	Unreadable Status = "unreadable"
	// Impossible marks a whole answer that cannot be true: not-a-number, the
	// wrong unit, a power-on value, a stuck or out-of-range value.
	Impossible Status = "impossible"
)

// Reading is one answer from one instrument at one instant.
type Reading struct {
	// Time is when the last byte of the answer arrived.
	Time time.Time
	// Value is in ohms or degrees Celsius, as the quantity asked for. It means
	// something only when Status is OK; otherwise it is 0.
	Value float64
	// Resolution is the size of one step of the last digit, in the unit of
	// Value; 0 when the answer does not show it.
	Resolution float64
	// Status is never empty.
	Status Status
	// Reason says in a few plain words what is wrong; empty when Status is OK.
	Reason string
	// Raw is the answer as received, without its line end, at most 4 KiB.
	// Bytes that are not printable text are escaped as in a Go string literal;
	// binary protocols give their frame in hexadecimal.
	Raw string
}

// Identity is what an instrument says of itself.
type Identity struct {
	Manufacturer, Model, Serial, Firmware string
	// Raw is the whole answer as received.
	Raw string
}

// Errors an instrument may return. A driver wraps them with what it tried, so
// compare with errors.Is. A reading that is merely bad is not an error: it is
// returned as a Reading with a Status other than OK.
var (
	// ErrSilent means no answer came within the time-out. The connection may
	// still be good, and the instrument has been left in a state where the next
	// answer belongs to the next question.
	ErrSilent = errors.New("no answer")
	// ErrLineLost means the connection is gone or can no longer be trusted.
	// The caller must close the instrument and open a new one.
	ErrLineLost = errors.New("connection lost")
	// ErrRefused means the instrument answers but will not do what it is asked:
	// wrong function, unknown command, an exception code.
	ErrRefused = errors.New("refused by the instrument")
	// ErrSettings means the settings cannot work; opening again will not help.
	ErrSettings = errors.New("bad settings")
)

// Conn is an opened byte stream to an instrument. A driver is its only user.
// Close may be called from another goroutine and ends a blocked Read or Write
// with [ErrLineLost].
type Conn interface {
	// Read returns at least one byte, or os.ErrDeadlineExceeded when the read
	// deadline has passed, or an error wrapping ErrLineLost.
	Read(p []byte) (n int, err error)
	// Write writes all of p or returns an error wrapping ErrLineLost; it never
	// blocks longer than the time-out the connection was opened with.
	Write(p []byte) (n int, err error)
	// SetReadDeadline bounds the Reads that follow and one under way; the zero
	// time removes it. It may be called from another goroutine.
	SetReadDeadline(t time.Time) error
	// Discard drops what has arrived and was not read, and returns how many
	// bytes that was. It does not wait.
	Discard() int
	Close() error
}

// Instrument is one opened meter or probe. It is used by one goroutine at a
// time, except Close.
type Instrument interface {
	// Read asks for one reading, or waits for the next one of a free-running
	// talker. It returns within the time-out of the settings, or when ctx is
	// done, or when the connection is closed. The error is nil, or wraps one of
	// the errors above, or is ctx.Err().
	Read(ctx context.Context) (Reading, error)
	// Close closes the connection and ends a Read under way. It may be called
	// more than once.
	Close() error
}

// Identifier is an instrument that can say what it is. An instrument that
// cannot answer in its present state returns an error; that is not a fault.
type Identifier interface {
	Identify(ctx context.Context) (Identity, error)
}

// FreeRunner is an instrument that may talk without being asked. When
// FreeRunning reports true the caller reads without pauses of its own, so that
// no answer grows old in a buffer.
type FreeRunner interface {
	FreeRunning() bool
}

// Dropper is an instrument that counts the bytes it threw away because they
// belonged to no answer: late and doubled answers, echoes, noise. A count that
// grows points at a time-out that is too short or a bad cable.
type Dropper interface {
	// Dropped is the count since the instrument was opened. It is called
	// between Reads, by the goroutine that calls Read.
	Dropped() int64
}

// Reinterpreter is an instrument whose last answer would be another value under
// other settings, and that tells which: a wrong order of bytes shows as nonsense
// that looks like a number.
type Reinterpreter interface {
	// Reinterpret reads the last whole answer under other settings; nil when
	// there was none. It is called between Reads, by the goroutine that calls
	// Read.
	Reinterpret() []Reinterpretation
}

// Reinterpretation is what an answer would have been.
type Reinterpretation struct {
	// Options holds the settings that would have to be other than they are.
	Options Options
	// Reading has neither Time nor Raw.
	Reading Reading
}

// Typist is an instrument whose readings a person types in. Its Read waits for
// that person as long as it takes, without a time-out.
type Typist interface {
	// Type parses text as typed, for example "6.69k" or "21.4", and makes it
	// the next reading. It returns an error that quotes the text and says what
	// is expected.
	Type(text string) (Reading, error)
}

// Options holds the keys of a driver's own settings as the configuration gave
// them: string, int64, float64, bool or []string, by the Kind of the Option.
// Keys that were not given hold the default.
type Options map[string]any

// Settings is what a driver needs to know to open an instrument.
type Settings struct {
	// Quantity is what the readings must be.
	Quantity Quantity
	// Timeout bounds one question and its answer; it is positive.
	Timeout time.Duration
	// Options holds a value for every Option the driver declares.
	Options Options
	// Now gives the time stamped on readings; never nil.
	Now func() time.Time
}

// Kind is the type of an option's value.
type Kind string

const (
	Text    Kind = "text"    // string
	Integer Kind = "integer" // int64
	Number  Kind = "number"  // float64; an integer in the file is accepted
	Texts   Kind = "texts"   // []string
)

// Option declares one configuration key that belongs to a driver.
type Option struct {
	Name    string
	Kind    Kind
	Default any // of the Go type that Kind names; nil makes the key required
	// OneOf lists the only texts allowed; empty allows any.
	OneOf []string
	// Help is one sentence for people.
	Help string
}

// Driver is one way to talk to instruments.
type Driver struct {
	// Name is what the configuration says: lower-case letters.
	Name string
	// Help is one sentence for people.
	Help    string
	Options []Option
	// NoPort is true for a driver that needs no connection; Open then gets a
	// nil Conn and a configuration with a port is refused.
	NoPort bool
	// SharesPort is true when several instruments may use one port, each
	// exchange whole. Their Conns then arrive already serialised per exchange:
	// see [Locker].
	SharesPort bool
	// Open prepares an instrument on conn: it sends what the instrument needs
	// before the first question, every time. It does not close conn when it
	// fails. Errors wrap ErrSettings when no new attempt can help.
	Open func(ctx context.Context, conn Conn, s Settings) (Instrument, error)
}

// Locker is implemented by the Conn of a shared port. A driver with SharesPort
// holds the lock over one whole exchange, question and answer.
type Locker interface {
	Lock()
	Unlock()
}

var registry = struct {
	sync.RWMutex
	byName map[string]Driver
}{byName: map[string]Driver{}}

// Register makes a driver known by its name. It panics when the name is empty
// or taken or Open is nil: that is a bug in the program, found at start-up.
func Register(d Driver) {
	registry.Lock()
	defer registry.Unlock()
	if d.Name == "" || d.Open == nil {
		panic("driver: Register needs a name and an Open function")
	}
	if _, taken := registry.byName[d.Name]; taken {
		panic(fmt.Sprintf("driver: %q is registered twice", d.Name))
	}
	registry.byName[d.Name] = d
}

// Lookup returns the driver registered under name.
func Lookup(name string) (Driver, bool) {
	registry.RLock()
	defer registry.RUnlock()
	d, ok := registry.byName[name]
	return d, ok
}

// Names returns the names of all registered drivers, sorted.
func Names() []string {
	registry.RLock()
	defer registry.RUnlock()
	names := make([]string, 0, len(registry.byName))
	for name := range registry.byName {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}
