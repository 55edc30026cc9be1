package transcript_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
	"coilkeep/driver/transcript"
)

func TestBytesAsPeopleReadThem(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ bytes, want string }{
		{"READ?\r\n", `"READ?\r\n"`},
		{"R=6.69 kΩ\t21.4 °C\n", `"R=6.69 kΩ\t21.4 °C\n"`},
		{"\x01\x04\x00\xff", `{"hex":"01 04 00 ff"}`},
		{"21.4 \xf8C\r\n", `{"hex":"32 31 2e 34 20 f8 43 0d 0a"}`}, // ° in code page 437
		{"\x00", `{"hex":"00"}`},
		{"", `""`},
	} {
		got, err := json.Marshal(transcript.Bytes(tt.bytes))
		if err != nil || string(got) != tt.want {
			t.Errorf("%q is written %s, %v; want %s", tt.bytes, got, err, tt.want)
		}
	}
}

// FuzzBytes: whatever was on the line comes back from the file the same.
func FuzzBytes(f *testing.F) {
	for _, seed := range []string{"READ?\r\n", "\x01\x04", "kΩ", "\xce", "\ufffd", `{"hex":"00"}`, "<&>\u2028"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, want []byte) {
		text, err := json.Marshal(transcript.Event{Sent: want})
		if err != nil {
			t.Fatal(err)
		}
		var got transcript.Event
		if err := json.Unmarshal(text, &got); err != nil || !bytes.Equal(got.Sent, want) {
			t.Errorf("%q came back from %s as %q, %v", want, text, got.Sent, err)
		}
	})
}

// TestRecorderKeepsWhatPasses holds a conversation by hand, over a line whose far
// end then hangs up.
func TestRecorderKeepsWhatPasses(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		var text bytes.Buffer
		r := transcript.NewRecorder(&text, transcript.Header{Time: time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC), Program: "test"})
		near, far := drivertest.Pipe()
		conn, connection := r.Watch(near, transcript.Opened{Line: "serial", Baud: 9600, Frame: "8N1"})
		connection.Opened(nil)
		far.Write([]byte("stale"))
		if n := conn.Discard(); n != 5 {
			t.Errorf("dropped %d bytes, want 5", n)
		}
		conn.SetReadDeadline(time.Time{})
		io.WriteString(conn, "READ?\n")
		time.AfterFunc(time.Second, func() { far.Write([]byte("+6.69E+03\n")) })
		conn.Read(make([]byte, 64))
		connection.Read(driver.Reading{Status: driver.OK, Value: 6690, Resolution: 10, Raw: "+6.69E+03"}, nil)
		connection.Read(driver.Reading{}, fmt.Errorf("asked: %w", context.Canceled))
		connection.Read(driver.Reading{Status: driver.OK}, fmt.Errorf("asked: %w", driver.ErrSilent))
		connection.Identified(driver.Identity{}, errors.New("gibberish"))
		far.Close()
		conn.Read(make([]byte, 64))
		const want = `{"coilkeep_transcript":1,"time":"2026-03-14T12:00:00Z","program":"test","note":""}
{"at_seconds":0,"connection":1,"opened":{"line":"serial","baud":9600,"frame":"8N1"}}
{"at_seconds":0,"connection":1,"result":{"call":"open"}}
{"at_seconds":0,"connection":1,"dropped":"stale"}
{"at_seconds":0,"connection":1,"sent":"READ?\n"}
{"at_seconds":1,"connection":1,"received":"+6.69E+03\n"}
{"at_seconds":1,"connection":1,"result":{"call":"read","status":"ok","value":6690,"resolution":10,"raw":"+6.69E+03"}}
{"at_seconds":1,"connection":1,"result":{"call":"read","error":"no answer"}}
{"at_seconds":1,"connection":1,"result":{"call":"identify","error":"another error"}}
{"at_seconds":1,"connection":1,"lost":"read"}
`
		if got := text.String(); got != want || r.Lines() != strings.Count(want, "\n") || r.Err() != nil {
			t.Errorf("%d lines, %v:\n%s\nwant\n%s", r.Lines(), r.Err(), got, want)
		}
	})
}

// A driver of a shared line finds its lock behind the recorder, and no lock where
// there is none.
func TestWatchKeepsTheLock(t *testing.T) {
	t.Parallel()
	r := transcript.NewRecorder(io.Discard, transcript.Header{})
	near, _ := drivertest.Pipe()
	alone, _ := r.Watch(near, transcript.Opened{})
	if _, shared := alone.(driver.Locker); shared {
		t.Error("a line that is not shared got a lock")
	}
	lock := &countingLock{Conn: near}
	both, _ := r.Watch(lock, transcript.Opened{})
	shared, ok := both.(driver.Locker)
	if !ok {
		t.Fatal("a shared line lost its lock")
	}
	shared.Lock()
	_, err := io.WriteString(both, "READ?\n")
	shared.Unlock()
	if err != nil || lock.locked != 1 || lock.unlocked != 1 {
		t.Errorf("the line was locked %d times and unlocked %d times, want once each; and the write: %v", lock.locked, lock.unlocked, err)
	}
}

type countingLock struct {
	driver.Conn
	locked, unlocked int
}

func (c *countingLock) Lock()   { c.locked++ }
func (c *countingLock) Unlock() { c.unlocked++ }

// full is a disk that is full after some lines.
type full struct{ lines int }

func (f *full) Write(p []byte) (int, error) {
	if f.lines--; f.lines < 0 {
		return 0, errors.New("no space left on device")
	}
	return len(p), nil
}

func TestRecorderSaysWhenItCannotWrite(t *testing.T) {
	t.Parallel()
	r := transcript.NewRecorder(&full{lines: 2}, transcript.Header{})
	near, _ := drivertest.Pipe()
	conn, _ := r.Watch(near, transcript.Opened{})
	for range 3 {
		if _, err := io.WriteString(conn, "READ?\n"); err != nil {
			t.Errorf("the instrument was not asked: %v", err)
		}
	}
	if err := r.Err(); err == nil || !strings.Contains(err.Error(), "no space") || r.Lines() != 2 {
		t.Errorf("%d lines and the error %v, want 2 and a full disk", r.Lines(), err)
	}
}

func TestNoRecorderRecordsNothing(t *testing.T) {
	t.Parallel()
	var r *transcript.Recorder
	near, _ := drivertest.Pipe()
	conn, connection := r.Watch(near, transcript.Opened{})
	connection.Opened(nil)
	connection.Read(driver.Reading{}, nil)
	if conn != near {
		t.Error("without a recorder the connection is another")
	}
}

func TestDrainLooksAtMostSoFar(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		near, far := drivertest.Pipe()
		far.Write(bytes.Repeat([]byte("0123456789"), 2000))
		waiting, more := transcript.Drain(near)
		if len(waiting) != 8<<10 || len(waiting)+more != 20000 || !bytes.HasPrefix(waiting, []byte("0123456789")) {
			t.Errorf("drained %d bytes and %d more, want 8192 of 20000", len(waiting), more)
		}
	})
}
