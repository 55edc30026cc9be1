// Package config reads the configuration file, a TOML document, and turns it
// into values that can be relied on: every default filled in, every name,
// number and port checked. What is wrong is reported all at once, each fault
// with its line and how to mend it. Nothing is opened here; whether the
// instruments are there is for the bench to find out.
//
// The drivers a file may name are those registered in the program, so a test
// or a program imports the driver packages it wants.
package config

import (
	_ "embed"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"

	"coilkeep/driver"
	"coilkeep/internal/warmth"
)

// Reference is a complete configuration with every key, its default and what
// it means, for people to start from.
//
//go:embed reference.toml
var Reference string

// maxBytes bounds a configuration file; a workshop's is a few kilobytes.
const maxBytes = 1 << 20

// Config is a checked configuration.
type Config struct {
	History  History
	Web      Web
	Workshop Workshop
	// Benches holds at least one bench, in the order of the file.
	Benches []Bench
}

// History says where the records are kept.
type History struct {
	// Path is the database file. A relative path in the file is taken from the
	// folder the configuration lies in, so that it does not matter where the
	// program is started.
	Path string
}

// Web says where the pages and the API are served.
type Web struct {
	// Listen is HOST:PORT. Beyond loopback there is always a PasswordFile.
	Listen string
	// PasswordFile, TLSCertificate and TLSKey are paths, relative ones taken
	// from the configuration's folder; empty when not wanted.
	PasswordFile, TLSCertificate, TLSKey string
	// Hosts lists further host names under which browsers may ask, lower case.
	Hosts []string
}

// Workshop is what reports say about who made the coils.
type Workshop struct {
	Name, Contact string
}

// Bench is one place to measure.
type Bench struct {
	// Name is unique; letters, digits, '-' and '_', for it stands in addresses.
	Name    string
	Contact Contact
	Steady  Steady
	// Serials is the pattern of the next serial number, such as "HN-%04d";
	// empty when a person is to be asked.
	Serials string
	// Arrive says how coils come to the bench; empty when that is not known.
	Arrive warmth.Arrival
	Meter  Instrument
	// Probe is nil when the bench has none; it then gives no R20.
	Probe *Instrument
}

// Contact says what counts as a coil on the clips.
type Contact struct {
	// MinOhms and MaxOhms bound what a coil may read.
	MinOhms, MaxOhms float64
	// HandsOff is how long after contact readings are not used: fingers may
	// still be on the clips.
	HandsOff time.Duration
}

// Steady says when readings are steady enough to record.
type Steady struct {
	// Readings is the length of the window and Span the least time it covers
	// (the key is "seconds").
	Readings int
	Span     time.Duration
	// FewestReadings is how many will do for a meter so slow that Readings take
	// longer than twice the Span; 0 when the file says how many they are, which
	// is taken to the letter.
	FewestReadings int
	// SlopePercentPerMinute is the steepest drift allowed, in percent of the
	// value per minute.
	SlopePercentPerMinute float64
	// SpreadPercent is how far steady readings may spread, in percent of the
	// value, where display and accuracy do not allow more.
	SpreadPercent float64
	// Patience is when a coil is recorded at the latest, decided or not.
	Patience time.Duration
	// TimeConstant is the thermal time constant of a finished coil.
	TimeConstant time.Duration
}

