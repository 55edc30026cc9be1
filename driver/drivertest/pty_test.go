package drivertest_test

import (
	"errors"
	"io/fs"
	"os"
	"testing"

	"coilkeep/driver/drivertest"
)

func TestPTYCarriesBothWaysAndComesBack(t *testing.T) {
	p := drivertest.PTY(t)
	for range 2 {
		slave, err := os.OpenFile(p.Path(), os.O_RDWR, 0)
		if err != nil {
			t.Fatal(err)
		}
		defer slave.Close()
		if _, err := p.Write([]byte("6690 ohm\r")); err != nil {
			t.Fatal(err)
		}
		b := make([]byte, 64)
		n, err := slave.Read(b)
		if got := string(b[:n]); got != "6690 ohm\r" || err != nil {
			t.Errorf("port read %q, %v; want the bytes unchanged", got, err)
		}
		if _, err := slave.Write([]byte("READ?\n")); err != nil {
			t.Fatal(err)
		}
		n, err = p.Read(b)
		if got := string(b[:n]); got != "READ?\n" || err != nil {
			t.Errorf("instrument read %q, %v; want the bytes unchanged", got, err)
		}

		p.Unplug()
		p.Unplug()
		if _, err := slave.Read(b); err == nil {
			t.Error("port still reads after Unplug")
		}
		if _, err := os.Stat(p.Path()); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("stat of the unplugged path = %v, want %v", err, fs.ErrNotExist)
		}
		if _, err := p.Read(b); !errors.Is(err, os.ErrClosed) {
			t.Errorf("instrument read after Unplug = %v, want %v", err, os.ErrClosed)
		}
		if got := p.Device(); got != "" {
			t.Errorf("Device after Unplug = %q, want none", got)
		}
		p.Replug(t)
	}
}
