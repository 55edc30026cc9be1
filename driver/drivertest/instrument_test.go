package drivertest

import (
	"bufio"
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"coilkeep/driver/simulate"
)

// clock is a time that moves when a test says so.
type clock struct {
	mu sync.Mutex
	t  time.Time
}

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.t
}

func (c *clock) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.t = c.t.Add(d)
}

// listener is somebody who listens to an instrument.
type listener struct {
	net.Conn
	lines *bufio.Reader
}

func (l *listener) say(t *testing.T, text string) {
	t.Helper()
	if _, err := io.WriteString(l, text); err != nil {
		t.Fatalf("writing %q: %v", text, err)
	}
}

// line reads up to a line feed, which it keeps.
func (l *listener) line(t *testing.T) string {
	t.Helper()
	text, err := l.lines.ReadString('\n')
	if err != nil {
		t.Fatalf("reading a line: %v after %q", err, text)
	}
	return text
}

func (l *listener) wantLine(t *testing.T, want string) {
	t.Helper()
	if got := l.line(t); got != want {
		t.Errorf("got line %q, want %q", got, want)
	}
}

// connect joins a listener to an instrument without a plug between them.
func connect(t *testing.T, i simulate.Instrument) *listener {
	t.Helper()
	near, far := net.Pipe()
	done := make(chan struct{})
	go func() {
		defer close(done)
		i.Serve(t.Context(), far)
	}()
	t.Cleanup(func() {
		near.Close()
		far.Close()
		<-done
	})
	return &listener{near, bufio.NewReader(near)}
}

// benchWith is an exact bench at 20 °C with a coil on it.
func benchWith(r20Ohms float64) (*Bench, *clock) {
	c := &clock{t: time.Date(2031, 3, 14, 9, 0, 0, 0, time.UTC)}
	b := NewBench(simulate.Config{
		Room:  simulate.Room{BaseCelsius: 20},
		Meter: simulate.MeterModel{ResolutionOhms: 0.1, RangeOhms: 20000},
		Probe: simulate.ProbeModel{ResolutionKelvin: 0.01},
		Now:   c.now,
	})
	b.Attach(simulate.CopperCoil(r20Ohms, 20))
	return b, c
}

func TestSCPIMeterConverses(t *testing.T) {
	t.Parallel()
	const ohms = "+6.6900E+03\n"
	tests := []struct {
		name  string
		meter *SCPIMeter
		say   []string
		want  string
	}{
		// IEEE 488.2-1992, 10.14: four fields.
		{"identity", &SCPIMeter{}, []string{"*IDN?\n"}, "Elder Vale,EV-41,0007,1.2\n"},
		{"reading", &SCPIMeter{}, []string{"READ?\n"}, ohms},
		{"lower case and long form", &SCPIMeter{}, []string{"measure:resistance?\n"}, ohms},
		{"question in pieces", &SCPIMeter{}, []string{"RE", "AD?", "\n"}, ohms},
		{"CR alone ends a question", &SCPIMeter{}, []string{"READ?\r"}, ohms},
		{"answers end as told", &SCPIMeter{Terminator: "\r\n"}, []string{"READ?\n"}, "+6.6900E+03\r\n"},
		{"echo", &SCPIMeter{Echo: true}, []string{"READ?\n"}, "READ?\n" + ohms},
		// SCPI-1999 vol. 1, 6.2.4: without its colon READ? stands in CONFigure.
		{"header path", &SCPIMeter{}, []string{"CONF:RES;READ?\n", "SYST:ERR?\n"}, "-113,\"Undefined header\"\n"},
		{"header from the root", &SCPIMeter{}, []string{"CONF:RES;:READ?\n"}, ohms},
		{"common commands keep the path", &SCPIMeter{}, []string{"SYST:REM;*CLS;ERR?\n"}, "0,\"No error\"\n"},
		{"two answers on a line", &SCPIMeter{}, []string{"*OPC?;READ?\n"}, "1;" + ohms},
		{"unknown header has no answer", &SCPIMeter{}, []string{"BOGUS?\n*OPC?\n"}, "1\n"},
		{"parameters", &SCPIMeter{}, []string{"CONF:RES 20000,0.1;:CONF?\n"}, "\"RES\"\n"},
		{"other function", &SCPIMeter{}, []string{"CONF:VOLT;:FUNC?\n"}, "\"VOLT\"\n"},
		{"wakes in volts", &SCPIMeter{WakesInVolts: true}, []string{"*RST;FUNC?;:CONF:RES;:FUNC?\n"}, "\"VOLT\";\"RES\"\n"},
		{"errors come oldest first and end", &SCPIMeter{NeedsRemote: true}, []string{"READ?\nSYST:REM\nNONE\n", "SYST:ERR?;ERR?;ERR?\n"},
			"-203,\"Command protected\";-113,\"Undefined header\";0,\"No error\"\n"},
		{"cleared errors", &SCPIMeter{}, []string{"NONE;*CLS;:SYST:ERR:NEXT?\n"}, "0,\"No error\"\n"},
		{"local again", &SCPIMeter{NeedsRemote: true}, []string{"SYST:REM;LOC;:READ?\nSYST:REM;:READ?\n"}, ohms},
		{"endless line", &SCPIMeter{}, []string{strings.Repeat("x", 2*longestLine), "\n*CLS;*OPC?\n"}, "1\n"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			tt.meter.Bench, _ = benchWith(6690)
			l := connect(t, tt.meter)
			go func() {
				for _, text := range tt.say {
					io.WriteString(l, text)
				}
			}()
			var got strings.Builder
			for range strings.Count(tt.want, "\n") {
				got.WriteString(l.line(t))
			}
			if got.String() != tt.want {
				t.Errorf("got %q, want %q", got.String(), tt.want)
			}
		})
	}
}

