package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
	"coilkeep/driver/scpi"
	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
	"coilkeep/internal/config"
	"coilkeep/internal/record"
)

// benchmarkConfig writes a configuration with simulated instruments that give
// ten readings a second each.
func benchmarkConfig(b *testing.B, sim *drivertest.Bench) string {
	b.Helper()
	meter := plug(b, "meter", &drivertest.SCPIMeter{Bench: sim, Integration: 20 * time.Millisecond})
	probe := plug(b, "probe", &drivertest.Talker{Line: drivertest.ProbeLine(sim), Every: 100 * time.Millisecond})
	folder := b.TempDir()
	text := fmt.Sprintf(`[history]
path = %q
[web]
listen = "127.0.0.1:0"
[[bench]]
name = "north"
serials = "HN-%%04d"
[bench.meter]
driver = "scpi"
port = %q
poll = "100ms"
accuracy = { percent = 0.05, ohms = 0.3 }
[bench.probe]
driver = "line"
port = %q
accuracy = { kelvin = 0.3 }
`, filepath.Join(folder, "history.db"), meter.Address(), probe.Address())
	path := filepath.Join(folder, "coilkeep.toml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		b.Fatal(err)
	}
	return path
}

// startMeasured starts the daemon as a process and returns it with the time
// from starting it to its saying that it serves.
func startMeasured(b *testing.B, program, config string) (cmd *exec.Cmd, url string, took time.Duration) {
	b.Helper()
	cmd = exec.Command(program, "serve", "--config", config)
	out, err := cmd.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	began := time.Now()
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		b.Fatalf("the daemon said %q: %v", line, err)
	}
	return cmd, strings.TrimSpace(strings.TrimPrefix(line, "coilkeep serves ")), time.Since(began)
}

// builtProgram is the program as it is shipped: the test binary has browsers and
// OpenAPI linked in besides.
func builtProgram(b *testing.B) string {
	b.Helper()
	path := filepath.Join(b.TempDir(), "coilkeep")
	build := exec.CommandContext(b.Context(), "go", "build", "-trimpath", "-o", path, ".")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if said, err := build.CombinedOutput(); err != nil {
		b.Fatalf("go build: %v\n%s", err, said)
	}
	return path
}

func stopMeasured(b *testing.B, cmd *exec.Cmd) {
	b.Helper()
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		b.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		b.Fatal(err)
	}
}

// BenchmarkParseToCapture takes a meter's bytes through parsing, the screen
// and the capture, with a coil on the clips that is being judged at every
// reading: the dearest case.
func BenchmarkParseToCapture(b *testing.B) {
	cfg, err := config.Parse(strings.NewReader(benchTOML("driver = \"scpi\"\nport = \"/dev/ttyS0\"",
		"driver = \"line\"\nport = \"/dev/ttyS1\"")), "bench.toml")
	if err != nil {
		b.Fatal(err)
	}
	rules := assembleBench(cfg.Benches[0], nil).Capture
	rules.Patience = 1000 * time.Hour // it never records, so it always judges
	m := capture.New(rules)
	screen := capture.NewMeterScreen()
	at := time.Date(2031, 3, 4, 9, 0, 0, 0, time.UTC)
	lines := make([][]byte, 64)
	for i := range lines {
		lines[i] = fmt.Appendf(nil, "%+.6E", 6690+0.1*float64(i*7%5))
	}
	for range 30 { // open clips first
		at = at.Add(100 * time.Millisecond)
		m.Meter(driver.Reading{Time: at, Status: driver.Overload})
	}
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		at = at.Add(100 * time.Millisecond)
		if i%10 == 0 {
			m.Probe(driver.Reading{Time: at, Status: driver.OK, Value: 21.5, Resolution: 0.01})
		}
		r := scpi.Parse(lines[i%len(lines)], driver.Resistance)
		r.Time = at
		m.Meter(screen.Check(r))
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}

