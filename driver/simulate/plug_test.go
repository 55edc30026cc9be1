package simulate

import (
	"bufio"
	"context"
	"errors"
	"io"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// soon is how long a test waits for what must happen.
const soon = 10 * time.Second

// listener is somebody who has the address of a plug open.
type listener struct {
	io.ReadWriteCloser
	lines *bufio.Reader
}

type deadliner interface{ SetDeadline(time.Time) error }

func open(t *testing.T, address string) *listener {
	t.Helper()
	l, err := tryOpen(address)
	if err != nil {
		t.Fatalf("opening %s: %v", address, err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

func tryOpen(address string) (*listener, error) {
	var rwc io.ReadWriteCloser
	var err error
	if hostPort, ok := strings.CutPrefix(address, "tcp:"); ok {
		rwc, err = net.DialTimeout("tcp", hostPort, soon)
	} else {
		rwc, err = openTerminal(address)
	}
	if err != nil {
		return nil, err
	}
	if err := rwc.(deadliner).SetDeadline(time.Now().Add(soon)); err != nil {
		return nil, errors.Join(err, rwc.Close())
	}
	return &listener{rwc, bufio.NewReader(rwc)}, nil
}

func (l *listener) say(t *testing.T, text string) {
	t.Helper()
	if _, err := io.WriteString(l, text); err != nil {
		t.Fatalf("writing %q: %v", text, err)
	}
}

// line reads up to a line feed, which it keeps.
func (l *listener) line(t *testing.T) string {
	t.Helper()
	text, err := l.lines.ReadString('\n')
	if err != nil {
		t.Fatalf("reading a line: %v after %q", err, text)
	}
	return text
}

func (l *listener) wantLine(t *testing.T, want string) {
	t.Helper()
	if got := l.line(t); got != want {
		t.Errorf("got line %q, want %q", got, want)
	}
}

// wantLost waits for the connection to end.
func (l *listener) wantLost(t *testing.T) {
	t.Helper()
	_, err := io.Copy(io.Discard, l)
	if errors.Is(err, os.ErrDeadlineExceeded) {
		t.Error("the connection is still good, want it lost")
	}
}

// repeater answers every line with the line, in brackets.
type repeater struct{}

func (repeater) Serve(_ context.Context, line io.ReadWriter) {
	for lines := bufio.NewReader(line); ; {
		text, err := lines.ReadString('\n')
		if err != nil {
			return
		}
		if _, err := io.WriteString(line, "["+strings.TrimSuffix(text, "\n")+"]\n"); err != nil {
			return
		}
	}
}

// everySocket runs a test over a pseudo-terminal and over TCP.
func everySocket(t *testing.T, f func(t *testing.T, plugIn func(Instrument) *Plug)) {
	t.Helper()
	finish := func(t *testing.T, p *Plug, err error) *Plug {
		t.Helper()
		if err != nil {
			t.Fatalf("plugging in: %v", err)
		}
		t.Cleanup(func() {
			if err := p.Close(); err != nil {
				t.Errorf("closing the plug: %v", err)
			}
		})
		return p
	}
	t.Run("pseudo-terminal", func(t *testing.T) {
		t.Parallel()
		f(t, func(i Instrument) *Plug {
			p, err := PlugPTY(t.TempDir(), "instrument", i)
			if errors.Is(err, ErrNoPseudoTerminals) || errors.Is(err, os.ErrNotExist) {
				t.Skipf("no pseudo-terminals here: %v", err)
			}
			return finish(t, p, err)
		})
	})
	t.Run("TCP", func(t *testing.T) {
		t.Parallel()
		f(t, func(i Instrument) *Plug {
			p, err := PlugTCP(i)
			return finish(t, p, err)
		})
	})
}

func TestPlugCarriesBytes(t *testing.T) {
	t.Parallel()
	everySocket(t, func(t *testing.T, plugIn func(Instrument) *Plug) {
		l := open(t, plugIn(repeater{}).Address())
		// Every byte but the one that ends the line: nothing is echoed,
		// translated or taken for a control character.
		var all []byte
		for c := range 256 {
			if c != '\n' {
				all = append(all, byte(c))
			}
		}
		l.say(t, string(all)+"\n")
		l.wantLine(t, "["+string(all)+"]\n")
	})
}

// watched is a socket that tells when a session on it is over, with what its
// listener left behind cleared away.
type watched struct {
	socket
	over chan struct{}
}

type watchedJack struct {
	jack
	over chan struct{}
}

type watchedSession struct {
	session
	over chan struct{}
}

func (w watched) plugIn() (jack, error) {
	j, err := w.socket.plugIn()
	return watchedJack{j, w.over}, err
}

func (w watchedJack) next(ctx context.Context) (session, error) {
	s, err := w.jack.next(ctx)
	return watchedSession{s, w.over}, err
}

func (w watchedSession) Close() error {
	defer func() { w.over <- struct{}{} }()
	return w.session.Close()
}

// watch returns a function that waits until a listener of the plug has left.
func watch(t *testing.T, p *Plug) (left func()) {
	t.Helper()
	if err := p.Unplug(); err != nil {
		t.Fatal(err)
	}
	over := make(chan struct{}, 1)
	p.socket = watched{p.socket, over}
	if err := p.Replug(); err != nil {
		t.Fatal(err)
	}
	return func() {
		t.Helper()
		select {
		case <-over:
		case <-time.After(soon):
			t.Fatal("the plug still has a listener")
		}
	}
}

func TestListenersComeAndGo(t *testing.T) {
	t.Parallel()
	everySocket(t, func(t *testing.T, plugIn func(Instrument) *Plug) {
		p := plugIn(repeater{})
		left := watch(t, p)
		for range 10 {
			l := open(t, p.Address())
			l.say(t, "who\n")
			l.wantLine(t, "[who]\n")
			// This one leaves with an answer unread; it must not be there for the
			// next one.
			l.say(t, "left behind\n")
			l.Close()
			left()
		}
	})
}

func TestUnplugAndReplug(t *testing.T) {
	t.Parallel()
	everySocket(t, func(t *testing.T, plugIn func(Instrument) *Plug) {
		p := plugIn(repeater{})
		address := p.Address()
		for range 3 {
			l := open(t, address)
			l.say(t, "before\n")
			l.wantLine(t, "[before]\n")
			if err := p.Unplug(); err != nil {
				t.Fatalf("unplugging: %v", err)
			}
			l.wantLost(t)
			if l, err := tryOpen(address); err == nil {
				l.Close()
				t.Fatal("the address opens while the cable is out, want an error")
			}
			if err := p.Replug(); err != nil {
				t.Fatalf("replugging: %v", err)
			}
			if got := p.Address(); got != address {
				t.Fatalf("address is %q after replugging, want %q", got, address)
			}
		}
		if err := p.Replug(); err == nil || !strings.Contains(err.Error(), "in already") {
			t.Errorf("plugging in twice: got %v, want an error that says so", err)
		}
	})
}

// chatterbox never stops writing.
type chatterbox struct{}

func (chatterbox) Serve(ctx context.Context, line io.ReadWriter) {
	for ctx.Err() == nil {
		if _, err := io.WriteString(line, strings.Repeat("words ", 100)+"\n"); err != nil {
			return
		}
	}
}

func TestListenerWhoDoesNotListen(t *testing.T) {
	t.Parallel()
	everySocket(t, func(t *testing.T, plugIn func(Instrument) *Plug) {
		p := plugIn(chatterbox{})
		l := open(t, p.Address())
		l.line(t)
		if err := p.Unplug(); err != nil {
			t.Errorf("unplugging while the instrument waits to be heard: %v", err)
		}
	})
}

// What a listener does not take in time is lost, and the instrument goes on.
func TestNobodyTakesIt(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		near, far := net.Pipe()
		defer far.Close()
		w := wire{near}
		start := time.Now()
		if n, err := io.WriteString(w, "lost"); n != 4 || err != nil {
			t.Errorf("writing to nobody: got %d, %v, want 4 and no error", n, err)
		}
		if got := time.Since(start); got != patience {
			t.Errorf("the instrument waited %v, want %v", got, patience)
		}
		if err := near.Close(); err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(w, "gone"); err == nil {
			t.Error("writing to a closed line: got no error")
		}
	})
}

func TestPlugNeedsItsFolder(t *testing.T) {
	t.Parallel()
	_, err := PlugPTY(filepath.Join(t.TempDir(), "missing"), "instrument", repeater{})
	if !errors.Is(err, os.ErrNotExist) && !errors.Is(err, ErrNoPseudoTerminals) {
		t.Errorf("got %v, want a missing folder named", err)
	}
}

// A new client of a TCP port takes the place of the one before.
func TestNewClientReplacesOld(t *testing.T) {
	t.Parallel()
	p, err := PlugTCP(repeater{})
	if err != nil {
		t.Fatalf("plugging in: %v", err)
	}
	defer p.Close()
	first := open(t, p.Address())
	first.say(t, "one\n")
	first.wantLine(t, "[one]\n")
	second := open(t, p.Address())
	second.say(t, "two\n")
	second.wantLine(t, "[two]\n")
	first.wantLost(t)
}

// TestPlugsLeaveNothing is not parallel: it counts what the whole process has.
func TestPlugsLeaveNothing(t *testing.T) {
	everything := func() (goroutines, descriptors int) {
		entries, err := os.ReadDir("/proc/self/fd")
		if err != nil {
			return runtime.NumGoroutine(), 0 // no such folder: count what there is
		}
		return runtime.NumGoroutine(), len(entries)
	}
	cycle := func() {
		p, err := PlugAny(t.TempDir(), "instrument", &Probe{Bench: NewBench(Config{}), Every: time.Millisecond})
		if err != nil {
			t.Fatalf("plugging in: %v", err)
		}
		l := open(t, p.Address())
		l.line(t)
		if err := errors.Join(p.Unplug(), p.Replug()); err != nil {
			t.Fatalf("pulling and putting back: %v", err)
		}
		if err := errors.Join(l.Close(), p.Close()); err != nil {
			t.Fatalf("closing: %v", err)
		}
	}
	cycle() // what the first use starts for good is not counted
	goroutines, descriptors := everything()
	for range 25 {
		cycle()
	}
	// A goroutine that has said it is done takes a moment to end.
	for deadline := time.Now().Add(soon); ; runtime.Gosched() {
		g, d := everything()
		if g <= goroutines && d <= descriptors {
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("25 plugs later there are %d goroutines and %d descriptors, want %d and %d", g, d, goroutines, descriptors)
		}
	}
}