func TestSCPIErrorQueueOverflows(t *testing.T) {
	t.Parallel()
	b, _ := benchWith(6690)
	l := connect(t, &SCPIMeter{Bench: b})
	l.say(t, strings.Repeat("NONE\n", 15))
	for i := range 11 {
		l.say(t, "SYST:ERR?\n")
		// SCPI-1999 vol. 2, 21.8: the last entry gives way to -350.
		want := "-113,\"Undefined header\"\n"
		switch i {
		case 9:
			want = "-350,\"Queue overflow\"\n"
		case 10:
			want = "0,\"No error\"\n"
		}
		l.wantLine(t, want)
	}
}

func TestSCPIOverload(t *testing.T) {
	t.Parallel()
	b, _ := benchWith(6690)
	b.Detach()
	l := connect(t, &SCPIMeter{Bench: b})
	l.say(t, "READ?\n")
	// SCPI-1999 vol. 1, 7.2.1.4: infinity is 9.9E37.
	l.wantLine(t, "+9.90000000E+37\n")
	other := connect(t, &SCPIMeter{Bench: b, Overload: "O.L"})
	other.say(t, "READ?\n")
	other.wantLine(t, "O.L\n")
}

func TestSCPIPowerFailure(t *testing.T) {
	t.Parallel()
	b, _ := benchWith(6690)
	m := &SCPIMeter{Bench: b, WakesInVolts: true, NeedsRemote: true}
	m.PowerOn()
	l := connect(t, m)
	l.say(t, "SYST:REM;:CONF:RES;:READ?\n")
	l.wantLine(t, "+6.6900E+03\n")
	m.PowerOn()
	l.say(t, "READ?\nSYST:REM;:FUNC?;:SYST:ERR?\n")
	l.wantLine(t, "\"VOLT\";-203,\"Command protected\"\n")
	l.say(t, "READ?\n")
	if got := l.line(t); !strings.Contains(got, "E-0") {
		t.Errorf("after waking in volts got %q, want a few microvolts", got)
	}
}

func TestDeafMeter(t *testing.T) {
	t.Parallel()
	for _, deaf := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			b, _ := benchWith(6690)
			l := connect(t, &SCPIMeter{Bench: b, Integration: time.Second, DeafWhileMeasuring: deaf})
			l.say(t, "READ?\n")
			time.Sleep(500 * time.Millisecond) // in the bubble's own time
			l.say(t, "*IDN?\n")
			l.wantLine(t, "+6.6900E+03\n")
			l.say(t, "*OPC?\n")
			if !deaf {
				l.wantLine(t, "Elder Vale,EV-41,0007,1.2\n")
			}
			l.wantLine(t, "1\n")
		})
	}
}

func TestFaults(t *testing.T) {
	t.Parallel()
	const line = "R=+6690.0 OHM\r\n"
	tests := []struct {
		name  string
		fault Fault
		want  string // of two answers
	}{
		{"none", Fault{}, line + line},
		{"lost", Lost(), line},
		{"duplicate", Duplicate(), line + line + line},
		{"half", Half(), line[:7] + line},
		{"tail", Tail(), line[7:] + line},
		{"merged", Merged(), "R=+6690.0 OHM" + line},
		{"flood", Flood(1 << 20), strings.Repeat("7", 1<<20) + line + line},
		{"instead", Instead("R=+66\r\n"), "R=+66\r\n" + line},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b, _ := benchWith(6690)
			talker := &Talker{Line: MeterLine(b), Prompt: "?"}
			talker.Next(tt.fault)
			l := connect(t, talker)
			go io.WriteString(l, "??")
			got := make([]byte, len(tt.want))
			if _, err := io.ReadFull(l, got); err != nil {
				t.Fatalf("reading two answers: %v", err)
			}
			if string(got) != tt.want {
				t.Errorf("got %.100q…, want %.100q…", got, tt.want)
			}
			if n := talker.Waiting(); n != 0 {
				t.Errorf("%d faults wait, want none", n)
			}
		})
	}
}

