// Package lines cuts the bytes of a connection into lines, for the drivers
// that read text. It leaves the meaning of a line to them.
package lines

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"coilkeep/driver"
)

// MaxBytes is the length of the longest line that is kept.
const MaxBytes = 4 << 10

// Gap is how long a connection must be silent to count as quiet: longer than
// any pause inside a line. Adapters on USB deliver what they have every 16 ms
// at the latest; three such periods are allowed for.
const Gap = 50 * time.Millisecond

// Line is one line as it arrived.
type Line struct {
	// Bytes are without the line end.
	Bytes []byte
	// Time is when the line end, or the byte that made the line too long,
	// arrived.
	Time time.Time
	// Fault says why the line cannot be trusted, whatever it says; empty
	// mostly.
	Fault string
}

// Reader cuts lines off a connection. A line ends with LF, CR LF or CR alone.
// Empty lines are passed over.
type Reader struct {
	conn driver.Conn
	now  func() time.Time

	got     []byte // received and not yet cut
	at      time.Time
	partial []byte // the line under way
	afterCR bool   // an LF that comes next belongs to the CR before it
	tooLong bool   // the line under way is dropped up to its end
	torn    bool   // the line under way stood still for a whole time-out
	dropped int64
	arrived int64
}

// New returns a reader of conn that stamps lines by now.
func New(conn driver.Conn, now func() time.Time) *Reader {
	return &Reader{conn: conn, now: now}
}

// Dropped is how many bytes were thrown away because they belonged to no
// answer.
func (r *Reader) Dropped() int64 { return r.dropped }

// Arrived is how many bytes were received.
func (r *Reader) Arrived() int64 { return r.arrived }

// Partial is the line under way as far as it has come.
func (r *Reader) Partial() Line { return Line{Bytes: r.partial, Time: r.at} }

// Drop counts n bytes as thrown away by the caller.
func (r *Reader) Drop(n int) { r.dropped += int64(n) }

// Next waits for the next line until the deadline. The error wraps
// driver.ErrSilent when none came whole, or is that of the connection or of
// ctx. A line too long is returned once, with its first bytes and a Fault,
// before its end has come; the rest of it, up to its end, is dropped.
func (r *Reader) Next(ctx context.Context, deadline time.Time) (Line, error) {
	for {
		if line, ok := r.cut(); ok {
			return line, nil
		}
		err := r.Receive(ctx, deadline)
		if errors.Is(err, driver.ErrSilent) && r.under() {
			r.torn = true
			return Line{}, fmt.Errorf("%w: part of a line and no line end", driver.ErrSilent)
		}
		if err != nil {
			return Line{}, err
		}
	}
}

// under reports whether a line is under way.
func (r *Reader) under() bool { return len(r.partial) > 0 || r.tooLong }

// Waiting reports whether bytes have been received behind the last line.
func (r *Reader) Waiting() bool {
	return r.under() || len(bytes.Trim(r.got, "\r\n")) > 0
}

// cut takes the next line off what was received.
func (r *Reader) cut() (Line, bool) {
	for i, b := range r.got {
		if b == '\n' && r.afterCR {
			r.afterCR = false
			continue
		}
		r.afterCR = b == '\r'
		switch {
		case b == '\n' || b == '\r':
			if line, ok := r.end(); ok {
				r.got = r.got[i+1:]
				return line, true
			}
		case r.tooLong:
			r.dropped++
		case len(r.partial) == MaxBytes:
			line := Line{Bytes: r.partial, Time: r.at, Fault: fmt.Sprintf("no line end within %d bytes", MaxBytes)}
			r.dropped += MaxBytes + 1
			r.partial, r.tooLong = nil, true
			r.got = r.got[i+1:]
			return line, true
		default:
			r.partial = append(r.partial, b)
		}
	}
	r.got = r.got[:0]
	return Line{}, false
}

