package drivertest_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coilkeep/driver/drivertest"
	_ "coilkeep/driver/line"
	_ "coilkeep/driver/modbus"
	_ "coilkeep/driver/scpi"
)

const transcripts = "testdata/transcripts"

// TestTranscripts plays every transcript that was handed in back to its drivers.
func TestTranscripts(t *testing.T) {
	t.Parallel()
	paths, err := filepath.Glob(filepath.Join(transcripts, "*.jsonl"))
	if err != nil || len(paths) == 0 {
		t.Fatalf("no transcripts in %s: %v", transcripts, err)
	}
	for _, path := range paths {
		t.Run(filepath.Base(path), func(t *testing.T) {
			tr, err := drivertest.ReadTranscript(bytes.NewReader(example(t, filepath.Base(path))))
			if err != nil {
				t.Fatal(err)
			}
			if tr.Note == "" {
				t.Error(`its first line has no "note" on make and model`)
			}
			tr.Play(t)
		})
	}
}

func example(t testing.TB, name string) []byte {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(transcripts, name))
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func TestReadTranscriptNamesTheFault(t *testing.T) {
	t.Parallel()
	const (
		header = `{"coilkeep_transcript":1,"time":"2026-03-14T12:00:00Z","program":"coilkeep","note":"simulated"}` + "\n"
		opened = `{"at_seconds":0.1,"connection":1,"opened":{"line":"tcp"}}` + "\n"
	)
	for _, tt := range []struct{ name, text, want string }{
		{"nothing", "", "without a connection"},
		{"no connection", header, "without a connection"},
		{"another version", strings.Replace(header, ":1,", ":2,", 1), "line 1: a transcript of version 2"},
		{"no header", opened, "line 1: "},
		{"unknown key", header + opened + `{"at_seconds":0.2,"connection":1,"sends":"x"}`, `line 3: json: unknown field "sends"`},
		{"two things at once", header + opened + `{"at_seconds":0.2,"connection":1,"sent":"x","received":"y"}`, "line 3: 2 of opened"},
		{"nothing happened", header + opened + `{"at_seconds":0.2,"connection":1}`, "line 3: 0 of opened"},
		{"back in time", header + opened + `{"at_seconds":0.09,"connection":1,"sent":"x"}`, "line 3: time 0.09 s is before"},
		{"never opened", header + opened + `{"at_seconds":0.2,"connection":2,"sent":"x"}`, "line 3: connection 2 was not opened"},
		{"opened twice", header + opened + opened, "line 3: connection 1 is opened after 1 others"},
		{"bad hexadecimal", header + opened + `{"at_seconds":0.2,"connection":1,"sent":{"hex":"0g"}}`, `line 3: bytes "0g"`},
		{"a number for bytes", header + opened + `{"at_seconds":0.2,"connection":1,"sent":7}`, "line 3: "},
		{"cut line", header + opened + `{"at_seconds":0.2,"conn`, "line 3: "},
		{"two objects on a line", header + opened + `{"at_seconds":0.2,"connection":1,"sent":"x"} {}`, "line 3: more than one"},
	} {
		if _, err := drivertest.ReadTranscript(strings.NewReader(tt.text)); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: got %v, want an error with %q", tt.name, err, tt.want)
		}
	}
}

// FuzzReadTranscript: no text makes the reader panic, and none with a fault in it
// gives connections.
func FuzzReadTranscript(f *testing.F) {
	for _, name := range []string{"simulated_scpi.jsonl", "simulated_prompted.jsonl", "simulated_modbus.jsonl"} {
		f.Add(example(f, name))
	}
	f.Add([]byte(`{"coilkeep_transcript":1}` + "\n" + `{"at_seconds":0,"connection":1,"opened":{}}` +
		"\n" + `{"connection":1,"sent":{"hex":"ff"}}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		tr, err := drivertest.ReadTranscript(bytes.NewReader(text))
		if (err == nil) != (len(tr.Connections) > 0) {
			t.Errorf("%d connections with the error %v", len(tr.Connections), err)
		}
	})
}
