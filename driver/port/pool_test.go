package port_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
	"coilkeep/driver/port"
)

func poolOpen(t *testing.T, p *port.Pool, s port.Settings, use port.Use) driver.Conn {
	t.Helper()
	c, err := p.Open(t.Context(), s, use)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

var (
	meter = port.Use{User: "bench north, meter", Shared: true}
	probe = port.Use{User: "bench north, probe", Shared: true}
	alone = port.Use{User: "bench south, meter"}
)

func TestPoolRefusesASecondUser(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name          string
		first, second port.Use
	}{
		{"both alone", alone, port.Use{User: "bench south, probe"}},
		{"only the first shares", meter, alone},
		{"only the second shares", alone, meter},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			p := drivertest.PTY(t)
			var pool port.Pool
			first := poolOpen(t, &pool, settings(p.Path()), tt.first)
			// The link and the device behind it are one port.
			for _, address := range []string{p.Path(), p.Device()} {
				_, err := pool.Open(t.Context(), settings(address), tt.second)
				if !errors.Is(err, port.ErrBusy) || !strings.Contains(err.Error(), tt.first.User) {
					t.Errorf("Open(%s) = %v, want %v by %s", address, err, port.ErrBusy, tt.first.User)
				}
			}
			first.Close()
			poolOpen(t, &pool, settings(p.Path()), tt.second)
		})
	}
}

func TestPoolSharesOnlyWithEqualLineSettings(t *testing.T) {
	t.Parallel()
	p := drivertest.PTY(t)
	var pool port.Pool
	s := settings(p.Path())
	poolOpen(t, &pool, s, meter)
	for _, change := range []func(*port.Settings){
		func(s *port.Settings) { s.Baud = 19200 },
		func(s *port.Settings) { s.Frame = "8E1" },
	} {
		other := s
		change(&other)
		_, err := pool.Open(t.Context(), other, probe)
		if !errors.Is(err, driver.ErrSettings) || !strings.Contains(err.Error(), meter.User+" uses the same port with 9600 baud 8N1") {
			t.Errorf("Open(%+v) = %v, want %v and the other's settings", other, err, driver.ErrSettings)
		}
	}
	same := s
	same.Baud, same.Frame = 9600, "8n1"
	poolOpen(t, &pool, same, probe)
}

// Two instruments on one bus ask at the same time; the far end echoes a word
// at a time and would mix questions that are not whole.
func TestPoolExchangesStayWhole(t *testing.T) {
	t.Parallel()
	p := drivertest.PTY(t)
	go func() {
		b := make([]byte, 1)
		for {
			if _, err := p.Read(b); err != nil {
				return
			}
			if _, err := p.Write(b); err != nil {
				return
			}
		}
	}()
	var pool port.Pool
	var users sync.WaitGroup
	for _, use := range []port.Use{meter, probe} {
		c := poolOpen(t, &pool, settings(p.Path()), use)
		l, ok := c.(driver.Locker)
		if !ok {
			t.Fatal("a shared connection is no driver.Locker")
		}
		users.Go(func() {
			for i := range 50 {
				func() {
					l.Lock()
					defer l.Unlock()
					text := fmt.Sprintf("%s %d\n", use.User, i)
					c.Discard()
					for _, part := range []string{text[:4], text[4:]} {
						if _, err := c.Write([]byte(part)); err != nil {
							t.Errorf("write: %v", err)
							return
						}
					}
					got := ""
					c.SetReadDeadline(time.Now().Add(patience))
					for b := make([]byte, 8); !strings.HasSuffix(got, "\n"); {
						n, err := c.Read(b)
						if err != nil {
							t.Errorf("read: %v", err)
							return
						}
						got += string(b[:n])
					}
					if got != text {
						t.Errorf("%s asked %q and was answered %q", use.User, text, got)
					}
				}()
			}
		})
	}
	users.Wait()
}

func TestPoolOneUserLeaves(t *testing.T) {
	t.Parallel()
	p := drivertest.PTY(t)
	var pool port.Pool
	leaving := poolOpen(t, &pool, settings(p.Path()), meter)
	staying := poolOpen(t, &pool, settings(p.Path()), probe)
	done := readInBackground(leaving)
	if err := errors.Join(leaving.Close(), leaving.Close()); err != nil {
		t.Error(err)
	}
	wantLost(t, done, patience)
	if _, err := leaving.Write([]byte("x")); !errors.Is(err, driver.ErrLineLost) {
		t.Errorf("Write after Close = %v, want %v", err, driver.ErrLineLost)
	}
	if _, err := leaving.Read(make([]byte, 1)); !errors.Is(err, driver.ErrLineLost) {
		t.Errorf("Read after Close = %v, want %v", err, driver.ErrLineLost)
	}
	write(t, p, "6690\n")
	if n := leaving.Discard(); n != 0 {
		t.Errorf("Discard after Close took %d bytes from the other user", n)
	}
	wantLine(t, staying, "6690\n")
	// The other is now the last, and the port becomes free with it.
	staying.Close()
	poolOpen(t, &pool, settings(p.Path()), alone)
}

