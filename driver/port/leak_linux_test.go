package port_test

import (
	"os"
	"runtime"
	"testing"
	"time"

	"coilkeep/driver/drivertest"
	"coilkeep/driver/port"
)

// No test beside this one runs meanwhile: it is not parallel.
func TestNothingIsLeftBehind(t *testing.T) {
	p := drivertest.PTY(t)
	address, accepted := serve(t)
	var pool port.Pool
	cycle := func() {
		// Unplugged in the middle of a read.
		c := open(t, settings(p.Path()))
		done := readInBackground(c)
		p.Unplug()
		wantLost(t, done, patience)
		c.Close()
		// Missing, busy.
		if _, err := port.Open(t.Context(), settings(p.Path())); err == nil {
			t.Fatal("an unplugged port opened")
		}
		p.Replug(t)
		c = open(t, settings(p.Path()))
		if _, err := port.Open(t.Context(), settings(p.Path())); err == nil {
			t.Fatal("a busy port opened")
		}
		c.Close()
		// Closed with a write stuck.
		s := settings(p.Path())
		s.Timeout = time.Millisecond
		c = open(t, s)
		if _, err := c.Write(make([]byte, 1<<20)); err == nil {
			t.Fatal("a write nobody took succeeded")
		}
		c.Close()
		p.Replug(t)
		// A server, shared by two, that hangs up.
		shared := poolOpen(t, &pool, settings(address), port.Use{User: "meter", Shared: true})
		server := accept(t, accepted)
		other := poolOpen(t, &pool, settings(address), port.Use{User: "probe", Shared: true})
		done = readInBackground(shared)
		server.Close()
		wantLost(t, done, patience)
		shared.Close()
		other.Close()
	}
	cycle() // the runtime's poller and the like stay
	descriptors, goroutines := usage(t)
	for range 50 {
		cycle()
	}
	await(t, func() bool {
		d, g := usage(t)
		return d <= descriptors && g <= goroutines
	}, func() {
		d, g := usage(t)
		t.Errorf("%d descriptors and %d goroutines, want %d and %d as before", d, g, descriptors, goroutines)
	})
}

// usage counts open descriptors and goroutines of this process.
func usage(t *testing.T) (descriptors, goroutines int) {
	t.Helper()
	entries, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Fatal(err)
	}
	return len(entries), runtime.NumGoroutine()
}
