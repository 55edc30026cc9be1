package port

import (
	"os"
	"testing"

	"golang.org/x/sys/unix"

	"coilkeep/driver/drivertest"
)

// A byte that arrives damaged reads as NUL, which no driver takes for a digit,
// when the parity is checked (INPCK) and the byte is neither dropped (IGNPAR)
// nor marked (PARMRK), and the eighth bit is left alone (ISTRIP): POSIX.1-2017,
// 11.2.2 Input Modes. A pseudo-terminal has no parity to damage, so what is
// looked at is how the line was set up.
func TestADamagedByteReadsAsNUL(t *testing.T) {
	t.Parallel()
	for name, checked := range map[string]bool{"8N1": false, "7E1": true, "8O2": true} {
		frame, err := ParseFrame(name)
		if err != nil {
			t.Fatal(err)
		}
		stream, err := openSerial(drivertest.PTY(t).Device(), 9600, frame)
		if err != nil {
			t.Fatal(err)
		}
		defer stream.Close()
		var line *unix.Termios
		err = control(stream.(*os.File), func(fd int) error {
			line, err = unix.IoctlGetTermios(fd, unix.TCGETS)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		want := uint32(0)
		if checked {
			want = unix.INPCK
		}
		if got := line.Iflag & (unix.INPCK | unix.IGNPAR | unix.PARMRK | unix.ISTRIP); got != want {
			t.Errorf("%s: input flags %#o of INPCK, IGNPAR, PARMRK and ISTRIP, want %#o", name, got, want)
		}
	}
}
