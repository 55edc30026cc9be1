package inbox_test

import (
	"bytes"
	"errors"
	"io"
	"os"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"coilkeep/driver/internal/inbox"
)

func wantRead(t *testing.T, b *inbox.Inbox, room int, want string) {
	t.Helper()
	p := make([]byte, room)
	if n, err := b.Read(p); err != nil || string(p[:n]) != want {
		t.Errorf("read %q, %v; want %q", p[:n], err, want)
	}
}

func wantError(t *testing.T, b *inbox.Inbox, want error) {
	t.Helper()
	if n, err := b.Read(make([]byte, 8)); n != 0 || !errors.Is(err, want) {
		t.Errorf("read %d bytes, %v; want the error %v", n, err, want)
	}
}

func TestReadTakesWhatArrivedInOrder(t *testing.T) {
	t.Parallel()
	b := inbox.New()
	b.Put([]byte("R=66"))
	b.Put([]byte("90\r\n"))
	wantRead(t, b, 3, "R=6")
	wantRead(t, b, 64, "690\r\n")
	if n, err := b.Read(nil); n != 0 || err != nil {
		t.Errorf("a read without room gave %d, %v; want nothing at once", n, err)
	}
}

// The inbox keeps bytes, not the slice they came in: a pump reads into the same
// one again.
func TestPutCopies(t *testing.T) {
	t.Parallel()
	b := inbox.New()
	p := []byte("first")
	b.Put(p)
	copy(p, "other")
	wantRead(t, b, 64, "first")
}

func TestReadWaitsForBytes(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		b := inbox.New()
		start := time.Now()
		time.AfterFunc(3*time.Second, func() { b.Put([]byte("late")) })
		wantRead(t, b, 64, "late")
		if took := time.Since(start); took != 3*time.Second {
			t.Errorf("the read took %v, want 3s", took)
		}
	})
}

// Bytes that are none must not wake a reader with nothing.
func TestReadNeverReturnsNothing(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		b := inbox.New()
		time.AfterFunc(time.Second, func() { b.Put(nil) })
		time.AfterFunc(2*time.Second, func() { b.Put([]byte("x")) })
		wantRead(t, b, 64, "x")
	})
}

func TestDeadline(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		b := inbox.New()
		start := time.Now()
		b.SetDeadline(start.Add(2 * time.Second))
		wantError(t, b, os.ErrDeadlineExceeded)
		if took := time.Since(start); took != 2*time.Second {
			t.Errorf("the read took %v, want 2s", took)
		}
		// It stays passed, even with bytes waiting, until it is moved.
		b.Put([]byte("noise"))
		wantError(t, b, os.ErrDeadlineExceeded)
		b.SetDeadline(time.Time{})
		wantRead(t, b, 64, "noise")
	})
}

// A deadline that moves while a read waits counts for that read.
func TestDeadlineMovesUnderARead(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name     string
		from, to time.Duration // 0 is none
		want     time.Duration
	}{
		{"from none", 0, 5 * time.Second, 5 * time.Second},
		{"nearer", time.Minute, 5 * time.Second, 5 * time.Second},
		{"into the past", time.Minute, time.Nanosecond, time.Second},
		{"further", 2 * time.Second, 7 * time.Second, 7 * time.Second},
		{"away", 2 * time.Second, 0, 10 * time.Second},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			synctest.Test(t, func(t *testing.T) {
				b := inbox.New()
				start := time.Now()
				at := func(d time.Duration) time.Time {
					if d == 0 {
						return time.Time{}
					}
					return start.Add(d)
				}
				b.SetDeadline(at(tt.from))
				time.AfterFunc(time.Second, func() { b.SetDeadline(at(tt.to)) })
				time.AfterFunc(10*time.Second, func() { b.Fail(io.EOF) })
				want := os.ErrDeadlineExceeded
				if tt.to == 0 {
					want = io.EOF
				}
				wantError(t, b, want)
				if took := time.Since(start); took != tt.want {
					t.Errorf("the read took %v, want %v", took, tt.want)
				}
			})
		})
	}
}

func TestFailComesAfterWhatArrived(t *testing.T) {
	t.Parallel()
	b := inbox.New()
	b.Put([]byte("last words"))
	b.Fail(io.ErrUnexpectedEOF)
	b.Fail(io.EOF)
	b.Put([]byte("from the grave"))
	wantRead(t, b, 64, "last words")
	for range 2 {
		wantError(t, b, io.ErrUnexpectedEOF) // the first stays, for ever
	}
}

func TestFailAndCloseWakeARead(t *testing.T) {
	t.Parallel()
	for name, end := range map[string]func(b *inbox.Inbox){
		"fail":  func(b *inbox.Inbox) { b.Fail(os.ErrClosed) },
		"close": func(b *inbox.Inbox) { b.Close(os.ErrClosed) },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			synctest.Test(t, func(t *testing.T) {
				b := inbox.New()
				time.AfterFunc(time.Second, func() { end(b) })
				wantError(t, b, os.ErrClosed)
			})
		})
	}
}