// BenchmarkReadingLatency measures from the last byte of a meter's line on a
// pseudo-terminal to the reading at a listener of the event stream over HTTP.
func BenchmarkReadingLatency(b *testing.B) {
	sent := make(chan time.Time, 1)
	n := 0
	meter := plug(b, "meter", &drivertest.Talker{Prompt: "?", Line: func() string {
		n++
		select {
		case sent <- time.Now():
		default:
		}
		return fmt.Sprintf("R=+%.1f OHM", 6690+float64(n%10)/10)
	}})
	probe := plug(b, "probe", &drivertest.Talker{Line: func() string { return "T=21.50 C" }, Every: time.Second})
	d := startDaemon(b, b.TempDir(), benchTOML(
		fmt.Sprintf("driver = \"line\"\nport = %q\nprompt = \"?\"\ntimeout = \"500ms\"", meter.Address()),
		fmt.Sprintf("driver = \"line\"\nport = %q\ntimeout = \"3s\"", probe.Address())))
	response, err := http.Get(d.url + "/api/v1/events?bench=north")
	if err != nil {
		b.Fatal(err)
	}
	defer response.Body.Close()
	lines := bufio.NewScanner(response.Body)
	lines.Buffer(nil, 1<<20)
	next := func() time.Duration {
		for lines.Scan() {
			data, ok := strings.CutPrefix(lines.Text(), "data: ")
			if !ok || !strings.Contains(data, `"role":"meter"`) {
				continue
			}
			var r bench.ReadingData
			if json.Unmarshal([]byte(data), &r) != nil || r.Value == nil {
				continue
			}
			select {
			case at := <-sent:
				return time.Since(at)
			default:
			}
		}
		b.Fatal("the event stream ended")
		return 0
	}
	next()
	var total, worst time.Duration
	for b.Loop() {
		took := next()
		total += took
		worst = max(worst, took)
	}
	b.ReportMetric(float64(total.Microseconds())/float64(b.N), "µs/event")
	b.ReportMetric(float64(worst.Microseconds()), "µs-worst")
}

// BenchmarkMeasurementLatency measures from a value being complete, here by
// being typed in, to its measurement being on the disk and published.
func BenchmarkMeasurementLatency(b *testing.B) {
	d := startDaemon(b, b.TempDir(), manualBench)
	d.batch()
	events, cancel := d.running.hub.Subscribe()
	defer cancel()
	typed := func(role record.Role, text string) {
		if err := d.bench.Type(b.Context(), role, text, false); err != nil {
			b.Fatal(err)
		}
	}
	d.until("both to be ready", func(s bench.Snapshot) bool { return s.Meter.Up && s.Probe.Up && s.NextSerial != "" })
	typed(record.Probe, "21.5")
	d.until("the temperature", func(s bench.Snapshot) bool { return s.TemperatureCelsius != nil })
	var total time.Duration
	for b.Loop() {
		d.until("the next serial", func(s bench.Snapshot) bool { return s.NextSerial != "" && s.State != "unsaved" })
		began := time.Now()
		typed(record.Meter, "6.69k")
		for e := range events {
			if e.Type == bench.MeasurementEvent {
				break
			}
		}
		total += time.Since(began)
	}
	b.ReportMetric(float64(total.Microseconds())/float64(b.N), "µs/measurement")
}

// BenchmarkStart measures from starting the process to its serving.
func BenchmarkStart(b *testing.B) {
	program, config := builtProgram(b), benchmarkConfig(b, rig())
	var total time.Duration
	for b.Loop() {
		cmd, _, took := startMeasured(b, program, config)
		total += took
		stopMeasured(b, cmd)
	}
	b.ReportMetric(float64(total.Milliseconds())/float64(b.N), "ms/start")
}

// BenchmarkIdleDaemon measures what a daemon with two instruments at ten
// readings a second takes, over ten seconds of open clips: resident memory and
// the share of one core. Linux only.
func BenchmarkIdleDaemon(b *testing.B) {
	if _, err := os.Stat("/proc/self/stat"); err != nil {
		b.Skip("needs /proc to read memory and CPU time")
	}
	program, config := builtProgram(b), benchmarkConfig(b, rig())
	const window = 10 * time.Second
	for b.Loop() {
		cmd, _, _ := startMeasured(b, program, config)
		time.Sleep(2 * time.Second) // start-up is not idling
		before := cpuTime(b, cmd.Process.Pid)
		time.Sleep(window)
		used := cpuTime(b, cmd.Process.Pid) - before
		b.ReportMetric(100*used.Seconds()/window.Seconds(), "%-of-a-core")
		b.ReportMetric(residentMB(b, cmd.Process.Pid), "MB-resident")
		stopMeasured(b, cmd)
	}
}

// cpuTime is user and system time of a process, from fields 14 and 15 of
// /proc/PID/stat in hundredths of a second (proc(5)).
func cpuTime(b *testing.B, pid int) time.Duration {
	b.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		b.Fatal(err)
	}
	fields := strings.Fields(string(text[strings.LastIndexByte(string(text), ')')+2:]))
	var ticks int
	for _, f := range fields[11:13] {
		n, err := strconv.Atoi(f)
		if err != nil {
			b.Fatal(err)
		}
		ticks += n
	}
	return time.Duration(ticks) * 10 * time.Millisecond
}

func residentMB(b *testing.B, pid int) float64 {
	b.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		b.Fatal(err)
	}
	for line := range strings.Lines(string(text)) {
		if kb, ok := strings.CutPrefix(line, "VmRSS:"); ok {
			n, err := strconv.Atoi(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(kb), "kB")))
			if err != nil {
				b.Fatal(err)
			}
			return float64(n) / 1024
		}
	}
	b.Fatal("no VmRSS in /proc")
	return 0
}
