package main

import (
	"errors"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"coilkeep/internal/config"
)

func TestCannotListenSaysWhy(t *testing.T) {
	t.Parallel()
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	_, busy := net.Listen("tcp", taken.Addr().String())
	if busy == nil {
		t.Fatal("a port was opened twice")
	}
	// A test may run as administrator, whom no port is forbidden.
	forbidden := &net.OpError{Op: "listen", Net: "tcp", Err: os.NewSyscallError("bind", syscall.EACCES)}
	for _, c := range []struct {
		name string
		err  error
		want string
		is   error
	}{
		{"busy", busy, "another program is there", nil},
		{"forbidden", forbidden, "administrator", fs.ErrPermission},
		{"other", errors.New("odd"), "choose another listen address", nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := cannotListen(c.err)
			if !strings.Contains(got.Error(), c.want) || !errors.Is(got, c.err) || c.is != nil && !errors.Is(got, c.is) {
				t.Errorf("got %q, want it to say %q and to wrap its cause", got, c.want)
			}
		})
	}
}

// A file of the configuration that cannot be read is told before anything is
// opened or anybody hears that the daemon is up, and check tells it too.
func TestFilesOfTheConfigurationAreReadFirst(t *testing.T) {
	t.Parallel()
	for name, keys := range map[string]string{
		"none.pem":      "tls_certificate = \"none.pem\"\ntls_key = \"none.key\"\n",
		"none.password": "password_file = \"none.password\"\n",
	} {
		folder := t.TempDir()
		path := filepath.Join(folder, "coilkeep.toml")
		text := "[history]\npath = \"new.db\"\n[web]\nlisten = \"127.0.0.1:0\"\n" + keys +
			benchTOML("driver = \"manual\"\n", "driver = \"manual\"\n")
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		for _, command := range []string{"serve", "check"} {
			if got := start(t, command, "--config", path); got.code != exitFault || got.stdout != "" ||
				!strings.Contains(got.stderr, filepath.Join(folder, name)) {
				t.Errorf("%s: exit %d, want 1 with the file %s:\n%s%s", command, got.code, name, got.stdout, got.stderr)
			}
		}
		if _, err := os.Stat(filepath.Join(folder, "new.db")); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s: the history was opened first (%v)", name, err)
		}
	}
}

func TestLongestGapCountsTheBus(t *testing.T) {
	t.Parallel()
	meter := config.Instrument{Port: "/dev/ttyS1", Poll: 200 * time.Millisecond, Timeout: time.Second}
	probe := config.Instrument{Port: "/dev/ttyS1", Timeout: 3 * time.Second}
	apart := probe
	apart.Port = "/dev/ttyS2"
	for _, c := range []struct {
		name  string
		probe *config.Instrument
		want  time.Duration
	}{
		{"no probe", nil, 1200 * time.Millisecond},
		{"a port each", &apart, 1200 * time.Millisecond},
		{"one bus", &probe, 4200 * time.Millisecond},
	} {
		if got := longestGap(config.Bench{Meter: meter, Probe: c.probe}); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}