func TestCloseDropsWhatArrived(t *testing.T) {
	t.Parallel()
	b := inbox.New()
	b.Put([]byte("unread"))
	b.Close(os.ErrClosed)
	wantError(t, b, os.ErrClosed)
	if n := b.Discard(); n != 0 {
		t.Errorf("after Close %d bytes wait, want none", n)
	}
}

func TestDiscard(t *testing.T) {
	t.Parallel()
	b := inbox.New()
	if n := b.Discard(); n != 0 {
		t.Errorf("an empty inbox dropped %d bytes", n)
	}
	b.Put([]byte("0123456789"))
	wantRead(t, b, 4, "0123")
	if n := b.Discard(); n != 6 {
		t.Errorf("dropped %d bytes, want the 6 that were not read", n)
	}
	b.Put([]byte("next"))
	wantRead(t, b, 64, "next")
}

// More than the limit is worth nothing: what would be read has a gap before it.
func TestOverflow(t *testing.T) {
	t.Parallel()
	b := inbox.New()
	full := bytes.Repeat([]byte("x"), inbox.Limit)
	b.Put(full)
	wantRead(t, b, inbox.Limit, string(full)) // just full is good
	b.Put(full)
	b.Put([]byte("y"))
	wantError(t, b, inbox.ErrOverflow)
	b.Put([]byte("after the gap"))
	wantError(t, b, inbox.ErrOverflow) // until the reader says that it knows
	if n, want := b.Discard(), inbox.Limit+1+len("after the gap"); n != want {
		t.Errorf("dropped %d bytes, want %d", n, want)
	}
	b.Put([]byte("whole again"))
	wantRead(t, b, 64, "whole again")
}

func TestOverflowWakesAReadAndAnEndFollowsIt(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		b := inbox.New()
		time.AfterFunc(time.Second, func() { b.Put(make([]byte, inbox.Limit+1)) })
		wantError(t, b, inbox.ErrOverflow)
		b.Fail(io.EOF)
		wantError(t, b, inbox.ErrOverflow)
		b.Discard()
		wantError(t, b, io.EOF)
	})
}

// TestAgainstAQueue does random things to an inbox and to a plain list of bytes:
// every byte comes once and in order, or is counted as dropped.
func TestAgainstAQueue(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		b := inbox.New()
		var queue []byte
		lost, ended := 0, false
		next := byte(0)
		t.Repeat(map[string]func(*rapid.T){
			"put": func(t *rapid.T) {
				p := make([]byte, rapid.SampledFrom([]int{0, 1, 7, 4096, inbox.Limit}).Draw(t, "size"))
				for i := range p {
					p[i] = next
					next++
				}
				b.Put(p)
				switch {
				case ended:
				case lost > 0 || len(queue)+len(p) > inbox.Limit:
					lost += len(queue) + len(p)
					queue = nil
				default:
					queue = append(queue, p...)
				}
			},
			"read": func(t *rapid.T) {
				if lost == 0 && len(queue) == 0 && !ended {
					t.Skip("would wait")
				}
				p := make([]byte, rapid.IntRange(1, 5000).Draw(t, "room"))
				n, err := b.Read(p)
				switch {
				case lost > 0:
					if n != 0 || !errors.Is(err, inbox.ErrOverflow) {
						t.Fatalf("read %d, %v after an overflow", n, err)
					}
				case len(queue) == 0:
					if n != 0 || !errors.Is(err, io.EOF) {
						t.Fatalf("read %d, %v at the end", n, err)
					}
				default:
					want := queue[:min(len(p), len(queue))]
					if err != nil || !bytes.Equal(p[:n], want) {
						t.Fatalf("read %d bytes, %v; want the %d that are next", n, err, len(want))
					}
					queue = queue[n:]
				}
			},
			"discard": func(t *rapid.T) {
				if n := b.Discard(); n != len(queue)+lost {
					t.Fatalf("dropped %d bytes, want %d", n, len(queue)+lost)
				}
				queue, lost = nil, 0
			},
			"fail": func(t *rapid.T) {
				if !rapid.Bool().Draw(t, "really") {
					t.Skip("goes on")
				}
				b.Fail(io.EOF)
				ended = true
			},
		})
	})
}

// TestFromManyGoroutines is for the race detector: a writer, a reader and one who
// moves the deadline; every byte arrives.
func TestFromManyGoroutines(t *testing.T) {
	t.Parallel()
	b := inbox.New()
	const puts = 2000
	var done sync.WaitGroup
	done.Go(func() {
		for range puts {
			b.Put([]byte("0123456789"))
		}
		b.Fail(io.EOF)
	})
	done.Go(func() {
		for range puts {
			b.SetDeadline(time.Now().Add(time.Hour))
		}
	})
	got := 0
	for p := make([]byte, 7); ; {
		n, err := b.Read(p)
		for _, c := range p[:n] {
			if c != byte('0'+got%10) {
				t.Fatalf("byte %d is %q", got, c)
			}
			got++
		}
		if err != nil {
			if !errors.Is(err, io.EOF) || got != 10*puts {
				t.Errorf("the end is %v after %d bytes, want EOF after %d", err, got, 10*puts)
			}
			break
		}
	}
	done.Wait()
}