func TestPoolDeadlinesAreEachUsersOwn(t *testing.T) {
	t.Parallel()
	p := drivertest.PTY(t)
	var pool port.Pool
	hurried := poolOpen(t, &pool, settings(p.Path()), meter)
	patient := poolOpen(t, &pool, settings(p.Path()), probe)
	hurried.SetReadDeadline(time.Now().Add(-time.Second))
	if _, err := hurried.Read(make([]byte, 1)); !errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("Read = %v, want %v", err, os.ErrDeadlineExceeded)
	}
	write(t, p, "6690\n")
	wantLine(t, patient, "6690\n")
	// A deadline set while a Read waits counts.
	hurried.SetReadDeadline(time.Time{})
	done := readInBackground(hurried)
	hurried.SetReadDeadline(time.Now().Add(20 * time.Millisecond))
	select {
	case err := <-done:
		if !errors.Is(err, os.ErrDeadlineExceeded) {
			t.Errorf("Read = %v, want %v", err, os.ErrDeadlineExceeded)
		}
	case <-time.After(patience):
		t.Error("Read missed the deadline")
	}
}

func TestPoolLineLostForAll(t *testing.T) {
	t.Parallel()
	p := drivertest.PTY(t)
	var pool port.Pool
	one := poolOpen(t, &pool, settings(p.Path()), meter)
	two := poolOpen(t, &pool, settings(p.Path()), probe)
	done := readInBackground(one)
	p.Unplug()
	wantLost(t, done, patience)
	p.Replug(t)
	// The one that noticed opens anew while the other still has its old
	// connection, which is lost to it too.
	again := poolOpen(t, &pool, settings(p.Path()), meter)
	wantLost(t, readInBackground(two), patience)
	if err := errors.Join(one.Close(), two.Close()); err != nil {
		t.Error(err)
	}
	joined := poolOpen(t, &pool, settings(p.Path()), probe)
	write(t, p, "6690\n")
	wantLine(t, again, "6690\n")
	write(t, p, "21.4\n")
	wantLine(t, joined, "21.4\n")
}

func TestPoolTooMany(t *testing.T) {
	t.Parallel()
	var pool port.Pool
	for i := range port.MaxConnections {
		address, _ := serve(t)
		poolOpen(t, &pool, settings(address), port.Use{User: fmt.Sprint("bench ", i)})
	}
	address, _ := serve(t)
	if _, err := pool.Open(t.Context(), settings(address), alone); !errors.Is(err, port.ErrTooMany) {
		t.Errorf("Open = %v, want %v", err, port.ErrTooMany)
	}
}

func TestPoolSomebodyGivesUpWhileOpening(t *testing.T) {
	t.Parallel()
	address, accepted := serve(t)
	var pool port.Pool
	slow := settings(address)
	slow.ResetPause = time.Hour
	start := func(ctx context.Context, s port.Settings, use port.Use) <-chan error {
		done := make(chan error, 1)
		go func() {
			c, err := pool.Open(ctx, s, use)
			if err == nil {
				err = c.Close()
			}
			done <- err
		}()
		return done
	}
	ctx, cancel := context.WithCancel(t.Context())
	opening := start(ctx, slow, meter)
	accept(t, accepted) // now the first waits out its pause

	// One that waits for the first gives up without harm to anybody.
	hurried, stop := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer stop()
	if _, err := pool.Open(hurried, settings(address), probe); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("Open of the one who gives up waiting = %v, want %v", err, context.DeadlineExceeded)
	}
	// When the first gives up, one that waits opens the port itself.
	waiting := start(t.Context(), settings(address), probe)
	await(t, func() bool {
		_, err := pool.Open(t.Context(), settings(address), alone)
		return err != nil && strings.Contains(err.Error(), probe.User)
	}, func() { t.Error("the second user never began to wait") })
	cancel()
	for done, want := range map[<-chan error]error{opening: context.Canceled, waiting: nil} {
		select {
		case err := <-done:
			if !errors.Is(err, want) {
				t.Errorf("Open = %v, want %v", err, want)
			}
		case <-time.After(patience):
			t.Fatal("Open still waits")
		}
	}
}

// Users come and go on one port at any moment; none finds it busy.
func TestPoolComingAndGoing(t *testing.T) {
	t.Parallel()
	p := drivertest.PTY(t)
	var pool port.Pool
	var users sync.WaitGroup
	for i := range 4 {
		use := port.Use{User: fmt.Sprint("user ", i), Shared: true}
		users.Go(func() {
			for range 100 {
				c, err := pool.Open(t.Context(), settings(p.Path()), use)
				if err != nil {
					t.Errorf("Open = %v", err)
					return
				}
				if _, err := c.Write([]byte("x")); err != nil {
					t.Errorf("Write right after Open = %v", err)
				}
				if err := c.Close(); err != nil {
					t.Errorf("Close = %v", err)
				}
			}
		})
	}
	users.Wait()
}
