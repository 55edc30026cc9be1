package driver_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
)

// A driver as a third party writes it, whole, for an invented bridge that
// prints a line such as "R 6690.5" twice a second. In a module of its own it
// is one package that calls driver.Register in an init function; a main that
// imports it beside coilkeep's own drivers then knows driver = "bridge".
var bridge = driver.Driver{
	Name: "bridge",
	Help: "a bridge that prints R and a number of ohms on its own",
	Options: []driver.Option{{
		Name: "letter", Kind: driver.Text, Default: "R",
		Help: "the letter before the number",
	}},
	Open: func(_ context.Context, conn driver.Conn, s driver.Settings) (driver.Instrument, error) {
		if s.Quantity != driver.Resistance {
			return nil, fmt.Errorf("%w: the bridge measures resistance, not %s", driver.ErrSettings, s.Quantity)
		}
		return &bridgeMeter{conn: conn, settings: s, letter: s.Options["letter"].(string)}, nil
	},
}

func init() { driver.Register(bridge) }

type bridgeMeter struct {
	conn     driver.Conn
	settings driver.Settings
	letter   string
	// got holds what arrived after the last line end. whole is false while it
	// may lack its beginning: after opening and after a pause in mid-line.
	got   []byte
	whole bool
}

// FreeRunning tells the bench to read without pauses of its own.
func (m *bridgeMeter) FreeRunning() bool { return true }

func (m *bridgeMeter) Close() error { return m.conn.Close() }

func (m *bridgeMeter) Read(ctx context.Context) (driver.Reading, error) {
	if err := m.conn.SetReadDeadline(time.Now().Add(m.settings.Timeout)); err != nil {
		return driver.Reading{}, fmt.Errorf("read the bridge: %w", err)
	}
	// A cancelled context moves the deadline into the past, which ends a read.
	stop := context.AfterFunc(ctx, func() { m.conn.SetReadDeadline(time.Unix(1, 0)) })
	defer stop()
	for {
		if ctx.Err() != nil {
			return driver.Reading{}, ctx.Err()
		}
		if line, rest, ok := bytes.Cut(m.got, []byte("\n")); ok {
			whole := m.whole
			m.got, m.whole = rest, true
			if whole {
				return m.interpret(string(line)), nil
			}
			continue
		}
		if err := m.receive(); err != nil {
			return driver.Reading{}, m.explain(ctx, err)
		}
	}
}

// receive waits for further bytes. What grows past any line is noise.
func (m *bridgeMeter) receive() error {
	var chunk [256]byte
	n, err := m.conn.Read(chunk[:])
	m.got = append(m.got, chunk[:n]...)
	if len(m.got) > 1024 {
		m.got, m.whole = nil, false
	}
	return err
}

// explain says what the end of a wait means.
func (m *bridgeMeter) explain(ctx context.Context, err error) error {
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case errors.Is(err, os.ErrDeadlineExceeded):
		// Half a line that stood still is not finished by what comes next.
		m.whole = m.whole && len(m.got) == 0
		return fmt.Errorf("read the bridge: %w in %v", driver.ErrSilent, m.settings.Timeout)
	}
	return fmt.Errorf("read the bridge: %w", err)
}

// interpret makes a reading of one whole line.
func (m *bridgeMeter) interpret(line string) driver.Reading {
	quoted := strconv.QuoteToGraphic(strings.TrimSuffix(line, "\r"))
	r := driver.Reading{
		Time: m.settings.Now(),
		Raw:  quoted[1 : len(quoted)-1],
	}
	text, found := strings.CutPrefix(r.Raw, m.letter+" ")
	ohms, err := strconv.ParseFloat(text, 64)
	switch {
	case found && text == "over":
		r.Status, r.Reason = driver.Overload, "the bridge shows over: open leads?"
	case !found || err != nil || ohms < 0:
		r.Status, r.Reason = driver.Unreadable, "not a line of this bridge"
	default:
		r.Status, r.Value, r.Resolution = driver.OK, ohms, 0.1
	}
	return r
}

// The suite says in one line whether a driver keeps the contract.
func TestBridge(t *testing.T) {
	drivertest.Conformance(t, bridge, drivertest.Peer{
		Answer:   func(value float64) []byte { return fmt.Appendf(nil, "R %.1f\r\n", value) },
		Overload: []byte("R over\r\n"),
	})
}

func Example() {
	conn, instrument := drivertest.Pipe() // a program would use port.Open
	d, _ := driver.Lookup("bridge")
	meter, err := d.Open(context.Background(), conn, driver.Settings{
		Quantity: driver.Resistance,
		Timeout:  2 * time.Second,
		Options:  driver.Options{"letter": "R"},
		Now:      time.Now,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer meter.Close()

	io.WriteString(instrument, "90.5\r\nR 6690.5\r\nR over\r\n")
	for range 2 {
		r, err := meter.Read(context.Background())
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("%s: %v %s, from %q\n", r.Status, r.Value, driver.Resistance.Unit(), r.Raw)
	}
	// Output:
	// ok: 6690.5 Ω, from "R 6690.5"
	// overload: 0 Ω, from "R over"
}
