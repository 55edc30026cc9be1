package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coilkeep/driver/drivertest"
	"coilkeep/driver/simulate"
)

// TestRecordedInstrumentsPlayBack records simulated instruments on real
// pseudo-terminals and plays what was recorded back to the drivers. With -update
// the transcripts become the examples in driver/drivertest/testdata.
func TestRecordedInstrumentsPlayBack(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, note string
		setUp      func(t *testing.T, b *drivertest.Bench) (meter, probe string)
	}{
		{"scpi", "simulated: an SCPI meter that wakes in volts, and a probe that prints a line every 100 ms",
			func(t *testing.T, b *drivertest.Bench) (meter, probe string) {
				_, meter = scpiMeter(t, b)
				_, probe = lineProbe(t, b)
				return meter, probe
			}},
		{"prompted", "simulated: a meter that prints fields when it is prompted, and a probe on channel 1 that prints by itself",
			func(t *testing.T, b *drivertest.Bench) (meter, probe string) {
				m := plug(t, "meter", &drivertest.Talker{Line: drivertest.FieldsLine(b), Prompt: "?"})
				p := plug(t, "probe", &drivertest.Talker{Line: drivertest.ChannelLine(b, ","), Every: 100 * time.Millisecond, CutFirst: true})
				pattern := `^\d+,(?P<value>[^,]+),(?P<unit>[^,]+),\d$`
				return fmt.Sprintf("driver = \"line\"\nport = %q\nprompt = \"?\"\npattern = '%s'\ntimeout = \"2s\"", m.Address(), pattern),
					fmt.Sprintf("driver = \"line\"\nport = %q\npattern = '^CH1,(?P<value>[^,]+),deg(?P<unit>C)$'\ntimeout = \"1s\"", p.Address())
			}},
		{"modbus", "simulated: a meter, unit 1, and a probe, unit 2, on one Modbus line",
			func(t *testing.T, b *drivertest.Bench) (meter, probe string) {
				bus := plug(t, "bus", &drivertest.ModbusBus{Units: []drivertest.ModbusUnit{
					{ID: 1, Table: drivertest.Input, Registers: drivertest.Float32(drivertest.MeterOhms(b), drivertest.Encoding{})},
					{ID: 2, Table: drivertest.Holding, Address: 4, Registers: drivertest.Int16(drivertest.ProbeCelsius(b), 0.01, drivertest.Encoding{})},
				}})
				instrument := fmt.Sprintf("driver = \"modbus\"\nport = %q\ntimeout = \"2s\"\nunit_id = ", bus.Address())
				return instrument + "1", instrument + "2\ntable = \"holding\"\naddress = 4\ntype = \"int16\"\nscale = 0.01"
			}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b := rig()
			b.Attach(simulate.CopperCoil(6650, 21.5))
			for b.ReadMeter().Value > 7000 { // what straddles the making of contact is no example
				time.Sleep(time.Millisecond)
			}
			meter, probe := tt.setUp(t, b)
			path := filepath.Join(t.TempDir(), "transcript.jsonl")
			got := start(t, "check", "--config", checkFile(t, meter, probe), "--record", path)
			if got.code != exitOK || !strings.Contains(got.stderr, path+": ") || !strings.Contains(got.stderr, "serial number") {
				t.Fatalf("exit %d, want 0 and a word on the transcript:\n%s%s", got.code, got.stdout, got.stderr)
			}
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			for _, secret := range []string{"north", os.TempDir(), "/dev/"} {
				if bytes.Contains(text, []byte(secret)) {
					t.Errorf("the transcript names %q:\n%s", secret, text)
				}
			}
			text = bytes.Replace(text, []byte(`"note":""`), fmt.Appendf(nil, `"note":%q`, tt.note), 1)
			if *update {
				example := filepath.Join("..", "..", "driver", "drivertest", "testdata", "transcripts", "simulated_"+tt.name+".jsonl")
				if err := os.WriteFile(example, text, 0o644); err != nil {
					t.Fatal(err)
				}
			}
			tr, err := drivertest.ReadTranscript(bytes.NewReader(text))
			if err != nil {
				t.Fatal(err)
			}
			if len(tr.Connections) != 2 || tr.Note != tt.note {
				t.Errorf("%d connections with the note %q, want 2 with %q", len(tr.Connections), tr.Note, tt.note)
			}
			tr.Play(t)
		})
	}
}