func TestNoise(t *testing.T) {
	t.Parallel()
	spoiled := Noise(64, 5).spoil([]byte("T=21.43 C\r\n"))
	noise, ok := strings.CutSuffix(string(spoiled), "T=21.43 C\r\n")
	if !ok || len(noise) != 64 || strings.ContainsAny(noise, "\r\n") {
		t.Errorf("got %q, want 64 bytes of noise without a line end, then the answer", spoiled)
	}
	if again := Noise(64, 5).spoil([]byte("T=21.43 C\r\n")); string(again) != string(spoiled) {
		t.Error("equal seeds made different noise")
	}
}

// A late answer comes after the question that followed it, so that a hasty
// reader takes it for the answer to that one.
func TestLateAnswer(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		b, _ := benchWith(6690)
		m := &SCPIMeter{Bench: b}
		m.Next(Late(3 * time.Second))
		l := connect(t, m)
		start := time.Now()
		l.say(t, "*IDN?\n")
		time.Sleep(time.Second) // in the bubble's own time
		l.say(t, "*OPC?\n")
		l.wantLine(t, "Elder Vale,EV-41,0007,1.2\n")
		if got := time.Since(start); got != 3*time.Second {
			t.Errorf("the late answer took %v, want 3s", got)
		}
		l.wantLine(t, "1\n")
	})
}

func TestTalker(t *testing.T) {
	t.Parallel()
	b, c := benchWith(6690)
	meter, probe := MeterLine(b), ProbeLine(b)
	check := func(what, got, want string) {
		t.Helper()
		if got != want {
			t.Errorf("%s: got line %q, want %q", what, got, want)
		}
	}
	check("coil", meter(), "R=+6690.0 OHM")
	check("room", probe(), "T=20.00 C")
	b.WarmProbe(-24.5)
	check("cold", probe(), "T=-4.50 C")
	b.Detach()
	c.pass(time.Second)
	check("open", meter(), "R=O.L OHM")
	b.Volts(true)
	if got := meter(); !strings.HasPrefix(got, "U=") || !strings.HasSuffix(got, " V") {
		t.Errorf("volts: got line %q, want one like U=+0.000012 V", got)
	}
}

func TestTalkerTalksByItself(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		b, _ := benchWith(6690)
		l := connect(t, &Talker{
			Line: ProbeLine(b), Every: 500 * time.Millisecond, Terminator: "\n",
			Banner: "Elder Vale probe", CutFirst: true,
		})
		start := time.Now()
		l.wantLine(t, "00 C\n")
		l.wantLine(t, "Elder Vale probe\n")
		l.wantLine(t, "T=20.00 C\n")
		l.wantLine(t, "T=20.00 C\n")
		if got := time.Since(start); got != time.Second {
			t.Errorf("two lines took %v, want 1s", got)
		}
	})
}

func TestTalkerAnswersPrompts(t *testing.T) {
	t.Parallel()
	b, _ := benchWith(6690)
	l := connect(t, &Talker{Line: ProbeLine(b), Prompt: "go\r"})
	for _, piece := range []string{"noise", "go", "\rgo", "\r"} {
		l.say(t, piece)
		if strings.HasPrefix(piece, "\r") {
			l.wantLine(t, "T=20.00 C\r\n")
		}
	}
}

func TestFaultsOfABench(t *testing.T) {
	t.Parallel()
	b, c := benchWith(6690)
	c.pass(time.Second)
	ohms := func(what string, want float64) {
		t.Helper()
		if got := b.ReadMeter(); got.Overload || got.Value != want {
			t.Errorf("%s: the meter shows %+v, want %v Ω", what, got, want)
		}
	}
	celsius := func(what string, want float64) {
		t.Helper()
		if got := b.ReadProbe(); got != want {
			t.Errorf("%s: the probe shows %v °C, want %v °C", what, got, want)
		}
	}
	ohms("coil on", 6690)
	b.Short()
	ohms("shorted", 0)
	b.Attach(simulate.CopperCoil(7000, 20))
	ohms("another coil on", 7000)
	b.Pull(12074)
	ohms("pulled", 12074)
	if got := b.ReadMeter(); !got.Overload {
		t.Errorf("after the clips came off the meter shows %+v, want overload", got)
	}
	celsius("at first", 20)
	b.StuckProbe(true)
	b.WarmProbe(2.5)
	celsius("stuck", 20)
	b.ForceProbe(85)
	celsius("forced", 85)
	b.StuckProbe(false)
	celsius("freed", 22.5)
}

func TestSilence(t *testing.T) {
	t.Parallel()
	b, _ := benchWith(6690)
	m := &SCPIMeter{Bench: b}
	m.Next(Duplicate())
	var sent strings.Builder
	for _, silent := range []bool{true, false} {
		m.Silence(silent)
		if err := m.respond(t.Context(), &sent, "*OPC?", nil); err != nil {
			t.Fatal(err)
		}
		if silent && (sent.Len() > 0 || m.Waiting() != 1) {
			t.Errorf("silent it sent %q and %d faults wait, want nothing and 1", sent.String(), m.Waiting())
		}
	}
	if got := sent.String(); got != "1\n1\n" {
		t.Errorf("no longer silent it sent %q, want its answer twice", got)
	}
}
