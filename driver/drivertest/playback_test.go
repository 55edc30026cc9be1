package drivertest

import (
	"errors"
	"io"
	"os"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"coilkeep/driver"
	_ "coilkeep/driver/line"
	_ "coilkeep/driver/modbus"
	_ "coilkeep/driver/scpi"
)

// TestPlayFindsDifferences changes one thing in a transcript that plays, and
// wants to be told of it.
func TestPlayFindsDifferences(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("testdata/transcripts/simulated_scpi.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	var reading string // the line with the meter's
	for line := range strings.Lines(string(text)) {
		if reading == "" && strings.Contains(line, `"call":"read"`) {
			reading = line
		}
	}
	for _, tt := range []struct{ name, from, to, want string }{
		{"nothing", "", "", ""},
		{"another question", `"sent":"READ?\n"`, `"sent":"FETC?\n"`, `sent "READ?\n", the transcript has "FETC?\n"`},
		{"another end of a question", `"sent":"READ?\n"`, `"sent":"READ?\r\n"`, `sent "READ?\n", the transcript has "READ?\r\n"`},
		{"a question too many", `"sent":"READ?\n"}`, `"sent":"READ?\nREAD?\n"}`, `the transcript has "READ?\nREAD?\n"`},
		{"a word that is not sent", reading, reading[:strings.Index(reading, `"result"`)] + `"sent":"BYE\n"}` + "\n" + reading,
			`the transcript has "BYE\n" sent, the driver did not`},
		{"another value", `"value":6`, `"value":7`, "read gave ok 6"},
		{"another resolution", `"resolution":0.1`, `"resolution":1`, "in steps of 0.1"},
		{"another identity", `"identity":"Elder`, `"identity":"Younger`, "the transcript has no error Younger"},
		{"a reading that failed", `"status":"ok"`, `"error":"no answer","status":"ok"`, `the transcript has the error "no answer"`},
		{"an open that failed", `"call":"open"`, `"call":"open","error":"refused by the instrument"`, "open gave no error"},
		{"no open", `"call":"open"`, `"call":"read"`, "out of order"},
		{"an unknown call", `"call":"read"`, `"call":"guess"`, `unknown call "guess"`},
		{"an unknown driver", `"driver":"scpi"`, `"driver":"psychic"`, `no driver "psychic"`},
		{"an unknown option", `"query":`, `"quarry":`, `no option "quarry"`},
		{"an option of another kind", `"query":"READ?"`, `"query":7`, "option query is 7"},
		{"no time-out", `"timeout_seconds":2`, `"timeout_seconds":0`, "timeout_seconds is 0"},
		{"another quantity", `"quantity":"resistance"`, `"quantity":"luck"`, `quantity is "luck"`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			changed := strings.Replace(string(text), tt.from, tt.to, 1)
			if changed == string(text) && tt.want != "" {
				t.Fatalf("the transcript has no %s", tt.from)
			}
			tr, err := ReadTranscript(strings.NewReader(changed))
			if err != nil {
				t.Fatal(err)
			}
			synctest.Test(t, func(t *testing.T) { err = tr.Connections[0].play(t.Context()) })
			if tt.want == "" && err != nil || tt.want != "" && (err == nil || !strings.Contains(err.Error(), tt.want)) {
				t.Errorf("got %v, want %q", err, tt.want)
			}
		})
	}
}

const exchange = `{"coilkeep_transcript":1,"time":"2026-03-14T12:00:00Z","program":"coilkeep","note":"simulated"}
{"at_seconds":1,"connection":1,"opened":{"line":"serial"}}
{"at_seconds":1.5,"connection":1,"received":"hello"}
{"at_seconds":2,"connection":1,"dropped":"stale"}
{"at_seconds":2,"connection":1,"sent":"ask"}
{"at_seconds":3,"connection":1,"received":{"hex":"00 ff"}}
{"at_seconds":4,"connection":1,"lost":"read"}
`

// TestPlaybackKeepsTimeAndOrder plays an exchange by hand: each answer comes as
// long after the question as it did.
func TestPlaybackKeepsTimeAndOrder(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		tr, err := ReadTranscript(strings.NewReader(exchange))
		if err != nil {
			t.Fatal(err)
		}
		start := time.Now()
		p := Playback(tr.Connections[0])
		defer p.Close()
		read := func(want string, after time.Duration) {
			t.Helper()
			got := make([]byte, 16)
			n, err := p.Read(got)
			if err != nil || string(got[:n]) != want || time.Since(start) != after {
				t.Errorf("read %q, %v after %v; want %q after %v", got[:n], err, time.Since(start), want, after)
			}
		}
		read("hello", 500*time.Millisecond)
		p.SetReadDeadline(time.Now().Add(100 * time.Millisecond))
		if _, err := p.Read(make([]byte, 1)); !errors.Is(err, os.ErrDeadlineExceeded) {
			t.Errorf("with nothing due until it is asked read gave %v, want the deadline", err)
		}
		p.SetReadDeadline(time.Time{})
		if n := p.Discard(); n != len("stale") {
			t.Errorf("dropped %d bytes, want %d", n, len("stale"))
		}
		for _, part := range []string{"a", "sk"} {
			if _, err := io.WriteString(p, part); err != nil {
				t.Errorf("sending %q: %v", part, err)
			}
		}
		read("\x00\xff", 2*time.Second)
		if _, err := p.Read(make([]byte, 1)); !errors.Is(err, driver.ErrLineLost) || time.Since(start) != 3*time.Second {
			t.Errorf("at the end read gave %v after %v, want a lost line after 3s", err, time.Since(start))
		}
		if _, err := io.WriteString(p, "more"); !errors.Is(err, driver.ErrLineLost) || p.Mismatch() == nil {
			t.Errorf("sending after the end gave %v, and the difference %v", err, p.Mismatch())
		}
	})
}

// What was dropped before a question lies in the way of a driver that no longer
// drops it.
func TestPlaybackOfADriverThatDropsNothing(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		tr, err := ReadTranscript(strings.NewReader(exchange))
		if err != nil {
			t.Fatal(err)
		}
		p := Playback(tr.Connections[0])
		defer p.Close()
		if _, err := io.WriteString(p, "ask"); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Second) // in the bubble's own time
		got := make([]byte, 16)
		n, err := p.Read(got)
		if err != nil || !strings.Contains(string(got[:n]), "stale") {
			t.Errorf("read %q, %v; want the stale bytes among them", got[:n], err)
		}
	})
}