// end finishes the line under way, unless it is empty or was dropped.
func (r *Reader) end() (Line, bool) {
	line := Line{Bytes: r.partial, Time: r.at}
	if r.torn {
		line.Fault = "the line arrived in two parts with a time-out between"
	}
	whole := len(r.partial) > 0
	r.partial, r.tooLong, r.torn = nil, false, false
	return line, whole
}

// Receive waits until the deadline for at least one byte and keeps it. The
// error is as of Next.
func (r *Reader) Receive(ctx context.Context, deadline time.Time) error {
	stop := context.AfterFunc(ctx, func() {
		// An error here is one of the connection, which the Read below meets.
		_ = r.conn.SetReadDeadline(time.Unix(1, 0))
	})
	defer stop()
	var chunk [512]byte
	for {
		if err := r.conn.SetReadDeadline(deadline); err != nil {
			return fmt.Errorf("%w: set the read deadline: %w", driver.ErrLineLost, err)
		}
		// After the deadline is set, so that ctx ending now moves it again.
		if ctx.Err() != nil {
			return ctx.Err()
		}
		n, err := r.conn.Read(chunk[:])
		if n > 0 {
			r.at = r.now()
			r.arrived += int64(n)
			r.got = append(r.got, chunk[:n]...)
			return nil
		}
		switch {
		case !errors.Is(err, os.ErrDeadlineExceeded):
			return err
		case ctx.Err() != nil:
			return ctx.Err()
		case !time.Now().Before(deadline):
			return driver.ErrSilent
		}
		// The deadline was moved for a context of an earlier call: go on.
	}
}

// Discard drops everything that has arrived and was not read, the line under
// way among it, and returns how many bytes that was. Line ends do not count.
func (r *Reader) Discard() int {
	n := len(r.partial) + len(bytes.Trim(r.got, "\r\n")) + r.conn.Discard()
	r.got, r.partial, r.tooLong, r.torn = r.got[:0], nil, false, false
	r.dropped += int64(n)
	return n
}

// Quiet drops what arrives until nothing has arrived for as long as gap, and
// returns how many bytes that was. The error wraps driver.ErrSilent when the
// deadline comes first: the connection is never quiet.
func (r *Reader) Quiet(ctx context.Context, gap time.Duration, deadline time.Time) (int, error) {
	n := r.Discard()
	for {
		until := time.Now().Add(gap)
		if until.After(deadline) {
			return n, fmt.Errorf("%w: the instrument talks unasked, %d bytes dropped", driver.ErrSilent, n)
		}
		switch err := r.Receive(ctx, until); {
		case errors.Is(err, driver.ErrSilent):
			return n, nil
		case err != nil:
			return n, err
		}
		n += r.Discard()
	}
}

// AwaitLate waits until the given time for the answer to a question that timed
// out, and drops it together with all that follows until the line is quiet.
// Without any such answer it returns at that time, with 0 and no error. The
// error wraps driver.ErrSilent when the deadline comes before the line is known
// to be quiet.
func (r *Reader) AwaitLate(ctx context.Context, until, deadline time.Time) (int, error) {
	n := r.Discard()
	if n == 0 {
		wait := until
		if deadline.Before(until) {
			wait = deadline
		}
		switch err := r.Receive(ctx, wait); {
		case errors.Is(err, driver.ErrSilent) && wait == until:
			return 0, nil
		case err != nil:
			return 0, err
		}
	}
	more, err := r.Quiet(ctx, Gap, deadline)
	return n + more, err
}

// Late is how long after a question its answer is still waited for and dropped
// when it did not come within the time-out. It is less than one and a half
// time-outs, so that a question asked after such a wait still has some time for
// its answer when it must itself wait for the one before.
func Late(timeout time.Duration) time.Duration { return timeout * 14 / 10 }

// Bytes returns what was received and not cut into lines, and when the last of
// it arrived, for protocols without lines.
func (r *Reader) Bytes() ([]byte, time.Time) {
	b := r.got
	r.got = nil
	return b, r.at
}
