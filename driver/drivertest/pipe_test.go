package drivertest_test

import (
	"bufio"
	"errors"
	"io"
	"os"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
)

func TestPipeCarriesBothWays(t *testing.T) {
	conn, far := drivertest.Pipe()
	defer conn.Close()
	if _, err := io.WriteString(conn, "READ?\n"); err != nil {
		t.Fatal(err)
	}
	got, err := bufio.NewReader(far).ReadString('\n')
	if err != nil || got != "READ?\n" {
		t.Fatalf("far end read %q, %v; want %q", got, err, "READ?\n")
	}
	io.WriteString(far, "+6.69E3\n")
	answer, err := bufio.NewReader(conn).ReadString('\n')
	if err != nil || answer != "+6.69E3\n" {
		t.Fatalf("driver read %q, %v; want %q", answer, err, "+6.69E3\n")
	}
}

func TestPipeDeadline(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		conn, far := drivertest.Pipe()
		start := time.Now()
		conn.SetReadDeadline(start.Add(2 * time.Second))
		n, err := conn.Read(make([]byte, 8))
		if n != 0 || !errors.Is(err, os.ErrDeadlineExceeded) || time.Since(start) != 2*time.Second {
			t.Errorf("Read = %d, %v after %v; want 0, %v after 2s", n, err, time.Since(start), os.ErrDeadlineExceeded)
		}
		// A deadline moved while a Read waits counts.
		conn.SetReadDeadline(time.Time{})
		done := make(chan error)
		go func() {
			_, err := conn.Read(make([]byte, 8))
			done <- err
		}()
		synctest.Wait()
		conn.SetReadDeadline(time.Now().Add(time.Second))
		if err := <-done; !errors.Is(err, os.ErrDeadlineExceeded) {
			t.Errorf("Read under a moved deadline = %v, want %v", err, os.ErrDeadlineExceeded)
		}
		// A deadline that has passed comes before waiting bytes.
		io.WriteString(far, "late")
		if _, err := conn.Read(make([]byte, 8)); !errors.Is(err, os.ErrDeadlineExceeded) {
			t.Errorf("Read after the deadline = %v, want %v", err, os.ErrDeadlineExceeded)
		}
		if got := conn.Discard(); got != 4 {
			t.Errorf("Discard = %d, want 4", got)
		}
	})
}

func TestPipeEnds(t *testing.T) {
	for name, end := range map[string]func(driver.Conn, *drivertest.Far){
		"close":   func(c driver.Conn, _ *drivertest.Far) { c.Close(); c.Close() },
		"hang up": func(_ driver.Conn, f *drivertest.Far) { f.Close() },
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				conn, far := drivertest.Pipe()
				done := make(chan error)
				go func() {
					_, err := conn.Read(make([]byte, 8))
					done <- err
				}()
				synctest.Wait()
				end(conn, far)
				if err := <-done; !errors.Is(err, driver.ErrLineLost) {
					t.Errorf("blocked Read = %v, want %v", err, driver.ErrLineLost)
				}
				if _, err := conn.Write([]byte("x")); !errors.Is(err, driver.ErrLineLost) {
					t.Errorf("Write = %v, want %v", err, driver.ErrLineLost)
				}
			})
		})
	}
}

func TestPipeHangUpDeliversWhatArrived(t *testing.T) {
	conn, far := drivertest.Pipe()
	io.WriteString(far, "6690\n")
	far.Close()
	got, err := io.ReadAll(conn)
	if string(got) != "6690\n" || !errors.Is(err, driver.ErrLineLost) {
		t.Errorf("read %q, %v; want %q, %v", got, err, "6690\n", driver.ErrLineLost)
	}
}

func TestPipeOverflowLosesTheLine(t *testing.T) {
	conn, far := drivertest.Pipe()
	io.WriteString(far, strings.Repeat("x", 64<<10))
	io.WriteString(far, "6690\n")
	if _, err := conn.Read(make([]byte, 8)); !errors.Is(err, driver.ErrLineLost) {
		t.Fatalf("Read past a gap = %v, want %v", err, driver.ErrLineLost)
	}
	if got, want := conn.Discard(), 64<<10+5; got != want {
		t.Errorf("Discard = %d, want %d", got, want)
	}
	io.WriteString(far, "6691\n")
	p := make([]byte, 8)
	n, err := conn.Read(p)
	if string(p[:n]) != "6691\n" || err != nil {
		t.Errorf("Read after Discard = %q, %v; want %q", p[:n], err, "6691\n")
	}
}

func TestPipeFarSeesTheEnd(t *testing.T) {
	conn, far := drivertest.Pipe()
	io.WriteString(conn, "last words")
	conn.Close()
	<-far.Closed()
	got, err := io.ReadAll(far)
	if string(got) != "last words" || err != nil {
		t.Errorf("far end read %q, %v; want %q", got, err, "last words")
	}
}
