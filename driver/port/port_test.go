package port_test

import (
	"bufio"
	"context"
	"errors"
	"io"
	"os"
	"strings"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
	"coilkeep/driver/port"
)

// patience is how long a test waits for what must happen before it fails.
const patience = 20 * time.Second

func settings(address string) port.Settings {
	return port.Settings{Address: address, Timeout: 2 * time.Second}
}

func open(t *testing.T, s port.Settings) driver.Conn {
	t.Helper()
	c, err := port.Open(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

func write(t *testing.T, w io.Writer, text string) {
	t.Helper()
	if n, err := io.WriteString(w, text); n != len(text) || err != nil {
		t.Fatalf("write %q: %d, %v", text, n, err)
	}
}

// wantLine reads up to a line end and compares.
func wantLine(t *testing.T, r io.Reader, want string) {
	t.Helper()
	if c, ok := r.(driver.Conn); ok {
		c.SetReadDeadline(time.Now().Add(patience))
	}
	got, err := bufio.NewReader(r).ReadString('\n')
	if err != nil || got != want {
		t.Fatalf("read %q, %v; want %q", got, err, want)
	}
}

// readInBackground returns the error of a Read that waits for bytes.
func readInBackground(c driver.Conn) <-chan error {
	done := make(chan error, 1)
	go func() {
		_, err := c.Read(make([]byte, 64))
		done <- err
	}()
	return done
}

func wantLost(t *testing.T, done <-chan error, within time.Duration) {
	t.Helper()
	select {
	case err := <-done:
		if !errors.Is(err, driver.ErrLineLost) {
			t.Fatalf("Read = %v, want %v", err, driver.ErrLineLost)
		}
	case <-time.After(within):
		t.Fatalf("Read still waits after %v", within)
	}
}

// await waits for a condition that other goroutines bring about.
func await(t *testing.T, met func() bool, complain func()) {
	t.Helper()
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for deadline := time.Now().Add(patience); !met(); <-tick.C {
		if time.Now().After(deadline) {
			complain()
			return
		}
	}
}

func TestExchange(t *testing.T) {
	t.Parallel()
	p := drivertest.PTY(t)
	for _, frame := range []string{"8N1", "7E1", "8O2"} {
		s := settings(p.Path())
		s.Baud, s.Frame = 19200, frame
		c := open(t, s)
		write(t, c, "READ?\n")
		wantLine(t, p, "READ?\n")
		write(t, p, "+6.69")
		write(t, p, "E3\n")
		wantLine(t, c, "+6.69E3\n")
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	}
}

func TestUnusualBaud(t *testing.T) {
	t.Parallel()
	p := drivertest.PTY(t)
	s := settings(p.Path())
	s.Baud = 12345
	c := open(t, s)
	write(t, p, "6690\n")
	wantLine(t, c, "6690\n")
}

func TestWhatCameBeforeOpeningIsDropped(t *testing.T) {
	t.Parallel()
	p := drivertest.PTY(t)
	write(t, p, "5000 ohm, minutes old\n")
	c := open(t, settings(p.Path()))
	write(t, p, "6690 ohm\n")
	wantLine(t, c, "6690 ohm\n")
}

func TestHalfALineAndSilence(t *testing.T) {
	t.Parallel()
	p := drivertest.PTY(t)
	c := open(t, settings(p.Path()))
	write(t, p, "66")
	start := time.Now()
	c.SetReadDeadline(start.Add(100 * time.Millisecond))
	got, err := io.ReadAll(c)
	if string(got) != "66" || !errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("read %q, %v; want %q, %v", got, err, "66", os.ErrDeadlineExceeded)
	}
	if took := time.Since(start); took < 100*time.Millisecond {
		t.Errorf("gave up after %v, before the deadline", took)
	}
	c.SetReadDeadline(time.Time{})
	write(t, p, "90\n")
	wantLine(t, c, "90\n")
}

func TestUnplugAndReplug(t *testing.T) {
	t.Parallel()
	p := drivertest.PTY(t)
	for range 3 {
		c := open(t, settings(p.Path()))
		before := p.Device()
		done := readInBackground(c)
		p.Unplug()
		wantLost(t, done, patience)
		if _, err := io.WriteString(c, "READ?\n"); !errors.Is(err, driver.ErrLineLost) {
			t.Errorf("Write after unplugging = %v, want %v", err, driver.ErrLineLost)
		}
		if _, err := port.Open(t.Context(), settings(p.Path())); !errors.Is(err, port.ErrMissing) {
			t.Errorf("Open while unplugged = %v, want %v", err, port.ErrMissing)
		}
		c.Close()

		drivertest.PTY(t) // takes the name that has become free
		p.Replug(t)
		if p.Device() == before {
			t.Logf("the device came back under its old name %s", before)
		}
		again := open(t, settings(p.Path()))
		write(t, p, "6690\n")
		wantLine(t, again, "6690\n")
		again.Close()
	}
}

func TestADeviceThatVanishesSilently(t *testing.T) {
	t.Parallel()
	for name, vanish := range map[string]func(link string, other *drivertest.Terminal) error{
		"gone": func(link string, _ *drivertest.Terminal) error { return os.Remove(link) },
		"another device in its place": func(link string, other *drivertest.Terminal) error {
			return errors.Join(os.Remove(link), os.Symlink(other.Device(), link))
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := drivertest.PTY(t)
			c := open(t, settings(p.Path()))
			done := readInBackground(c)
			if err := vanish(p.Path(), drivertest.PTY(t)); err != nil {
				t.Fatal(err)
			}
			wantLost(t, done, patience)
		})
	}
}

