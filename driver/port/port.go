// Package port opens the connections instruments are read over: serial ports
// by device path, COM name or USB identity, and serial servers by TCP address.
// It says in plain words why a port does not open and keeps two users from
// mixing their questions on one line. What the bytes mean is left to the
// drivers, and when to open again to the bench.
package port

import (
	"context"
	"errors"
	"fmt"
	"time"

	"coilkeep/driver"
)

// Errors of [Open] and [Pool.Open]; compare with errors.Is. Every one of them
// may heal, so trying again later makes sense. Settings that can never work
// give driver.ErrSettings instead.
var (
	// ErrMissing means nothing is there: no such device, or no server at the
	// TCP address.
	ErrMissing = errors.New("no such port")
	// ErrBusy means another program, or another instrument of this one, has
	// the port.
	ErrBusy = errors.New("port in use")
	// ErrForbidden means the user running this program may not open the port.
	ErrForbidden = errors.New("not permitted")
	// ErrAmbiguous means several USB adapters fit the address.
	ErrAmbiguous = errors.New("several ports fit")
	// ErrTooMany means the pool has as many connections open as it allows.
	ErrTooMany = errors.New("too many connections")
)

// Settings says which port to open and how.
type Settings struct {
	// Address is what [ParseAddress] accepts.
	Address string
	// Baud is the line speed in bit/s; 0 means 9600. Without meaning for TCP.
	Baud int
	// Frame is what [ParseFrame] accepts; empty means "8N1". Without meaning
	// for TCP.
	Frame string
	// Timeout bounds each Write, and the dialling of a TCP address. It is
	// positive.
	Timeout time.Duration
	// ResetPause is how long to wait after opening, for boards that restart
	// when a port opens; what arrives meanwhile is dropped. Mostly 0.
	ResetPause time.Duration
}

// The range of line speeds that a configuration may name, in bit/s: from the
// slowest in POSIX <termios.h> to the fastest in Linux <asm/termbits.h>.
const (
	minBaud = 50
	maxBaud = 4_000_000
)

// Validate checks everything that can be checked without opening the port. Its
// errors wrap driver.ErrSettings and name the setting.
func (s Settings) Validate() error {
	_, _, err := s.parse()
	return err
}

// parse is Validate that also returns what the texts mean.
func (s Settings) parse() (Address, Frame, error) {
	address, addressErr := ParseAddress(s.Address)
	frame, frameErr := ParseFrame(s.Frame)
	errs := []error{addressErr, frameErr}
	if s.Baud != 0 && (s.Baud < minBaud || s.Baud > maxBaud) {
		errs = append(errs, settingsError("baud = %d: want %d to %d bit/s, for example 9600", s.Baud, minBaud, maxBaud))
	}
	if s.Timeout <= 0 {
		errs = append(errs, settingsError("timeout = %v: want more than nothing, for example 2s", s.Timeout))
	}
	if s.ResetPause < 0 {
		errs = append(errs, settingsError("reset_pause = %v: want 0 or more, for example 2.5s", s.ResetPause))
	}
	return address, frame, errors.Join(errs...)
}

// baud is the line speed with its default.
func (s Settings) baud() int {
	if s.Baud == 0 {
		return 9600
	}
	return s.Baud
}

func settingsError(format string, args ...any) error {
	return fmt.Errorf("%w: %s", driver.ErrSettings, fmt.Sprintf(format, args...))
}

// Open opens a connection for one user. A USB address is looked up anew each
// time. A serial port is locked against other programs where the system can.
// What had arrived before is dropped, so the first answer is never an old one.
//
// The connection keeps the contract of driver.Conn. Reading past 64 KiB that
// nobody read in time is a lost line, unless Discard came first. With a parity
// bit in the frame, a byte that arrives damaged reads as NUL.
//
// Errors wrap those of this package, driver.ErrSettings, or ctx.Err().
func Open(ctx context.Context, s Settings) (driver.Conn, error) {
	target, err := resolve(s)
	if err != nil {
		return nil, err
	}
	c, err := target.open(ctx)
	if err != nil {
		return nil, err
	}
	return c, nil
}

// target is checked settings together with the place they lead to today.
type target struct {
	Settings
	frame Frame
	// place is the device behind links and USB identity, or host and port.
	place string
	tcp   bool
}

// resolve finds the place an address leads to now.
func resolve(s Settings) (target, error) {
	address, frame, err := s.parse()
	if err != nil {
		return target{}, fmt.Errorf("open port %q: %w", s.Address, err)
	}
	t := target{Settings: s, frame: frame, tcp: address.Kind == TCP}
	switch address.Kind {
	case TCP:
		t.place = address.hostPort()
	case USB:
		t.place, err = findUSB(address, List)
	default:
		t.place, err = findDevice(address.Path)
	}
	if err != nil {
		return target{}, fmt.Errorf("open port %s: %w", s.Address, err)
	}
	return t, nil
}

// open opens the place and lets a board behind it finish its restart.
func (t target) open(ctx context.Context) (*conn, error) {
	c, err := t.connect(ctx)
	if err != nil {
		return nil, fmt.Errorf("open port %s: %w", t.Address, err)
	}
	if err := c.settle(ctx, t.ResetPause); err != nil {
		return nil, errors.Join(fmt.Errorf("open port %s: %w", t.Address, err), c.Close())
	}
	return c, nil
}

func (t target) connect(ctx context.Context) (*conn, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if t.tcp {
		stream, err := dial(ctx, t.place, t.Timeout)
		if err != nil {
			return nil, err
		}
		return newConn(t.Address, stream, t.Timeout, nil), nil
	}
	stream, err := openSerial(t.place, t.baud(), t.frame)
	if err != nil {
		return nil, err
	}
	return newConn(t.Address, stream, t.Timeout, stillThere(t.Address, t.place)), nil
}