// Instrument is a meter or a probe.
type Instrument struct {
	// Name is what papers and pages call it when it says nothing of itself; may be
	// empty.
	Name   string
	Driver string
	// Port is an address as driver/port takes it; empty when the driver needs
	// none.
	Port  string
	Baud  int
	Frame string
	// Poll is the pause between two questions; a free-running talker is not
	// asked. Timeout bounds one question and its answer.
	Poll, Timeout time.Duration
	// ResetPause is how long to wait after opening the port, for a board that
	// restarts then; mostly 0.
	ResetPause time.Duration
	Accuracy   Accuracy
	// ResolutionOhms is one step of the meter's display, for one that sends more
	// digits than it measures; 0 believes the digits. Meters only.
	ResolutionOhms float64
	// LeadOhms is subtracted from a meter's readings and known within
	// ±LeadHalfWidthOhms. Meters only.
	LeadOhms, LeadHalfWidthOhms float64

	// The rest is for probes only.

	// Sensor is "direct" for an instrument that shows degrees; "pt100",
	// "pt1000" or "ntc" for one that shows the resistance of that sensor.
	Sensor string
	// NTC holds the Steinhart–Hart coefficients when Sensor is "ntc".
	NTC NTC
	// CoilDifferenceKelvin is how far the copper may be from the probe, ±.
	CoilDifferenceKelvin float64
	// MaxAge is how old a temperature may be to be used.
	MaxAge time.Duration
	// MinCelsius and MaxCelsius bound what the room can be; a probe outside is
	// more likely in the wrong unit or not measuring at all.
	MinCelsius, MaxCelsius float64

	// Options holds a value for every option the driver declares.
	Options driver.Options
}

// Quantity is what the instrument is asked to measure when it serves as a
// probe: degrees, or the resistance of its sensor.
func (i Instrument) Quantity() driver.Quantity {
	if i.Sensor == "direct" {
		return driver.Temperature
	}
	return driver.Resistance
}

// Accuracy is an instrument's limits of error as its maker states them: for a
// meter ±(Percent % of the reading + Ohms), for a probe ±Kelvin.
type Accuracy struct {
	Percent, Ohms, Kelvin float64
}

// NTC holds Steinhart–Hart coefficients: 1/T = A + B ln R + C (ln R)³, with T
// in kelvin and R in ohms.
type NTC struct {
	A, B, C float64
}

// Load reads and checks the file at path.
func Load(path string) (Config, error) {
	f, err := os.Open(path)
	if errors.Is(err, os.ErrNotExist) {
		return Config{}, fmt.Errorf("no configuration at %s: %w", path, err)
	}
	if err != nil {
		return Config{}, fmt.Errorf("open the configuration: %w", err)
	}
	defer f.Close()
	absolute, err := filepath.Abs(path)
	if err != nil {
		return Config{}, fmt.Errorf("find the folder of the configuration %s: %w", path, err)
	}
	return parse(f, path, filepath.Dir(absolute))
}

// Parse reads and checks a configuration. The name is what faults are reported
// under, and relative paths in the file are taken from its folder. An error
// about the content is an *[Error].
func Parse(r io.Reader, name string) (Config, error) {
	return parse(r, name, filepath.Dir(name))
}

// parse is Parse with the folder that relative paths are taken from.
func parse(r io.Reader, name, folder string) (Config, error) {
	text, err := io.ReadAll(io.LimitReader(r, maxBytes+1))
	if err != nil {
		return Config{}, fmt.Errorf("read the configuration %s: %w", name, err)
	}
	if len(text) > maxBytes {
		return Config{}, &Error{File: name, Problems: []Problem{{Message: fmt.Sprintf("longer than %d bytes; is this a configuration?",
			maxBytes)}}}
	}
	// Editors on Windows may put a byte order mark first; TOML knows none.
	text = []byte(strings.TrimPrefix(string(text), "\ufeff"))
	root := map[string]any{}
	if err := toml.Unmarshal(text, &root); err != nil {
		return Config{}, &Error{File: name, Problems: []Problem{syntaxProblem(err)}}
	}
	doc := &document{line: lines(text)}
	cfg := read(&table{doc: doc, given: true, values: root}, folder)
	if len(doc.problems) > 0 {
		return Config{}, &Error{File: name, Problems: doc.sorted()}
	}
	return cfg, nil
}

