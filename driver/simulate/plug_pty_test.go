//go:build linux || darwin

package simulate

import (
	"os"
	"testing"

	"golang.org/x/sys/unix"
)

func openTerminal(path string) (*os.File, error) {
	return os.OpenFile(path, os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
}

// A program that claimed the port for itself and was killed leaves the claim
// on a pseudo-terminal, which would keep everybody but root out for ever.
// What else it set is not for the next one either.
func TestKilledOwner(t *testing.T) {
	t.Parallel()
	p, err := PlugPTY(t.TempDir(), "instrument", repeater{})
	if err != nil {
		t.Fatalf("plugging in: %v", err)
	}
	defer p.Close()
	left := watch(t, p)
	for range 3 {
		l := open(t, p.Address())
		l.say(t, "mine\n")
		l.wantLine(t, "[mine]\n")
		fd := int(l.ReadWriteCloser.(*os.File).Fd())
		modes, err := unix.IoctlGetTermios(fd, getTermios)
		if err != nil {
			t.Fatalf("reading the modes: %v", err)
		}
		if modes.Lflag&(unix.ECHO|unix.ICANON) != 0 || modes.Oflag&unix.OPOST != 0 {
			t.Fatalf("modes are %+v, want raw ones", modes)
		}
		modes.Lflag |= unix.ECHO | unix.ICANON
		if err := unix.IoctlSetTermios(fd, setTermios, modes); err != nil {
			t.Fatalf("setting modes: %v", err)
		}
		if err := unix.IoctlSetInt(fd, unix.TIOCEXCL, 0); err != nil {
			t.Fatalf("claiming: %v", err)
		}
		l.Close()
		left()
	}
}
