package drivertest

import (
	"bytes"
	"context"
	"io"
	"math/rand/v2"
	"sync"
	"time"

	"coilkeep/driver/simulate"
)

// Fault spoils one answer of an instrument on its way out. Those that speak of
// line ends or checksums belong to instruments that have them.
type Fault struct {
	delay time.Duration
	spoil func(answer []byte) []byte // nil leaves it as it is
}

// Late holds an answer back. The instrument does nothing else meanwhile, so a
// question that comes before then is answered after it.
func Late(d time.Duration) Fault { return Fault{delay: d} }

// Lost swallows an answer.
func Lost() Fault { return Fault{spoil: func([]byte) []byte { return nil }} }

// Duplicate sends an answer twice.
func Duplicate() Fault {
	return Fault{spoil: func(a []byte) []byte { return append(bytes.Clone(a), a...) }}
}

// Half sends the first half of an answer and nothing more, not even a line
// end.
func Half() Fault { return Fault{spoil: func(a []byte) []byte { return a[:len(a)/2] }} }

// Tail sends an answer without its first half, as when a line is opened while
// the instrument talks.
func Tail() Fault { return Fault{spoil: func(a []byte) []byte { return a[len(a)/2:] }} }

// Merged leaves out the line end, so that the next answer runs into this one.
func Merged() Fault {
	return Fault{spoil: func(a []byte) []byte { return bytes.TrimRight(a, "\r\n") }}
}

// Noise sends n bytes of noise before an answer, the same for equal seeds: any
// bytes but line ends.
func Noise(n int, seed uint64) Fault {
	return Fault{spoil: func(a []byte) []byte {
		random := rand.New(rand.NewPCG(seed, 3))
		noise := make([]byte, 0, n+len(a))
		for len(noise) < n {
			if c := byte(random.UintN(256)); c != '\r' && c != '\n' {
				noise = append(noise, c)
			}
		}
		return append(noise, a...)
	}}
}

// Flood sends n digits without a line end with an answer glued to them.
func Flood(n int) Fault {
	return Fault{spoil: func(a []byte) []byte { return append(bytes.Repeat([]byte("7"), n), a...) }}
}

// Instead sends something else.
func Instead(answer string) Fault {
	return Fault{spoil: func([]byte) []byte { return []byte(answer) }}
}

// Faults are those that wait for the next answers of an instrument.
type Faults struct {
	mu      sync.Mutex
	waiting []Fault
	silent  bool
}

// Next spoils the next answers, one fault an answer, after those that wait
// already.
func (f *Faults) Next(faults ...Fault) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.waiting = append(f.waiting, faults...)
}

// Waiting is how many faults have not happened yet.
func (f *Faults) Waiting() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return len(f.waiting)
}

// Silence makes the instrument dead with its cable in: it answers nothing.
// Silence(false) brings it back.
func (f *Faults) Silence(silent bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.silent = silent
}

// send writes one answer, spoiled by the fault that is next, if there is one.
func (f *Faults) send(ctx context.Context, w io.Writer, answer []byte) error {
	f.mu.Lock()
	var fault Fault
	silent := f.silent
	if len(f.waiting) > 0 && !silent {
		fault, f.waiting = f.waiting[0], f.waiting[1:]
	}
	f.mu.Unlock()
	if err := simulate.Pause(ctx, fault.delay); err != nil {
		return err
	}
	if silent {
		return nil
	}
	if fault.spoil != nil {
		answer = fault.spoil(answer)
	}
	_, err := w.Write(answer)
	return err
}

// hear passes on what arrives on line, in pieces, until reading fails; then it
// closes the channel and ends ctx. A few pieces are kept when nobody takes
// them.
func hear(ctx context.Context, line io.Reader) (context.Context, <-chan []byte) {
	ctx, cancel := context.WithCancel(ctx)
	pieces := make(chan []byte, 16)
	go func() {
		defer close(pieces)
		defer cancel()
		buffer := make([]byte, 512)
		for {
			n, err := line.Read(buffer)
			if n > 0 {
				select {
				case pieces <- bytes.Clone(buffer[:n]):
				case <-ctx.Done():
				}
			}
			if err != nil {
				return
			}
		}
	}()
	return ctx, pieces
}

// drain waits until what hear started has ended.
func drain(pieces <-chan []byte) {
	for range pieces {
	}
}
