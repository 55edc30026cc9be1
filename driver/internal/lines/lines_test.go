package lines_test

import (
	"context"
	"errors"
	"io"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
	"coilkeep/driver/internal/lines"
)

func TestNextCutsLines(t *testing.T) {
	long := strings.Repeat("x", lines.MaxBytes)
	tests := []struct {
		name   string
		chunks []string
		want   []string
		faults int
	}{
		{"LF", []string{"1\n2\n"}, []string{"1", "2"}, 0},
		{"CR LF", []string{"1\r\n2\r\n"}, []string{"1", "2"}, 0},
		{"CR", []string{"1\r2\r"}, []string{"1", "2"}, 0},
		{"CR LF in two pieces", []string{"1\r", "\n2\r\n"}, []string{"1", "2"}, 0},
		{"piece by piece", []string{"6", "69", "0\n"}, []string{"6690"}, 0},
		{"empty lines", []string{"\n\r\n1\n\n2\n"}, []string{"1", "2"}, 0},
		{"longest line", []string{long + "\n1\n"}, []string{long, "1"}, 0},
		{"too long, a good reading glued to its end", []string{long, "yyyy6690\n", "1\n"}, []string{long, "1"}, 1},
		{"a megabyte", append(slices.Repeat([]string{long}, 256), "6690\n1\n"), []string{long, "1"}, 1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				conn, far := drivertest.Pipe()
				r := lines.New(conn, time.Now)
				var got []string
				faults := 0
				done := make(chan error)
				go func() {
					for {
						line, err := r.Next(t.Context(), time.Now().Add(time.Hour))
						if err != nil {
							done <- err
							return
						}
						got = append(got, string(line.Bytes))
						if line.Fault != "" {
							faults++
						}
					}
				}()
				for _, c := range tt.chunks {
					io.WriteString(far, c)
					synctest.Wait()
				}
				conn.Close()
				if err := <-done; !errors.Is(err, driver.ErrLineLost) {
					t.Errorf("Next after Close = %v, want %v", err, driver.ErrLineLost)
				}
				if !slices.Equal(got, tt.want) || faults != tt.faults {
					t.Errorf("lines = %.60q with %d faults, want %.60q with %d", got, faults, tt.want, tt.faults)
				}
			})
		})
	}
}

func TestNextTornLine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		conn, far := drivertest.Pipe()
		defer conn.Close()
		r := lines.New(conn, time.Now)
		io.WriteString(far, "66")
		start := time.Now()
		if _, err := r.Next(t.Context(), start.Add(time.Second)); !errors.Is(err, driver.ErrSilent) || time.Since(start) != time.Second {
			t.Fatalf("half a line: %v after %v, want %v after 1s", err, time.Since(start), driver.ErrSilent)
		}
		io.WriteString(far, "90\n6691\n")
		torn, err := r.Next(t.Context(), time.Now().Add(time.Second))
		if err != nil || torn.Fault == "" {
			t.Errorf("the rest after a time-out = %+v, %v; want a fault", torn, err)
		}
		whole, err := r.Next(t.Context(), time.Now().Add(time.Second))
		if err != nil || whole.Fault != "" || string(whole.Bytes) != "6691" {
			t.Errorf("the line after it = %+v, %v; want 6691 without fault", whole, err)
		}
	})
}

func TestNextContext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		conn, far := drivertest.Pipe()
		defer conn.Close()
		r := lines.New(conn, time.Now)
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() {
			_, err := r.Next(ctx, time.Now().Add(time.Hour))
			done <- err
		}()
		synctest.Wait()
		cancel()
		if err := <-done; err != context.Canceled {
			t.Fatalf("Next = %v, want %v", err, context.Canceled)
		}
		// The connection is as good as before.
		io.WriteString(far, "6690\n")
		if line, err := r.Next(t.Context(), time.Now().Add(time.Second)); err != nil || string(line.Bytes) != "6690" {
			t.Errorf("Next with another context = %q, %v; want 6690", line.Bytes, err)
		}
	})
}

func TestQuiet(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		conn, far := drivertest.Pipe()
		defer conn.Close()
		r := lines.New(conn, time.Now)
		io.WriteString(far, "late")
		go func() {
			time.Sleep(lines.Gap / 2) // the bubble's clock
			io.WriteString(far, " answer\n")
		}()
		start := time.Now()
		n, err := r.Quiet(t.Context(), lines.Gap, start.Add(time.Second))
		if took := time.Since(start); n != len("late answer") || err != nil || took != lines.Gap*3/2 {
			t.Errorf("Quiet = %d, %v after %v; want %d after %v", n, err, took, len("late answer"), lines.Gap*3/2)
		}
		if r.Dropped() != int64(n) {
			t.Errorf("Dropped = %d, want %d", r.Dropped(), n)
		}
		talking, stop := context.WithCancel(t.Context())
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			for talking.Err() == nil {
				io.WriteString(far, "x")
				time.Sleep(lines.Gap / 2)
			}
		}()
		if _, err := r.Quiet(t.Context(), lines.Gap, time.Now().Add(time.Second)); !errors.Is(err, driver.ErrSilent) {
			t.Errorf("Quiet under endless talk = %v, want %v", err, driver.ErrSilent)
		}
		stop()
		<-ended
	})
}

