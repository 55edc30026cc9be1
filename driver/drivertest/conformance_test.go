package drivertest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"coilkeep/driver"
)

// faults are ways to break the contract; the zero value keeps it.
type faults struct {
	noDeadline, keepsLate, takesLate, systemClock, halves, deaf, lostIsSilence   bool
	leavesOpen, closesTwice, closesInOpen, leaks, emptyRaw, longRaw, overIsValue bool
	strayIdentity, unlocked, keepsLock                                           bool
}

// asker is a query/response driver for an instrument that answers "?\n" with
// "5001\n" or "OVER\n", and "id\n" with a name.
type asker struct {
	faults
	conn   driver.Conn
	s      driver.Settings
	owed   bool
	closed int
}

func askerDriver(f faults) driver.Driver {
	return driver.Driver{
		Name: "asker", Help: "asks", SharesPort: true,
		Options: []driver.Option{{Name: "prompt", Kind: driver.Text, Default: "?\n", Help: "what to ask"}},
		Open: func(_ context.Context, conn driver.Conn, s driver.Settings) (driver.Instrument, error) {
			if f.closesInOpen {
				conn.Close()
				return nil, driver.ErrSilent
			}
			if f.leaks {
				go func() { <-make(chan struct{}) }()
			}
			return &asker{faults: f, conn: conn, s: s}, nil
		},
	}
}

var askerPeer = Peer{
	Answer:   func(value float64) []byte { return fmt.Appendf(nil, "%.0f\n", value) },
	Overload: []byte("OVER\n"),
	Respond: func(sent []byte) (int, Response) {
		i := bytes.IndexByte(sent, '\n')
		if i >= 0 && string(sent[:i]) == "id" {
			return i + 1, Response{Bytes: []byte("an asker\n")}
		}
		return i + 1, Response{Value: true}
	},
}

func (a *asker) Read(ctx context.Context) (driver.Reading, error) {
	if err := ctx.Err(); err != nil && !a.deaf {
		return driver.Reading{}, err
	}
	if l, ok := a.conn.(driver.Locker); ok && !a.unlocked {
		l.Lock()
		if !a.keepsLock {
			defer l.Unlock()
		}
	}
	deadline := time.Now().Add(a.s.Timeout)
	if a.owed && !a.takesLate && !a.keepsLate {
		a.line(ctx, time.Now().Add(a.s.Timeout/2))
	}
	if !a.keepsLate {
		a.conn.Discard()
	}
	a.owed = true
	a.conn.Write([]byte(a.s.Options["prompt"].(string)))
	text, err := a.line(ctx, deadline)
	if err != nil {
		return driver.Reading{}, err
	}
	a.owed = false
	return a.interpret(text), nil
}

func (a *asker) interpret(text string) driver.Reading {
	r := driver.Reading{Time: a.s.Now(), Raw: strings.Trim(strconv.QuoteToASCII(text), `"`), Status: driver.OK}
	if a.systemClock {
		r.Time = time.Now()
	}
	if len(r.Raw) > 4<<10 && !a.longRaw {
		r.Raw = r.Raw[:4<<10]
	}
	if a.emptyRaw {
		r.Raw = ""
	}
	value, err := strconv.ParseFloat(text, 64)
	switch {
	case text == "OVER" && a.overIsValue:
		r.Value = 9.9e37
	case text == "OVER":
		r.Status, r.Reason = driver.Overload, "the instrument shows OVER"
	case err != nil:
		r.Status, r.Reason = driver.Unreadable, "not a number"
	default:
		r.Value = value
	}
	return r
}

// line reads up to a line end, and gives up early in noise.
func (a *asker) line(ctx context.Context, deadline time.Time) (string, error) {
	if !a.noDeadline {
		a.conn.SetReadDeadline(deadline)
	}
	if !a.deaf {
		stop := context.AfterFunc(ctx, func() { a.conn.SetReadDeadline(time.Unix(1, 0)) })
		defer stop()
	}
	var got []byte
	for p := make([]byte, 1); ; {
		_, err := a.conn.Read(p)
		switch {
		case err == nil && p[0] == '\n', len(got) > 4<<10:
			return string(got), nil
		case err == nil:
			got = append(got, p[0])
			continue
		case errors.Is(err, os.ErrDeadlineExceeded) && a.halves && len(got) > 0:
			return string(got), nil
		case errors.Is(err, os.ErrDeadlineExceeded) && ctx.Err() != nil:
			return "", ctx.Err()
		case errors.Is(err, os.ErrDeadlineExceeded), a.lostIsSilence:
			return "", driver.ErrSilent
		}
		return "", err
	}
}

func (a *asker) Identify(ctx context.Context) (driver.Identity, error) {
	l := a.conn.(driver.Locker)
	l.Lock()
	defer l.Unlock()
	a.conn.Write([]byte("id\n"))
	if a.strayIdentity {
		return driver.Identity{Raw: "never mind"}, nil
	}
	raw, err := a.line(ctx, time.Now().Add(a.s.Timeout))
	return driver.Identity{Raw: raw}, err
}

