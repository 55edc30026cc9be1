package drivertest

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"go.bug.st/serial"
)

// Terminal is a pseudo-terminal that stands for a serial adapter with an
// instrument behind it. Its Read and Write are the instrument's end; a driver
// opens Path. All methods may be called from any goroutine.
type Terminal struct {
	path string

	mu     sync.Mutex
	master *os.File
	slave  *os.File // held so that the line keeps its settings between opens
}

// PTY returns a plugged-in terminal in raw mode that lives as long as the
// test. Where there are no pseudo-terminals it skips the test and says so.
func PTY(t testing.TB) *Terminal {
	t.Helper()
	p := &Terminal{path: filepath.Join(t.TempDir(), "tty")}
	err := p.plug()
	if errors.Is(err, pty.ErrUnsupported) || errors.Is(err, os.ErrNotExist) {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(p.Unplug)
	return p
}

// Path is the address a driver opens: a link that stays the same while the
// device behind it comes and goes under other names.
func (p *Terminal) Path() string { return p.path }

// Device is the name of the device now behind Path; empty when unplugged.
func (p *Terminal) Device() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.slave == nil {
		return ""
	}
	return p.slave.Name()
}

// Read gives what was written to the port; it waits for at least one byte.
// Unplug ends it with an error.
func (p *Terminal) Read(b []byte) (int, error) {
	master, err := p.end()
	if err != nil {
		return 0, err
	}
	return master.Read(b)
}

// Write makes b arrive at the port. It waits while the port's buffers of a few
// kilobytes are full, at most 10 s. Unplug ends it with an error.
func (p *Terminal) Write(b []byte) (int, error) {
	master, err := p.end()
	if err != nil {
		return 0, err
	}
	// Not every system has deadlines on terminals; there Unplug ends the wait.
	if err := master.SetWriteDeadline(time.Now().Add(10 * time.Second)); err != nil && !errors.Is(err, os.ErrNoDeadline) {
		return 0, fmt.Errorf("write to the pseudo-terminal: %w", err)
	}
	return master.Write(b)
}

// Unplug takes the device away: whoever has it open finds it dead, and Path
// dangles. Unplugging twice does nothing.
func (p *Terminal) Unplug() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.master == nil {
		return
	}
	p.slave.Close()
	p.master.Close()
	p.master, p.slave = nil, nil
}

// Replug brings a device back under Path, most often under another name.
func (p *Terminal) Replug(t testing.TB) {
	t.Helper()
	p.Unplug()
	if err := p.plug(); err != nil {
		t.Fatal(err)
	}
}

func (p *Terminal) end() (*os.File, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.master == nil {
		return nil, fmt.Errorf("pseudo-terminal %s: %w", p.path, os.ErrClosed)
	}
	return p.master, nil
}

func (p *Terminal) plug() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	master, slave, err := pty.Open()
	if err != nil {
		return fmt.Errorf("open a pseudo-terminal: %w", err)
	}
	if err := errors.Join(makeRaw(slave.Name()), relink(slave.Name(), p.path)); err != nil {
		return errors.Join(err, slave.Close(), master.Close())
	}
	p.master, p.slave = master, slave
	return nil
}

// makeRaw ends echo and line editing on the device, which keeps that setting.
// The serial library does so whenever it opens one.
func makeRaw(device string) error {
	port, err := serial.Open(device, &serial.Mode{})
	if err != nil {
		return fmt.Errorf("make %s raw: %w", device, err)
	}
	return port.Close()
}

// relink points path at device; the link is replaced in one step so that Path
// is never missing, only dangling.
func relink(device, path string) error {
	next := path + ".next"
	if err := os.Symlink(device, next); err != nil {
		return fmt.Errorf("link %s: %w", device, err)
	}
	if err := os.Rename(next, path); err != nil {
		return fmt.Errorf("link %s: %w", device, err)
	}
	return nil
}
