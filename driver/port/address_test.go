package port_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/port"
)

func TestParseAddress(t *testing.T) {
	t.Parallel()
	tests := []struct {
		text string
		want port.Address
	}{
		{"/dev/ttyUSB0", port.Address{Kind: port.Device, Path: "/dev/ttyUSB0"}},
		{"/dev/serial/by-id/usb-Adapter_A1-if00", port.Address{Kind: port.Device, Path: "/dev/serial/by-id/usb-Adapter_A1-if00"}},
		{"COM3", port.Address{Kind: port.Device, Path: "COM3"}},
		{"com12", port.Address{Kind: port.Device, Path: "COM12"}},
		{`\\.\COM10`, port.Address{Kind: port.Device, Path: "COM10"}},
		{"usb:1a2b:00f1", port.Address{Kind: port.USB, VID: "1A2B", PID: "00F1"}},
		{"usb:1A2B:00F1:A:b c", port.Address{Kind: port.USB, VID: "1A2B", PID: "00F1", Serial: "A:b c"}},
		{"tcp:bench.example:4001", port.Address{Kind: port.TCP, Host: "bench.example", Port: 4001}},
		{"tcp:192.0.2.7:23", port.Address{Kind: port.TCP, Host: "192.0.2.7", Port: 23}},
		{"tcp:[2001:db8::7]:65535", port.Address{Kind: port.TCP, Host: "2001:db8::7", Port: 65535}},
	}
	for _, tt := range tests {
		t.Run(tt.text, func(t *testing.T) {
			got, err := port.ParseAddress(tt.text)
			if err != nil || got != tt.want {
				t.Fatalf("ParseAddress(%q) = %+v, %v; want %+v", tt.text, got, err, tt.want)
			}
			again, err := port.ParseAddress(got.String())
			if err != nil || again != got {
				t.Errorf("ParseAddress(%q) = %+v, %v; want it to be stable", got.String(), again, err)
			}
		})
	}
}

func TestParseAddressRefuses(t *testing.T) {
	t.Parallel()
	tests := []struct{ name, text, want string }{
		{"nothing", "", "want a device path"},
		{"bare name", "ttyUSB0", "want a device path (/dev/ttyUSB0)"},
		{"no COM number", "COM", "want a device path"},
		{"COM zero", "COM0", "want a device path"},
		{"short vendor", "usb:1A2:0001", "four hexadecimal digits"},
		{"not hexadecimal", "usb:1A2G:0001", "four hexadecimal digits"},
		{"no product", "usb:1A2B", "four hexadecimal digits"},
		{"empty serial", "usb:1A2B:0001:", "serial number is empty"},
		{"no tcp port", "tcp:bench.example", "want tcp:HOST:PORT"},
		{"no tcp host", "tcp::4001", "want tcp:HOST:PORT"},
		{"tcp port zero", "tcp:bench.example:0", "from 1 to 65535"},
		{"tcp port too large", "tcp:bench.example:65536", "from 1 to 65535"},
		{"tcp port by name", "tcp:bench.example:telnet", "from 1 to 65535"},
		{"bare IPv6", "tcp:2001:db8::7:4001", "tcp:[2001:db8::7]:4001"},
		{"NUL", "/dev/tty\x00", "cannot be printed"},
		{"line end", "/dev/ttyUSB0\n", "cannot be printed"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := port.ParseAddress(tt.text)
			if !errors.Is(err, driver.ErrSettings) || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("ParseAddress(%q) = %+v, %v; want %v with %q", tt.text, got, err, driver.ErrSettings, tt.want)
			}
		})
	}
}

func FuzzParseAddress(f *testing.F) {
	for _, seed := range []string{"/dev/ttyUSB0", "COM3", "usb:1A2B:0001", "usb:1A2B:0001:A:1", "tcp:bench.example:4001",
		"tcp:[fe80::1%eth0]:23", "usb:", "tcp::"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		a, err := port.ParseAddress(text)
		if err != nil {
			if !errors.Is(err, driver.ErrSettings) {
				t.Fatalf("ParseAddress(%q) = %v, want %v", text, err, driver.ErrSettings)
			}
			return
		}
		if again, err := port.ParseAddress(a.String()); err != nil || again != a {
			t.Fatalf("ParseAddress(%q) = %+v, printed as %q, which gives %+v, %v", text, a, a.String(), again, err)
		}
	})
}

func TestParseFrame(t *testing.T) {
	t.Parallel()
	tests := []struct {
		text string
		want port.Frame
	}{
		{"", port.Frame{DataBits: 8, Parity: 'N', StopBits: 1}},
		{"8N1", port.Frame{DataBits: 8, Parity: 'N', StopBits: 1}},
		{"7e1", port.Frame{DataBits: 7, Parity: 'E', StopBits: 1}},
		{"8O2", port.Frame{DataBits: 8, Parity: 'O', StopBits: 2}},
		{"5M2", port.Frame{DataBits: 5, Parity: 'M', StopBits: 2}},
		{"6s1", port.Frame{DataBits: 6, Parity: 'S', StopBits: 1}},
	}
	for _, tt := range tests {
		got, err := port.ParseFrame(tt.text)
		if err != nil || got != tt.want {
			t.Errorf("ParseFrame(%q) = %+v, %v; want %+v", tt.text, got, err, tt.want)
		}
		if again, err := port.ParseFrame(got.String()); err != nil || again != got {
			t.Errorf("ParseFrame(%q) = %+v, %v; want it to be stable", got.String(), again, err)
		}
	}
	for _, text := range []string{"8N", "9N1", "4N1", "8X1", "8N3", "8N1.5", "N81", " 8N1", "8N1\n"} {
		if got, err := port.ParseFrame(text); !errors.Is(err, driver.ErrSettings) {
			t.Errorf("ParseFrame(%q) = %+v, %v; want %v", text, got, err, driver.ErrSettings)
		}
	}
}

func TestSettingsValidate(t *testing.T) {
	t.Parallel()
	good := port.Settings{Address: "/dev/ttyUSB0", Baud: 9600, Frame: "8N1", Timeout: time.Second}
	if err := good.Validate(); err != nil {
		t.Errorf("Validate(%+v) = %v, want nil", good, err)
	}
	tests := []struct {
		name  string
		spoil func(*port.Settings)
		want  string
	}{
		{"address", func(s *port.Settings) { s.Address = "USB0" }, `port = "USB0"`},
		{"frame", func(s *port.Settings) { s.Frame = "8N9" }, `frame = "8N9"`},
		{"slow", func(s *port.Settings) { s.Baud = 49 }, "baud = 49"},
		{"fast", func(s *port.Settings) { s.Baud = 4_000_001 }, "baud = 4000001"},
		{"no time-out", func(s *port.Settings) { s.Timeout = 0 }, "timeout = 0s"},
		{"pause", func(s *port.Settings) { s.ResetPause = -time.Second }, "reset_pause = -1s"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := good
			tt.spoil(&s)
			err := s.Validate()
			if !errors.Is(err, driver.ErrSettings) || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("Validate = %v, want %v with %q", err, driver.ErrSettings, tt.want)
			}
			if _, err := port.Open(t.Context(), s); !errors.Is(err, driver.ErrSettings) {
				t.Errorf("Open = %v, want %v", err, driver.ErrSettings)
			}
		})
	}
}
