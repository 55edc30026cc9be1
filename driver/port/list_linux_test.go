package port

import (
	"errors"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// sysfs lays out terminals the way Linux does, as seen on a machine with two
// USB adapters, an on-board UART and three reserved ones. The identities are
// invented.
func sysfs(t *testing.T) string {
	t.Helper()
	root := t.TempDir()
	write := func(dir string, attributes map[string]string) {
		if err := os.MkdirAll(filepath.Join(root, dir), 0o755); err != nil {
			t.Fatal(err)
		}
		for name, text := range attributes {
			if err := os.WriteFile(filepath.Join(root, dir, name), []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	link := func(target, name string) {
		path := filepath.Join(root, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.Symlink(target, path); err != nil {
			t.Fatal(err)
		}
	}
	const usb = "devices/pci0000:00/0000:00:14.0/usb1"
	write(usb, map[string]string{"idVendor": "1d6b\n", "idProduct": "0002\n"})
	// A USB serial adapter: the terminal lies two levels below the device.
	write(usb+"/1-1", map[string]string{"idVendor": "1a2b\n", "idProduct": "00f1\n", "serial": "A1\n", "product": "Bench Adapter\n",
		"manufacturer": "Kestrel Lane\n"})
	write(usb+"/1-1/1-1:1.0/ttyUSB0/tty/ttyUSB0", nil)
	link("../../../ttyUSB0", usb+"/1-1/1-1:1.0/ttyUSB0/tty/ttyUSB0/device")
	link("../../"+usb+"/1-1/1-1:1.0/ttyUSB0/tty/ttyUSB0", "class/tty/ttyUSB0")
	// A communication class device without a serial number: one level below.
	write(usb+"/1-2", map[string]string{"idVendor": "cafe\n", "idProduct": "0007\n", "serial": ""})
	write(usb+"/1-2/1-2:1.0/tty/ttyACM0", nil)
	link("../../../1-2:1.0", usb+"/1-2/1-2:1.0/tty/ttyACM0/device")
	link("../../"+usb+"/1-2/1-2:1.0/tty/ttyACM0", "class/tty/ttyACM0")
	// On-board ports, real and reserved; a console without hardware.
	for name, kind := range map[string]string{"ttyS0": "4\n", "ttyS1": "0\n"} {
		write("devices/pnp0/00:00/tty/"+name, map[string]string{"type": kind})
		link("../../../00:00", "devices/pnp0/00:00/tty/"+name+"/device")
		link("../../devices/pnp0/00:00/tty/"+name, "class/tty/"+name)
	}
	write("devices/virtual/tty/tty1", nil)
	link("../../devices/virtual/tty/tty1", "class/tty/tty1")
	return root
}

func TestEnumerate(t *testing.T) {
	t.Parallel()
	got, err := enumerateIn(sysfs(t), "/dev")
	want := []Info{
		{Path: "/dev/ttyACM0", VID: "CAFE", PID: "0007"},
		{Path: "/dev/ttyS0"},
		{Path: "/dev/ttyUSB0", VID: "1A2B", PID: "00F1", Serial: "A1", Manufacturer: "Kestrel Lane", Product: "Bench Adapter"},
	}
	if err != nil || !slices.Equal(got, want) {
		t.Errorf("ports = %+v, %v; want %+v", got, err, want)
	}
	if got, err := enumerateIn(t.TempDir(), "/dev"); got != nil || err != nil {
		t.Errorf("ports without any terminal = %+v, %v; want none", got, err)
	}
}

func TestList(t *testing.T) {
	t.Parallel()
	ports, err := List()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range ports {
		if _, err := ParseAddress(p.Address); err != nil || p.Path == "" {
			t.Errorf("listed %+v, whose address does not parse: %v", p, err)
		}
	}
}

func TestBestAddress(t *testing.T) {
	t.Parallel()
	ports := []Info{
		{Path: "/dev/ttyUSB0", VID: "1A2B", PID: "00F1", Serial: "A1"},
		{Path: "/dev/ttyUSB1", VID: "1A2B", PID: "00F1", Serial: "A2"},
		{Path: "/dev/ttyUSB2", VID: "1A2B", PID: "00F2"},
		{Path: "/dev/ttyUSB3", VID: "1A2B", PID: "00F3"},
		{Path: "/dev/ttyUSB4", VID: "1A2B", PID: "00F3"},
		{Path: "/dev/ttyUSB5", VID: "1A2B", PID: "00F4", Serial: "bad\x01"},
		{Path: "/dev/ttyS0"},
	}
	want := map[string]string{
		"/dev/ttyUSB0": "usb:1A2B:00F1:A1",
		"/dev/ttyUSB1": "usb:1A2B:00F1:A2",
		"/dev/ttyUSB2": "usb:1A2B:00F2",
		"/dev/ttyUSB3": "/dev/ttyUSB3", // twins
		"/dev/ttyUSB4": "/dev/ttyUSB4",
		"/dev/ttyUSB5": "/dev/ttyUSB5", // cannot be typed
		"/dev/ttyS0":   "/dev/ttyS0",
	}
	got := map[string]string{}
	for _, p := range ports {
		got[p.Path] = bestAddress(p, ports)
	}
	if !maps.Equal(got, want) {
		t.Errorf("addresses = %v, want %v", got, want)
	}
}

func TestFindUSB(t *testing.T) {
	t.Parallel()
	ports := []Info{
		{Path: "/dev/ttyUSB3", VID: "1A2B", PID: "00F1", Serial: "A1", Product: "Bench Adapter"},
		{Path: "/dev/ttyUSB7", VID: "1A2B", PID: "00F1", Serial: "A2"},
		{Path: "/dev/ttyACM0", VID: "CAFE", PID: "0007", Serial: "Z"},
		{Path: "/dev/ttyACM1", VID: "CAFE", PID: "0007", Serial: "Z"},
	}
	broken := errors.New("sysfs is on fire")
	tests := []struct {
		name, address string
		listErr       error
		want          string
		wantErr       error
		wantText      string
	}{
		{name: "by serial number", address: "usb:1a2b:00f1:A2", want: "/dev/ttyUSB7"},
		{name: "not plugged in", address: "usb:1A2B:00F1:A3", wantErr: ErrMissing,
			wantText: "plugged in: /dev/ttyUSB3 (Bench Adapter), /dev/ttyUSB7"},
		{name: "two of a kind", address: "usb:1A2B:00F1", wantErr: ErrAmbiguous, wantText: "add the serial number"},
		{name: "two with one serial number", address: "usb:CAFE:0007:Z", wantErr: ErrAmbiguous, wantText: "give the device path"},
		{name: "no list", address: "usb:CAFE:0007", listErr: broken, wantErr: broken},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			a, err := ParseAddress(tt.address)
			if err != nil {
				t.Fatal(err)
			}
			got, err := findUSB(a, func() ([]Info, error) { return ports, tt.listErr })
			if got != tt.want || !errors.Is(err, tt.wantErr) || (err != nil && !strings.Contains(err.Error(), tt.wantText)) {
				t.Errorf("findUSB(%s) = %q, %v; want %q, %v with %q", tt.address, got, err, tt.want, tt.wantErr, tt.wantText)
			}
		})
	}
}
