package port_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
	"coilkeep/driver/port"

	"golang.org/x/sys/unix"
)

// holdPort names the port that a copy of this test program holds open until
// its standard input ends.
const holdPort = "COILKEEP_TEST_HOLD_PORT"

func TestMain(m *testing.M) {
	if address := os.Getenv(holdPort); address != "" {
		hold(address)
		return
	}
	os.Exit(m.Run())
}

func hold(address string) {
	c, err := port.Open(context.Background(), port.Settings{Address: address, Timeout: time.Second})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer c.Close()
	fmt.Println("holding")
	io.Copy(io.Discard, os.Stdin)
}

func TestBusyNamesThisProgram(t *testing.T) {
	t.Parallel()
	p := drivertest.PTY(t)
	c := open(t, settings(p.Path()))
	for _, address := range []string{p.Path(), p.Device()} {
		_, err := port.Open(t.Context(), settings(address))
		if !errors.Is(err, port.ErrBusy) || !strings.Contains(err.Error(), "this program") {
			t.Errorf("Open(%s) = %v, want %v by this program", address, err, port.ErrBusy)
		}
	}
	// The first user is not disturbed.
	write(t, p, "6690\n")
	wantLine(t, c, "6690\n")
}

func TestBusyNamesTheOtherProgram(t *testing.T) {
	t.Parallel()
	p := drivertest.PTY(t)
	other := exec.CommandContext(t.Context(), os.Args[0])
	other.Env = append(os.Environ(), holdPort+"="+p.Path())
	stdin, err := other.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	stdout, err := other.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := other.Start(); err != nil {
		t.Fatal(err)
	}
	if said, err := bufio.NewReader(stdout).ReadString('\n'); said != "holding\n" {
		t.Fatalf("the other program said %q, %v", said, err)
	}

	_, err = port.Open(t.Context(), settings(p.Path()))
	want := fmt.Sprintf("(process %d)", other.Process.Pid)
	if !errors.Is(err, port.ErrBusy) || !strings.Contains(err.Error(), want) {
		t.Errorf("Open = %v, want %v by %q", err, port.ErrBusy, want)
	}

	stdin.Close()
	if err := other.Wait(); err != nil {
		t.Fatal(err)
	}
	open(t, settings(p.Path()))
}

// An exclusive port that was not locked the way this package does it.
func TestBusyByExclusiveAccess(t *testing.T) {
	p := drivertest.PTY(t)
	f, err := os.OpenFile(p.Device(), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := unix.IoctlSetInt(int(f.Fd()), unix.TIOCEXCL, 0); err != nil {
		t.Fatal(err)
	}
	if err := f.Chmod(0o666); err != nil {
		t.Fatal(err)
	}
	asNobody(t, func() {
		_, err := port.Open(t.Context(), settings(p.Device()))
		if !errors.Is(err, port.ErrBusy) {
			t.Errorf("Open = %v, want %v", err, port.ErrBusy)
		}
	})
}

func TestForbidden(t *testing.T) {
	p := drivertest.PTY(t)
	if err := os.Chmod(p.Device(), 0); err != nil {
		t.Fatal(err)
	}
	asNobody(t, func() {
		_, err := port.Open(t.Context(), settings(p.Device()))
		if !errors.Is(err, port.ErrForbidden) || !strings.Contains(err.Error(), "ask the administrator") {
			t.Errorf("Open = %v, want %v and what to do", err, port.ErrForbidden)
		}
	})
}

// asNobody runs f without the rights of an administrator, when the test has
// them: it runs on a thread that then ends.
func asNobody(t *testing.T, f func()) {
	t.Helper()
	if os.Getuid() != 0 {
		f()
		return
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		runtime.LockOSThread() // never unlocked: the thread ends with the goroutine
		unix.Setfsgid(65534)
		unix.Setfsuid(65534)
		none := [2]unix.CapUserData{}
		if err := unix.Capset(&unix.CapUserHeader{Version: unix.LINUX_CAPABILITY_VERSION_3}, &none[0]); err != nil {
			t.Error(err)
			return
		}
		f()
	}()
	<-done
}

func TestMissing(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	dangling := filepath.Join(dir, "tty")
	if err := os.Symlink(filepath.Join(dir, "gone"), dangling); err != nil {
		t.Fatal(err)
	}
	for _, address := range []string{filepath.Join(dir, "nothing"), dangling, "usb:FFFF:FFFF:none"} {
		_, err := port.Open(t.Context(), settings(address))
		if !errors.Is(err, port.ErrMissing) {
			t.Errorf("Open(%s) = %v, want %v", address, err, port.ErrMissing)
		}
		if text := fmt.Sprint(err); !strings.Contains(text, "plugged in: ") && !strings.Contains(text, "no serial port is plugged in") {
			t.Errorf("Open(%s) = %v, want the ports that exist", address, err)
		}
	}
}

func TestNotASerialPort(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "notes.txt")
	if err := os.WriteFile(file, []byte("kept"), 0o600); err != nil {
		t.Fatal(err)
	}
	tests := []struct {
		address string
		want    error
	}{
		{file, driver.ErrSettings},
		{filepath.Dir(file), driver.ErrSettings},
		{"COM3", driver.ErrSettings},
		{os.DevNull, port.ErrMissing},
	}
	for _, tt := range tests {
		if _, err := port.Open(t.Context(), settings(tt.address)); !errors.Is(err, tt.want) {
			t.Errorf("Open(%s) = %v, want %v", tt.address, err, tt.want)
		}
	}
	if kept, err := os.ReadFile(file); string(kept) != "kept" {
		t.Errorf("the file holds %q, %v; want it untouched", kept, err)
	}
}