func TestText(t *testing.T) {
	tests := []struct {
		name, line, want string
		good             bool
	}{
		{"ASCII", "R=+6690", "R=+6690", true},
		{"UTF-8", "6.69 k\u03a9", "6.69 k\u03a9", true},
		{"code page 437 omega", "6.69 k\xea", "6.69 k\u03a9", true},
		{"code page 437 degree", "21.4 \xf8C", "21.4 °C", true},
		{"Latin-1 degree", "21.4 \xb0C", "21.4 °C", true},
		{"framed", "\x026690\x03", "6690", true},
		{"blanks behind", "6690 \t", "6690", true},
		{"NUL inside", "66\x0090", "", false},
		{"NUL before", "\x006690", "", false},
		{"noise", "66\xff90", "", false},
		{"control character", "66\x1b[90", "", false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := lines.Text([]byte(tt.line))
			if got != tt.want || (err == nil) != tt.good {
				t.Errorf("Text(%q) = %q, %v; want %q, good %v", tt.line, got, err, tt.want, tt.good)
			}
		})
	}
}

func TestRaw(t *testing.T) {
	for line, want := range map[string]string{
		"6.69 k\u03a9":         "6.69 k\u03a9",
		"66\x0090\xff":         `66\x0090\xff`,
		`-113,"it's \ this"`:   `-113,"it's \\ this"`,
		"tab\there\ufffd":      `tab\there` + "\ufffd",
		"a line\r with breaks": `a line\r with breaks`,
	} {
		if got := lines.Raw([]byte(line)); got != want {
			t.Errorf("Raw(%q) = %s, want %s", line, got, want)
		}
	}
	if got := len(lines.Raw([]byte(strings.Repeat("\x00", lines.MaxBytes)))); got > lines.MaxBytes || got < lines.MaxBytes-4 {
		t.Errorf("Raw of 4 KiB of NUL has %d bytes, want just %d at most", got, lines.MaxBytes)
	}
}

func TestShapes(t *testing.T) {
	steps := []struct {
		line  string
		known bool
	}{
		{"R=+6690", true}, // the first is all there is to go by
		{"R=+6691", true},
		{"R=+66", false}, // half a line
		{"R=+6692", true},
		{"R=+66916692", false},
		{"R=+669", false},
		{"R=+668", false},
		{"R=+667", true},  // the third time: it is really shorter
		{"R=-6690", true}, // a sign is a sign
	}
	var s lines.Shapes
	for i, step := range steps {
		if got := s.Known(step.line); got != step.known {
			t.Errorf("step %d: Known(%q) = %v, want %v", i, step.line, got, step.known)
		}
	}
}

// What a meter sends at the moment of unclipping has a digit more than usual.
func TestShapesOfAnswers(t *testing.T) {
	for _, tt := range []struct {
		usual, line string
		known       bool
	}{
		{"R=+6690.0", "R=+12074.0", true},
		{"R=+6690", "R=+12074", true},
		{"6.690 kOhm", "12.07 kOhm", true},
		{"+6.690E+03", "+1.2074E+04", true},
		{"R=+6690.0", "R=+120740.0", false}, // two digits more: two answers may share a line
		{"R=+6690.0", "R=+669.0", false},
		{"R=+6690.0", "R=+66", false},
		{"R=+6690", "R=+66", false},
		{"R=+6690.0", "R=+12074", false}, // its end is missing
		{"R=+6690.0", "R=+66R=+6690.0", false},
		{"6690 ohm", "12074 V", false},
	} {
		answers, talk := lines.Shapes{Answers: true}, lines.Shapes{}
		for _, s := range []*lines.Shapes{&answers, &talk} {
			if !s.Known(tt.usual) {
				t.Fatalf("the first line %q is unknown", tt.usual)
			}
		}
		if got := answers.Known(tt.line); got != tt.known {
			t.Errorf("behind %q the answer %q is known: %v, want %v", tt.usual, tt.line, got, tt.known)
		}
		if talk.Known(tt.line) {
			t.Errorf("behind %q the line %q of a talker is known; it may have lost a line end and more", tt.usual, tt.line)
		}
	}
}

func TestShapesForgetSightingsLongAgo(t *testing.T) {
	var s lines.Shapes
	s.Known("6690.5")
	for range 3 {
		if s.Known("66") {
			t.Fatal("a cut line is known")
		}
		for range 40 {
			if !s.Known("6690.5") {
				t.Fatal("the usual line is unknown")
			}
		}
	}
}

func FuzzText(f *testing.F) {
	for _, seed := range []string{"R=+6690.5", "6.69 k\xea", "\x0221.4 \xf8C\x03", "66\x0090", "\xff\xfe"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, line []byte) {
		raw := lines.Raw(line)
		if len(raw) > lines.MaxBytes {
			t.Fatalf("Raw has %d bytes", len(raw))
		}
		if len(line) < lines.MaxBytes/4 {
			// strconv wants its quotes escaped; Raw leaves them for people.
			back, err := strconv.Unquote(`"` + strings.ReplaceAll(raw, `"`, `\"`) + `"`)
			if err != nil || back != string(line) {
				t.Fatalf("Raw(%q) = %s, which reads back as %q, %v", line, raw, back, err)
			}
		}
		if text, err := lines.Text(line); err == nil && strings.ContainsAny(text, "\x00\r\n") {
			t.Fatalf("Text(%q) = %q", line, text)
		}
	})
}
