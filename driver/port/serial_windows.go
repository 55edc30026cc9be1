package port

import (
	"os"
	"sync"
	"sync/atomic"
	"time"

	"go.bug.st/serial"
)

// pollEvery is how long one read of the library waits for bytes. Close waits
// for the read under way, so it is short.
const pollEvery = 100 * time.Millisecond

// libraryPort makes a stream of a port of the serial library, whose reads end
// after a time-out with nothing, whose writes have none, and whose handle must
// not be used after Close.
type libraryPort struct {
	port    serial.Port
	closing atomic.Bool
	// reading and writing are held while the library uses the handle.
	reading, writing sync.Mutex

	mu                          sync.Mutex
	readDeadline, writeDeadline time.Time
}

// openSerial opens a COM port; the system gives it to one program only.
func openSerial(device string, baud int, frame Frame) (stream, error) {
	p, err := serial.Open(device, frame.mode(baud))
	if err != nil {
		return nil, explain(device, err)
	}
	// The time-out is set once, before any read.
	for _, step := range []func() error{p.ResetInputBuffer, func() error { return p.SetReadTimeout(pollEvery) }} {
		if err := step(); err != nil {
			p.Close() // the first error tells more
			return nil, explain(device, err)
		}
	}
	return &libraryPort{port: p}, nil
}

func (l *libraryPort) Read(p []byte) (int, error) {
	for {
		n, err := l.readOnce(p)
		if n > 0 || err != nil {
			return n, err
		}
		if deadline := l.deadline(&l.readDeadline); !deadline.IsZero() && !time.Now().Before(deadline) {
			return 0, os.ErrDeadlineExceeded
		}
	}
}

func (l *libraryPort) readOnce(p []byte) (int, error) {
	l.reading.Lock()
	defer l.reading.Unlock()
	if l.closing.Load() {
		return 0, os.ErrClosed
	}
	return l.port.Read(p)
}

// Write ends at the write deadline, which must be set, by purging the port.
func (l *libraryPort) Write(p []byte) (int, error) {
	l.writing.Lock()
	defer l.writing.Unlock()
	if l.closing.Load() {
		return 0, os.ErrClosed
	}
	late := make(chan struct{})
	timer := time.AfterFunc(time.Until(l.deadline(&l.writeDeadline)), func() {
		defer close(late)
		l.port.ResetOutputBuffer() // ends the write, whose error is returned
	})
	n, err := l.port.Write(p)
	if timer.Stop() {
		return n, err
	}
	<-late
	if n == len(p) {
		return n, err
	}
	return n, os.ErrDeadlineExceeded
}

func (l *libraryPort) SetReadDeadline(t time.Time) error  { return l.setDeadline(&l.readDeadline, t) }
func (l *libraryPort) SetWriteDeadline(t time.Time) error { return l.setDeadline(&l.writeDeadline, t) }

func (l *libraryPort) setDeadline(of *time.Time, t time.Time) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	*of = t
	return nil
}

func (l *libraryPort) deadline(of *time.Time) time.Time {
	l.mu.Lock()
	defer l.mu.Unlock()
	return *of
}

// Close ends the read and the write under way and waits for them, so that the
// handle is never used again.
func (l *libraryPort) Close() error {
	l.closing.Store(true)
	l.port.ResetOutputBuffer() // ends a write, whose error is returned there
	l.reading.Lock()
	defer l.reading.Unlock()
	l.writing.Lock()
	defer l.writing.Unlock()
	return l.port.Close()
}
