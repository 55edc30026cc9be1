package port_test

import (
	"context"
	"errors"
	"io"
	"net"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/port"
)

// serve listens on loopback and hands over each connection that comes.
func serve(t *testing.T) (address string, accepted <-chan net.Conn) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	conns := make(chan net.Conn)
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			select {
			case conns <- c:
			case <-t.Context().Done():
				c.Close()
				return
			}
		}
	}()
	return "tcp:" + l.Addr().String(), conns
}

func accept(t *testing.T, accepted <-chan net.Conn) net.Conn {
	t.Helper()
	select {
	case c := <-accepted:
		t.Cleanup(func() { c.Close() })
		return c
	case <-time.After(patience):
		t.Fatal("nobody connected")
		return nil
	}
}

func TestTCPExchangeAndHangUp(t *testing.T) {
	t.Parallel()
	address, accepted := serve(t)
	c := open(t, settings(address))
	server := accept(t, accepted)
	write(t, c, "READ?\n")
	wantLine(t, server, "READ?\n")
	write(t, server, "6690\n")
	wantLine(t, c, "6690\n")

	c.SetReadDeadline(time.Time{})
	done := readInBackground(c)
	server.Close()
	wantLost(t, done, patience)
}

func TestTCPCloseEndsReadAndIsSeen(t *testing.T) {
	t.Parallel()
	address, accepted := serve(t)
	c := open(t, settings(address))
	server := accept(t, accepted)
	done := readInBackground(c)
	c.Close()
	wantLost(t, done, patience)
	server.SetReadDeadline(time.Now().Add(patience))
	if _, err := server.Read(make([]byte, 1)); err != io.EOF {
		t.Errorf("server's Read = %v, want %v", err, io.EOF)
	}
}

func TestTCPRefused(t *testing.T) {
	t.Parallel()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := "tcp:" + l.Addr().String()
	l.Close()
	if _, err := port.Open(t.Context(), settings(address)); !errors.Is(err, port.ErrMissing) {
		t.Errorf("Open = %v, want %v", err, port.ErrMissing)
	}
}

func TestTCPCancelled(t *testing.T) {
	t.Parallel()
	address, _ := serve(t)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := port.Open(ctx, settings(address)); !errors.Is(err, context.Canceled) {
		t.Errorf("Open = %v, want %v", err, context.Canceled)
	}
}

func TestResetPauseDropsTheBanner(t *testing.T) {
	t.Parallel()
	address, accepted := serve(t)
	written := make(chan net.Conn, 1)
	go func() {
		server := <-accepted
		io.WriteString(server, "boot 8500 ohm\n")
		written <- server
	}()
	s := settings(address)
	s.ResetPause = 500 * time.Millisecond
	c := open(t, s)
	server := <-written
	t.Cleanup(func() { server.Close() })
	write(t, server, "6690\n")
	wantLine(t, c, "6690\n")
}

func TestLineLostDuringResetPause(t *testing.T) {
	t.Parallel()
	address, accepted := serve(t)
	go func() {
		server := <-accepted
		io.WriteString(server, "boot")
		server.Close()
	}()
	s := settings(address)
	s.ResetPause = time.Hour
	if _, err := port.Open(t.Context(), s); !errors.Is(err, driver.ErrLineLost) {
		t.Errorf("Open = %v, want %v", err, driver.ErrLineLost)
	}
}