// What a silent instrument is asked without a driver is recorded too.
func TestRecordASilentMeter(t *testing.T) {
	t.Parallel()
	b := rig()
	scpi := ordinarySCPI(b)
	scpi.Silence(true)
	_, probe := lineProbe(t, b)
	path := filepath.Join(t.TempDir(), "transcript.jsonl")
	meter := strings.ReplaceAll(scpiTOML(plug(t, "meter", scpi)), "2s", "300ms")
	if got := start(t, "check", "--config", checkFile(t, meter, probe), "--record", path); got.code != exitFault {
		t.Fatalf("exit %d of a silent meter, want 1", got.code)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"error":"no answer"`, `"sent":"\r*IDN?\r"`} {
		if !strings.Contains(string(text), want) {
			t.Errorf("the transcript lacks %s:\n%s", want, text)
		}
	}
	tr, err := drivertest.ReadTranscript(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	tr.Play(t)
}

func TestRecordOverwritesNothing(t *testing.T) {
	t.Parallel()
	b := rig()
	_, meter := scpiMeter(t, b)
	_, probe := lineProbe(t, b)
	path := filepath.Join(t.TempDir(), "mine.txt")
	if err := os.WriteFile(path, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	got := start(t, "check", "--config", checkFile(t, meter, probe), "--record", path)
	if got.code != exitFault || !strings.Contains(got.stderr, "exists already") || got.stdout != "" {
		t.Errorf("exit %d, want 1, no check and a word on the file:\n%s%s", got.code, got.stdout, got.stderr)
	}
	if text, err := os.ReadFile(path); err != nil || string(text) != "mine" {
		t.Errorf("the file now has %q, %v", text, err)
	}
	missing := filepath.Join(t.TempDir(), "none", "mine.txt")
	if got := start(t, "check", "--config", checkFile(t, meter, probe), "--record", missing); got.code != exitFault ||
		!strings.Contains(got.stderr, missing) {
		t.Errorf("exit %d for a missing folder, want 1 and its name:\n%s", got.code, got.stderr)
	}
}

// Ctrl-C leaves a transcript of whole lines.
func TestRecordInterrupted(t *testing.T) {
	t.Parallel()
	b := rig()
	scpi := ordinarySCPI(b)
	scpi.Silence(true)
	_, probe := lineProbe(t, b)
	meter := strings.ReplaceAll(scpiTOML(plug(t, "meter", scpi)), "2s", "60s")
	path := filepath.Join(t.TempDir(), "transcript.jsonl")
	ctx, cancel := context.WithCancel(t.Context())
	var stdout, stderr bytes.Buffer
	done := make(chan int)
	config := checkFile(t, meter, probe)
	go func() {
		done <- run(ctx, []string{"check", "--config", config, "--record", path}, nil, &stdout, &stderr)
	}()
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(time.Millisecond) {
		text, err := os.ReadFile(path)
		if err != nil && !errors.Is(err, fs.ErrNotExist) || time.Now().After(deadline) {
			t.Fatalf("waiting for the first question: %v, %s", err, text)
		}
		if bytes.Contains(text, []byte(`"sent"`)) {
			break
		}
	}
	cancel()
	if code := <-done; code != exitFault || !strings.Contains(stderr.String(), "interrupted") {
		t.Errorf("exit %d, want 1 and a word on the interruption:\n%s%s", code, &stdout, &stderr)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := drivertest.ReadTranscript(bytes.NewReader(text)); err != nil || !bytes.HasSuffix(text, []byte("}\n")) {
		t.Errorf("the transcript is not whole: %v\n%s", err, text)
	}
}
