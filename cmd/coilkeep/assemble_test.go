package main

import (
	"io"
	"net"
	"strings"
	"testing"

	"coilkeep/driver"
	"coilkeep/driver/port"
	"coilkeep/internal/config"
)

// A board that restarts when its port opens says a banner before it answers,
// with a number in it. The pause of the configuration keeps that from being
// taken for the first answer.
func TestResetPauseReachesThePort(t *testing.T) {
	t.Parallel()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { listener.Close() })
	go board(listener)
	text := benchTOML("driver = \"line\"\nprompt = \"D\\n\"\nreset_pause = \"500ms\"\nport = \"tcp:"+listener.Addr().String()+"\"",
		"driver = \"manual\"")
	cfg, err := config.Parse(strings.NewReader(text), "coilkeep.toml")
	if err != nil {
		t.Fatal(err)
	}
	meter, err := assembleBench(cfg.Benches[0], &port.Pool{}).Meter.Open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer meter.Close()
	r, err := meter.Read(t.Context())
	if err != nil || r.Status != driver.OK || r.Value != 6690 {
		t.Errorf("the first reading is %s %g from %q (%v), want the 6690 it was asked for", r.Status, r.Value, r.Raw, err)
	}
}

// board answers each question with one value, after its banner.
func board(listener net.Listener) {
	conn, err := listener.Accept()
	if err != nil {
		return
	}
	defer conn.Close()
	if _, err := io.WriteString(conn, "selftest 1234 ohm\r\n"); err != nil {
		return
	}
	question := make([]byte, 2)
	for {
		if _, err := io.ReadFull(conn, question); err != nil {
			return
		}
		if _, err := io.WriteString(conn, "6690 ohm\r\n"); err != nil {
			return
		}
	}
}
