//go:build linux || darwin

package simulate

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

type ptySocket struct {
	link string
}

func newPTYSocket(dir, name string) (socket, error) {
	link, err := filepath.Abs(filepath.Join(dir, name))
	if err != nil {
		return nil, fmt.Errorf("naming a pseudo-terminal: %w", err)
	}
	return &ptySocket{link: link}, nil
}

func (s *ptySocket) address() string { return s.link }

func (s *ptySocket) plugIn() (jack, error) {
	j := &ptyJack{link: s.link}
	if err := j.renew(); err != nil {
		return nil, err
	}
	return j, nil
}

// ptyJack is the instrument's end of a pseudo-terminal. It does not keep the
// other end open, so it can tell whether anybody has.
type ptyJack struct {
	link string

	mu     sync.Mutex // guards master and name against pull
	master *os.File
	name   string // of the terminal behind the link
	pulled bool
}

// renew opens a new pseudo-terminal and turns the link to it.
func (j *ptyJack) renew() error {
	master, name, err := openPTY()
	if err != nil {
		return err
	}
	if err := relink(name, j.link); err != nil {
		return errors.Join(err, master.Close())
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.pulled {
		return errors.Join(os.ErrClosed, os.Remove(j.link), master.Close())
	}
	if j.master != nil {
		_ = j.master.Close()
	}
	j.master, j.name = master, name
	return nil
}

// relink turns link to a terminal. Renaming over the old link leaves no moment
// without one.
func relink(terminal, link string) error {
	aside := link + ".new"
	if err := os.Remove(aside); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if err := os.Symlink(terminal, aside); err != nil {
		return err
	}
	return os.Rename(aside, link)
}

// openPTY returns the instrument's end of a new pseudo-terminal and the name
// of the other end, which is in raw mode and closed.
func openPTY() (*os.File, string, error) {
	first, tty, err := pty.Open()
	if err != nil {
		return nil, "", fmt.Errorf("opening a pseudo-terminal: %w", err)
	}
	defer first.Close()
	defer tty.Close()
	if err := quieten(tty); err != nil {
		return nil, "", err
	}
	// The library leaves its descriptor blocking, and closing a blocking one
	// does not end a Read under way.
	fd, err := unix.FcntlInt(first.Fd(), unix.F_DUPFD_CLOEXEC, 0)
	if err != nil {
		return nil, "", fmt.Errorf("duplicating a pseudo-terminal: %w", err)
	}
	if err := unix.SetNonblock(fd, true); err != nil {
		return nil, "", errors.Join(fmt.Errorf("setting a pseudo-terminal non-blocking: %w", err), unix.Close(fd))
	}
	return os.NewFile(uintptr(fd), first.Name()), tty.Name(), nil
}

// quieten puts a terminal in raw mode, so that it neither echoes nor
// translates, drops what was sent to it and not read, and ends a claim for
// exclusive use.
func quieten(tty *os.File) error {
	fd := int(tty.Fd())
	t, err := unix.IoctlGetTermios(fd, getTermios)
	if err != nil {
		return fmt.Errorf("reading the modes of %s: %w", tty.Name(), err)
	}
	// As cfmakeraw(3).
	t.Iflag &^= unix.IGNBRK | unix.BRKINT | unix.PARMRK | unix.ISTRIP | unix.INLCR | unix.IGNCR | unix.ICRNL | unix.IXON
	t.Oflag &^= unix.OPOST
	t.Lflag &^= unix.ECHO | unix.ECHONL | unix.ICANON | unix.ISIG | unix.IEXTEN
	t.Cflag = t.Cflag&^(unix.CSIZE|unix.PARENB) | unix.CS8
	t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
	if err := unix.IoctlSetTermios(fd, setTermios, t); err != nil {
		return fmt.Errorf("setting raw mode on %s: %w", tty.Name(), err)
	}
	if err := flushInput(fd); err != nil {
		return fmt.Errorf("flushing %s: %w", tty.Name(), err)
	}
	if err := unix.IoctlSetInt(fd, unix.TIOCNXCL, 0); err != nil {
		return fmt.Errorf("ending the claim on %s: %w", tty.Name(), err)
	}
	return nil
}

// lookEvery is how often a terminal nobody has open is looked at: the kernel
// tells when the last user of a terminal leaves, but not when one comes.
const lookEvery = 5 * time.Millisecond

func (j *ptyJack) next(ctx context.Context) (session, error) {
	look := time.NewTicker(lookEvery)
	defer look.Stop()
	for {
		j.mu.Lock()
		master := j.master
		j.mu.Unlock()
		there, err := hasListener(master)
		if err != nil {
			return nil, err
		}
		if there {
			return &ptySession{File: master, jack: j}, nil
		}
		select {
		case <-look.C:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

// hasListener is true while somebody has the other end of master open.
func hasListener(master *os.File) (bool, error) {
	raw, err := master.SyscallConn()
	if err != nil {
		return false, err
	}
	var there bool
	var pollErr error
	err = raw.Control(func(fd uintptr) {
		fds := []unix.PollFd{{Fd: int32(fd), Events: unix.POLLIN}}
		_, pollErr = unix.Poll(fds, 0)
		there = pollErr == nil && fds[0].Revents&unix.POLLHUP == 0
	})
	if errors.Is(pollErr, unix.EINTR) {
		pollErr = nil // the caller looks again
	}
	return there, errors.Join(err, pollErr)
}

// tidy makes the terminal as new after a listener has left it: modes it set
// and bytes it did not read are not for the next one. A real port also forgets
// that it was claimed for exclusive use when its owner is killed; a
// pseudo-terminal does not. Only root can open one that is still claimed, so
// for others it is replaced.
func (j *ptyJack) tidy(master *os.File) error {
	if there, err := hasListener(master); err != nil || there {
		return err
	}
	tty, err := os.OpenFile(j.name, os.O_RDWR|unix.O_NOCTTY, 0)
	if err == nil {
		return errors.Join(quieten(tty), tty.Close())
	}
	if !errors.Is(err, unix.EBUSY) {
		return err
	}
	if there, err := hasListener(master); err != nil || there {
		return err
	}
	return j.renew()
}

func (j *ptyJack) pull() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.pulled = true
	// The name of a terminal that is gone is given to the next one that is
	// opened, by any program: the link must not stay.
	return errors.Join(os.Remove(j.link), j.master.Close())
}

type ptySession struct {
	*os.File
	jack *ptyJack
}

// Read fails with io.EOF when the listener has gone.
func (s *ptySession) Read(p []byte) (int, error) {
	n, err := s.File.Read(p)
	if errors.Is(err, unix.EIO) {
		return n, io.EOF
	}
	return n, err
}

// Close ends the session and leaves the cable in.
func (s *ptySession) Close() error { return s.jack.tidy(s.File) }