// syntaxProblem says in one line what the TOML decoder did not like.
func syntaxProblem(err error) Problem {
	p := Problem{Message: strings.TrimPrefix(err.Error(), "toml: ")}
	var decode *toml.DecodeError
	if errors.As(err, &decode) {
		row, column := decode.Position()
		p = Problem{Line: row, Message: fmt.Sprintf("column %d: %s", column, strings.TrimPrefix(decode.Error(), "toml: "))}
	}
	return p
}

// read turns the decoded file into a checked configuration. Relative paths are
// taken from folder.
func read(root *table, folder string) Config {
	cfg := Config{
		History:  readHistory(root.table("history"), folder),
		Web:      readWeb(root.table("web"), folder),
		Workshop: readWorkshop(root.table("workshop")),
		Benches:  readBenches(root),
	}
	root.done()
	return cfg
}

func readHistory(t *table, folder string) History {
	defer t.done()
	if !t.has("path") {
		t.known = append(t.known, "path")
		path, err := DefaultHistoryPath()
		if err != nil {
			t.complain("path", "missing, and %v; give the path of the database file", err)
		}
		return History{Path: path}
	}
	path := t.text("path", "")
	if path == "" {
		t.complain("path", "is empty; give the path of the database file, or leave the key out")
	}
	return History{Path: within(folder, path)}
}

func readWeb(t *table, folder string) Web {
	web := Web{
		Listen:         t.text("listen", "127.0.0.1:8020"),
		PasswordFile:   within(folder, t.text("password_file", "")),
		TLSCertificate: within(folder, t.text("tls_certificate", "")),
		TLSKey:         within(folder, t.text("tls_key", "")),
	}
	for _, host := range t.texts("hosts", nil) {
		if host == "" || strings.ContainsAny(host, "/: \t") {
			t.complain("hosts", `%q is not a host name; write only the name, such as "bench.local"`, host)
		}
		web.Hosts = append(web.Hosts, strings.ToLower(host))
	}
	t.done()
	host, port, err := net.SplitHostPort(web.Listen)
	if n, bad := strconv.ParseUint(port, 10, 16); err != nil || bad != nil || n > 65535 {
		t.complain("listen", `%q is not an address; write HOST:PORT, such as "127.0.0.1:8020"`, web.Listen)
	} else if !loopback(host) && web.PasswordFile == "" {
		t.complain("listen", `%q can be reached from other machines, and there is no password_file; add one, or listen on "127.0.0.1:%s"`,
			web.Listen, port)
	}
	if (web.TLSCertificate == "") != (web.TLSKey == "") {
		t.complain("tls_certificate", "and tls_key belong together; give both or neither")
	}
	return web
}

func readWorkshop(t *table) Workshop {
	defer t.done()
	return Workshop{Name: t.text("name", ""), Contact: t.text("contact", "")}
}

// loopback says whether a listener on host can be reached from this machine
// only.
func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// within places a relative path in folder; an empty path stays empty.
func within(folder, path string) string {
	if path == "" || filepath.IsAbs(path) {
		return path
	}
	return filepath.Join(folder, path)
}

// DefaultHistoryPath is coilkeep/coilkeep.db in the folder where this system
// keeps a user's data: $XDG_DATA_HOME or ~/.local/share (XDG Base Directory
// Specification 0.8), %LocalAppData% on Windows, ~/Library/Application Support
// on macOS.
func DefaultHistoryPath() (string, error) {
	folder, err := dataFolder()
	if err != nil {
		return "", fmt.Errorf("no folder for user data is known: %w", err)
	}
	return filepath.Join(folder, "coilkeep", "coilkeep.db"), nil
}

func dataFolder() (string, error) {
	switch runtime.GOOS {
	case "windows":
		return os.UserCacheDir() // which is %LocalAppData%
	case "darwin":
		return os.UserConfigDir() // which is ~/Library/Application Support
	}
	// The specification says that a relative path there is to be ignored.
	if folder := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(folder) {
		return folder, nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", err
	}
	return filepath.Join(home, ".local", "share"), nil
}