func (a *asker) Close() error {
	if a.closed++; a.closesTwice && a.closed > 1 {
		return errors.New("closed already")
	}
	if a.leavesOpen {
		return nil
	}
	return a.conn.Close()
}

func TestConformanceOfAGoodDriver(t *testing.T) {
	Conformance(t, askerDriver(faults{}), askerPeer)
}

func TestConformanceFindsFaults(t *testing.T) {
	tests := []struct {
		fault faults
		found string // the case that must find it
		text  string // part of what it says
	}{
		{faults{noDeadline: true}, "silence", "read took 10s"},
		{faults{keepsLate: true}, "late answer", "the answers due"},
		{faults{takesLate: true}, "late answer after the next question", "the answers due"},
		{faults{systemClock: true}, "slow answers", "by the clock of the settings"},
		{faults{halves: true}, "half an answer", "cut after 1 bytes"},
		{faults{deaf: true}, "cancelled", "context canceled"},
		{faults{lostIsSilence: true}, "line lost during a read", "connection lost"},
		{faults{lostIsSilence: true}, "line lost before a read", "connection lost"},
		{faults{leavesOpen: true}, "closed during a read", "nothing for"},
		{faults{leavesOpen: true, noDeadline: true}, "closed during a read", "nothing for"},
		{faults{deaf: true, noDeadline: true}, "cancelled", "context canceled"},
		{faults{closesTwice: true}, "closed during a read", "second Close"},
		{faults{closesInOpen: true}, "opened on a silent or lost line", "closed the connection"},
		{faults{leaks: true}, "reads values", "left a goroutine behind"},
		{faults{emptyRaw: true}, "reads values", "raw text of 0 bytes"},
		{faults{longRaw: true}, "endless noise", "want 1 to 4096"},
		{faults{overIsValue: true}, "open leads", "OVER"},
		{faults{strayIdentity: true, keepsLate: true}, "identity", "the answers due"},
		{faults{unlocked: true}, "shared line", "without its lock"},
		{faults{keepsLock: true}, "shared line", ""},
	}
	for _, tt := range tests {
		t.Run(tt.found, func(t *testing.T) {
			for _, c := range cases {
				if c.name != tt.found {
					continue
				}
				err := c.check(t, askerDriver(tt.fault), askerPeer)
				if err == nil || !strings.Contains(err.Error(), tt.text) {
					t.Errorf("%+v: got %v, want an error with %q", tt.fault, err, tt.text)
				}
				return
			}
			t.Errorf("there is no case %q", tt.found)
		})
	}
}

func TestDeclaration(t *testing.T) {
	t.Parallel()
	option := func(o driver.Option) func(*driver.Driver, *Peer) {
		return func(d *driver.Driver, _ *Peer) { d.Options = append(d.Options, o) }
	}
	tests := []struct {
		name  string
		spoil func(*driver.Driver, *Peer)
		want  string
	}{
		{"name", func(d *driver.Driver, _ *Peer) { d.Name = "My driver" }, "want lower-case letters"},
		{"help", func(d *driver.Driver, _ *Peer) { d.Help = "" }, "required"},
		{"answer", func(_ *driver.Driver, p *Peer) { p.Answer = nil }, "required"},
		{"twice", option(driver.Option{Name: "prompt", Kind: driver.Text, Default: "", Help: "again"}), "declared twice"},
		{"no help", option(driver.Option{Name: "unit", Kind: driver.Text, Default: ""}), "Help are required"},
		{"required", option(driver.Option{Name: "unit", Kind: driver.Text, Help: "unit"}), "the peer does not set it"},
		{"text", option(driver.Option{Name: "unit", Kind: driver.Text, Default: 1, Help: "unit"}), "int, which is not of kind"},
		{"integer", option(driver.Option{Name: "address", Kind: driver.Integer, Default: 1, Help: "address"}), "int, which is not of kind"},
		{"number", option(driver.Option{Name: "scale", Kind: driver.Number, Default: 1, Help: "scale"}), "int, which is not of kind"},
		{"texts", option(driver.Option{Name: "init", Kind: driver.Texts, Default: "", Help: "init"}), "string, which is not of kind"},
		{"one of", option(driver.Option{Name: "table", Kind: driver.Text, Default: "c", OneOf: []string{"a", "b"}, Help: "table"}),
			"is not among"},
		{"unknown", func(_ *driver.Driver, p *Peer) { p.Options = driver.Options{"baud": int64(1)} }, "does not declare"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			d, p := askerDriver(faults{}), askerPeer
			tt.spoil(&d, &p)
			if err := declaration(d, p); err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("declaration = %v, want an error with %q", err, tt.want)
			}
		})
	}
}

// Each case quotes the contract to the word.
func TestSentencesStandInTheContract(t *testing.T) {
	t.Parallel()
	source, err := os.ReadFile("../driver.go")
	if err != nil {
		t.Fatal(err)
	}
	contract := strings.Join(strings.Fields(strings.ReplaceAll(string(source), "//", " ")), " ")
	for _, c := range cases {
		if !strings.Contains(contract, c.sentence) {
			t.Errorf("case %q: driver.go does not say %q", c.name, c.sentence)
		}
	}
}