func TestAWriteNobodyTakesEnds(t *testing.T) {
	t.Parallel()
	p := drivertest.PTY(t)
	s := settings(p.Path())
	s.Timeout = 200 * time.Millisecond
	c := open(t, s)
	done := readInBackground(c)
	start := time.Now()
	_, err := c.Write(make([]byte, 1<<20))
	if !errors.Is(err, driver.ErrLineLost) || !strings.Contains(err.Error(), "of 1048576 bytes in 200ms") {
		t.Errorf("Write = %v, want %v and how far it got", err, driver.ErrLineLost)
	}
	if took := time.Since(start); took < s.Timeout || took > patience {
		t.Errorf("Write returned after %v, want about %v", took, s.Timeout)
	}
	wantLost(t, done, patience)
}

func TestCloseEndsReadAndWrite(t *testing.T) {
	t.Parallel()
	p := drivertest.PTY(t)
	s := settings(p.Path())
	s.Timeout = time.Hour
	c := open(t, s)
	reading := readInBackground(c)
	writing := make(chan error, 1)
	go func() {
		_, err := c.Write(make([]byte, 1<<20))
		writing <- err
	}()
	// The first byte at the far end shows that the Write is under way.
	if _, err := p.Read(make([]byte, 1)); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(c.Close(), c.Close()); err != nil {
		t.Errorf("Close = %v", err)
	}
	wantLost(t, reading, patience)
	wantLost(t, writing, patience)
	// The port is free at once.
	open(t, settings(p.Path()))
}

// A descriptor's number is given to the next file that opens, for example the
// database: nothing may be written there.
func TestWriteAfterCloseReachesNoOtherFile(t *testing.T) {
	p := drivertest.PTY(t)
	c := open(t, settings(p.Path()))
	c.Close()
	var files []*os.File
	for range 16 {
		f, err := os.CreateTemp(t.TempDir(), "database")
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		files = append(files, f)
	}
	if n, err := io.WriteString(c, "READ?\n"); n != 0 || !errors.Is(err, driver.ErrLineLost) {
		t.Errorf("Write after Close = %d, %v; want 0, %v", n, err, driver.ErrLineLost)
	}
	for _, f := range files {
		if info, err := f.Stat(); err != nil || info.Size() != 0 {
			t.Errorf("%s: %v, %v; want an empty file", f.Name(), info, err)
		}
	}
}

func TestOverflow(t *testing.T) {
	t.Parallel()
	for name, listen := range map[string]func(t *testing.T, c driver.Conn, p *drivertest.Terminal){
		"a Read past the gap loses the line": func(t *testing.T, c driver.Conn, _ *drivertest.Terminal) {
			if _, err := c.Read(make([]byte, 8)); !errors.Is(err, driver.ErrLineLost) {
				t.Errorf("Read = %v, want %v", err, driver.ErrLineLost)
			}
		},
		"Discard forgets the gap": func(t *testing.T, c driver.Conn, p *drivertest.Terminal) {
			c.Discard()
			write(t, p, "\n6690\n")
			for {
				r := bufio.NewReader(c)
				c.SetReadDeadline(time.Now().Add(patience))
				for {
					line, err := r.ReadString('\n')
					if err != nil {
						t.Fatal(err)
					}
					if line == "6690\n" {
						return
					}
				}
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := drivertest.PTY(t)
			c := open(t, settings(p.Path()))
			// Well over the limit and what the system's buffers hold, so that
			// the end has gone in only when the limit was passed.
			write(t, p, strings.Repeat("x", 256<<10))
			listen(t, c, p)
		})
	}
}

// The serial library's reads panic on such descriptors.
func TestDescriptorsBeyond1024(t *testing.T) {
	p := drivertest.PTY(t)
	for range 1100 {
		f, err := os.Open(os.DevNull)
		if err != nil {
			t.Skipf("not enough descriptors here: %v", err)
		}
		defer f.Close()
	}
	c := open(t, settings(p.Path()))
	write(t, p, "6690\n")
	wantLine(t, c, "6690\n")
}

func TestOpenCancelled(t *testing.T) {
	t.Parallel()
	p := drivertest.PTY(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := port.Open(ctx, settings(p.Path())); !errors.Is(err, context.Canceled) {
		t.Errorf("Open = %v, want %v", err, context.Canceled)
	}
	// During the pause for a board's restart, and the port is free afterwards.
	ctx, cancel = context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	s := settings(p.Path())
	s.ResetPause = time.Hour
	if _, err := port.Open(ctx, s); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("Open = %v, want %v", err, context.DeadlineExceeded)
	}
	open(t, settings(p.Path()))
}
