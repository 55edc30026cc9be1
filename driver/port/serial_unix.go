//go:build unix

package port

import (
	"errors"
	"fmt"
	"os"
	"time"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// openSerial opens a device for this program alone.
//
// The serial library sets the line up, but the bytes go through a descriptor of
// our own: the library's writes can block for ever, go to whatever file owns
// the number after Close, and its reads panic on descriptors from 1024 up. The
// Go runtime's own files have deadlines and none of these troubles.
func openSerial(device string, baud int, frame Frame) (stream, error) {
	f, err := os.OpenFile(device, os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, explain(device, err)
	}
	if err := prepare(f, baud, frame); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

// prepare takes the device and sets it up, in this order: a line another
// program is using keeps its settings.
func prepare(f *os.File, baud int, frame Frame) error {
	if err := claim(f); err != nil {
		return err
	}
	if err := setUp(f, baud, frame); err != nil {
		return err
	}
	if err := f.SetDeadline(time.Time{}); err != nil {
		return fmt.Errorf("reads of %s cannot be bounded in time: %w", f.Name(), err)
	}
	return nil
}

// setUp gives the line its speed and frame and drops what arrived earlier.
func setUp(f *os.File, baud int, frame Frame) error {
	p, err := serial.Open(f.Name(), frame.mode(baud))
	if err != nil {
		return explain(f.Name(), err)
	}
	// The settings stay because f stays open. Closing p gives up exclusive
	// access, so that is asked for afterwards.
	if err := errors.Join(p.ResetInputBuffer(), p.Close()); err != nil {
		return fmt.Errorf("set up %s: %w", f.Name(), err)
	}
	return control(f, func(fd int) error { return unix.IoctlSetInt(fd, unix.TIOCEXCL, 0) })
}

// claim takes the advisory lock that well-behaved serial programs respect. The
// system's exclusive access does not bind the administrator; this does.
func claim(f *os.File) error {
	err := control(f, func(fd int) error { return unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB) })
	if errors.Is(err, unix.EWOULDBLOCK) {
		return busy(f.Name())
	}
	return err
}

// control runs a system call on the descriptor without taking it from the
// runtime's poller.
func control(f *os.File, call func(fd int) error) error {
	raw, err := f.SyscallConn()
	if err != nil {
		return fmt.Errorf("control %s: %w", f.Name(), err)
	}
	var callErr error
	if err := raw.Control(func(fd uintptr) { callErr = call(int(fd)) }); err != nil {
		return fmt.Errorf("control %s: %w", f.Name(), err)
	}
	if callErr != nil {
		return fmt.Errorf("control %s: %w", f.Name(), callErr)
	}
	return nil
}
