package simulate

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"time"
)

// Instrument is what speaks at the far end of a cable.
type Instrument interface {
	// Serve speaks on line to one listener, until reading from line fails
	// because the listener has gone or the cable was pulled, or ctx is done. It
	// leaves no goroutine reading from line.
	Serve(ctx context.Context, line io.ReadWriter)
}

// Powered is an instrument that forgets something when its power fails.
type Powered interface {
	// PowerOn is called whenever the cable is put in.
	PowerOn()
}

// ErrNoPseudoTerminals is returned by PlugPTY where the system has none.
var ErrNoPseudoTerminals = errors.New("no pseudo-terminals on this system")

// Plug is a place where the cable of an instrument goes in. Its address stays
// the same over pulling and putting back. What the instrument says while
// nobody has the address open is lost, as on a wire.
//
// A Plug draws its instrument's power too: putting the cable back starts the
// instrument again.
type Plug struct {
	instrument Instrument
	socket     socket

	mu   sync.Mutex
	pull context.CancelFunc // nil while the cable is out
	jack jack
	done chan struct{} // closed when the serving goroutine has ended
}

// socket is one kind of place for a cable.
type socket interface {
	// plugIn makes the address reachable.
	plugIn() (jack, error)
	address() string
}

// jack is a cable that is in.
type jack interface {
	// next waits until somebody opens the address. It fails when ctx is done
	// or the cable is out.
	next(ctx context.Context) (session, error)
	// pull takes the cable out: sessions end, the address goes away.
	pull() error
}

// session is one listener having the address open. Reading fails when it has
// gone.
type session interface {
	io.ReadWriteCloser
	SetWriteDeadline(time.Time) error
}

// PlugPTY plugs an instrument into a new pseudo-terminal in raw mode. Its
// address is the symbolic link dir/name, which is made here and leads to the
// present terminal; it is away while the cable is out. Where the system has no
// pseudo-terminals the error wraps ErrNoPseudoTerminals.
func PlugPTY(dir, name string, instrument Instrument) (*Plug, error) {
	s, err := newPTYSocket(dir, name)
	if err != nil {
		return nil, err
	}
	return plug(s, instrument)
}

// PlugTCP plugs an instrument into a TCP port of the loopback interface that
// the system chooses. Its address is "tcp:127.0.0.1:PORT". Like a serial
// server it has one listener: a new one takes the place of the one before.
func PlugTCP(instrument Instrument) (*Plug, error) {
	return plug(&tcpSocket{hostPort: "127.0.0.1:0"}, instrument)
}

// PlugAny is PlugPTY where there are pseudo-terminals and PlugTCP elsewhere.
func PlugAny(dir, name string, instrument Instrument) (*Plug, error) {
	p, err := PlugPTY(dir, name, instrument)
	if errors.Is(err, ErrNoPseudoTerminals) {
		return PlugTCP(instrument)
	}
	return p, err
}

func plug(s socket, instrument Instrument) (*Plug, error) {
	p := &Plug{instrument: instrument, socket: s}
	if err := p.Replug(); err != nil {
		return nil, err
	}
	return p, nil
}

// Address is what a configuration calls this port.
func (p *Plug) Address() string { return p.socket.address() }

// Replug puts the cable back under the same address. It is an error when it is
// in.
func (p *Plug) Replug() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.pull != nil {
		return fmt.Errorf("plugging in %s: its cable is in already", p.Address())
	}
	j, err := p.socket.plugIn()
	if err != nil {
		return fmt.Errorf("plugging in %s: %w", p.Address(), err)
	}
	if i, ok := p.instrument.(Powered); ok {
		i.PowerOn()
	}
	ctx, cancel := context.WithCancel(context.Background())
	p.pull, p.jack, p.done = cancel, j, make(chan struct{})
	go p.serve(ctx, j, p.done)
	return nil
}

// Unplug pulls the cable: whoever has the address open sees the loss. Pulling
// it twice is no error.
func (p *Plug) Unplug() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.pull == nil {
		return nil
	}
	p.pull()
	p.pull = nil
	err := p.jack.pull()
	<-p.done
	if err != nil {
		return fmt.Errorf("unplugging %s: %w", p.Address(), err)
	}
	return nil
}

// Close pulls the cable for good. It returns when every goroutine of the plug
// has ended.
func (p *Plug) Close() error { return p.Unplug() }

func (p *Plug) serve(ctx context.Context, j jack, done chan<- struct{}) {
	defer close(done)
	for {
		s, err := j.next(ctx)
		if err != nil {
			return
		}
		p.instrument.Serve(ctx, wire{s})
		// The listener has gone; there is nobody left to tell about an error.
		_ = s.Close()
	}
}

// patience is how long a wire waits for a listener that does not take what it
// is sent. Longer than any reader is slow, shorter than a test is patient.
const patience = time.Second

// wire is a session as the instrument sees it.
type wire struct{ session }

// Write sends p. What the listener does not take in time is lost without an
// error, as on a line without flow control.
func (w wire) Write(p []byte) (int, error) {
	if err := w.SetWriteDeadline(time.Now().Add(patience)); err != nil {
		return 0, err
	}
	n, err := w.session.Write(p)
	if errors.Is(err, os.ErrDeadlineExceeded) {
		return len(p), nil
	}
	return n, err
}
