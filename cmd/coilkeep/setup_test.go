package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coilkeep/driver/port"
	"coilkeep/internal/config"
	"coilkeep/internal/web"
)

func TestPortsAreReadyToPaste(t *testing.T) {
	var out strings.Builder
	env := &environment{stdout: &out}
	err := env.printPorts([]port.Info{
		{Path: "/dev/ttyS0", Address: "/dev/ttyS0"},
		{Path: "/dev/ttyUSB0", Address: "usb:1A2B:0001:A7", VID: "1A2B", PID: "0001", Serial: "A7", Manufacturer: "Plover Instruments",
			Product: "bench\n cable"},
		{Path: "/dev/ttyUSB1", Address: "/dev/ttyUSB1", VID: "1A2B", PID: "0002", Serial: "twin"},
	})
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "ports.txt", out.String())
	out.Reset()
	if err := env.printPorts(nil); err != nil {
		t.Fatal(err)
	}
	golden(t, "ports-none.txt", out.String())
}

// What ports there are depends on the machine; that they are a list does not.
func TestPortsAsJSON(t *testing.T) {
	var found []port.Info
	fromJSON(t, ok(t, "ports", "--json"), &found)
	if found == nil {
		t.Error("no ports are null in JSON, want an empty list")
	}
}

func TestConfigPrintsTheReferenceAndWhatIsInForce(t *testing.T) {
	if got := ok(t, "config"); got != config.Reference {
		t.Errorf("config printed\n%s", got)
	}
	file := filepath.Join(t.TempDir(), "coilkeep.toml")
	if err := os.WriteFile(file, []byte(config.Reference), 0o644); err != nil {
		t.Fatal(err)
	}
	inForce := ok(t, "config", file)
	if err := os.WriteFile(file, []byte(inForce), 0o644); err != nil {
		t.Fatal(err)
	}
	if again := ok(t, "config", file); again != inForce {
		t.Errorf("what is in force changes when it is used:\n%s\n%s", inForce, again)
	}
	got := start(t, "config", filepath.Join(t.TempDir(), "none.toml"))
	if got.code != exitFault || !strings.Contains(got.stderr, "no configuration at") {
		t.Errorf("a missing file: exit %d, %s", got.code, got.stderr)
	}
}

func TestPasswordHash(t *testing.T) {
	got := startWith(t, "felt and wax\n", "password")
	if got.code != exitOK || got.stderr != "" {
		t.Fatalf("exit %d, %s", got.code, got.stderr)
	}
	file := filepath.Join(t.TempDir(), "password.hash")
	if err := os.WriteFile(file, []byte(got.stdout), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := web.ReadPasswordFile(file); err != nil {
		t.Errorf("the daemon does not take the hash: %v", err)
	}
	if strings.Contains(got.stdout, "felt") {
		t.Error("the hash shows the password")
	}
	if short := startWith(t, "felt\n", "password"); short.code != exitFault || short.stdout != "" ||
		!strings.Contains(short.stderr, "at least 8") {
		t.Errorf("a short password: exit %d, %q, %q", short.code, short.stdout, short.stderr)
	}
	if empty := startWith(t, "\n", "password"); empty.code != exitFault || empty.stdout != "" {
		t.Errorf("an empty password: exit %d, %q", empty.code, empty.stdout)
	}
}

func TestUnitFile(t *testing.T) {
	w := newWorkshop(t)
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	got := ok(t, "unit", "--config", w.config, "--user", "mira")
	w.golden(t, "unit.txt", strings.ReplaceAll(got, program, "PROGRAM"))

	// A user that systemd makes up cannot write into just any folder.
	w.golden(t, "unit-refused.txt", w.refused(t, exitFault, "unit"))
	text, err := os.ReadFile(w.config)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(w.config, []byte(strings.Replace(string(text), `history.path = "coils.db"`, "", 1)), 0o644); err != nil {
		t.Fatal(err)
	}
	if got := w.ok(t, "unit"); !strings.Contains(got, "DynamicUser=yes") || strings.Contains(got, "ReadWritePaths") {
		t.Errorf("with the standard history:\n%s", got)
	}
}

// The rules of quoting are those of systemd.syntax(7), systemd.unit(5) and
// systemd.service(5).
func TestUnitWords(t *testing.T) {
	for _, test := range []struct{ path, word, command string }{
		{"/etc/coilkeep.toml", "/etc/coilkeep.toml", "/etc/coilkeep.toml"},
		{"/home/mira/my coils.toml", `"/home/mira/my coils.toml"`, `"/home/mira/my coils.toml"`},
		{"/a/100%.toml", "/a/100%%.toml", "/a/100%%.toml"},
		{"/a/$b.toml", "/a/$b.toml", "/a/$$b.toml"},
		{`/a/"b\.toml`, `"/a/\"b\\.toml"`, `"/a/\"b\\.toml"`},
	} {
		if got := unitWord(test.path); got != test.word {
			t.Errorf("unitWord(%q) = %q, want %q", test.path, got, test.word)
		}
		if got := commandWord(test.path); got != test.command {
			t.Errorf("commandWord(%q) = %q, want %q", test.path, got, test.command)
		}
	}
}
