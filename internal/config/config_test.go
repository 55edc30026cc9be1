package config

import (
	"flag"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/warmth"
)

var update = flag.Bool("update", false, "rewrite the golden files")

const minimal = `
[[bench]]
name = "north"
meter = { driver = "scpi", port = "/dev/ttyUSB0", accuracy = { percent = 0.05, ohms = 0.3 } }
`

func mustParse(t *testing.T, text string) Config {
	t.Helper()
	cfg, err := Parse(strings.NewReader(text), filepath.Join("conf", "workshop.toml"))
	if err != nil {
		t.Fatalf("Parse: %v", err)
	}
	return cfg
}

func TestMinimalFileGetsTheDefaults(t *testing.T) {
	if runtime.GOOS == "linux" {
		t.Setenv("XDG_DATA_HOME", "/var/lib/someone")
	}
	cfg := mustParse(t, minimal)
	path, err := DefaultHistoryPath()
	if err != nil {
		t.Fatal(err)
	}
	if runtime.GOOS == "linux" && path != "/var/lib/someone/coilkeep/coilkeep.db" {
		t.Errorf("DefaultHistoryPath() = %q", path)
	}
	want := Config{
		History: History{Path: path},
		Web:     Web{Listen: "127.0.0.1:8020"},
		Benches: []Bench{{
			Name:    "north",
			Contact: Contact{MinOhms: 100, MaxOhms: 200_000, HandsOff: 3 * time.Second},
			Steady: Steady{Readings: 8, Span: 1500 * time.Millisecond, SlopePercentPerMinute: 0.05, SpreadPercent: 0.05,
				FewestReadings: 4, Patience: 20 * time.Second, TimeConstant: 10 * time.Minute},
			Meter: Instrument{Driver: "scpi", Port: "/dev/ttyUSB0", Baud: 9600, Frame: "8N1",
				Poll: 200 * time.Millisecond, Timeout: 2 * time.Second,
				Accuracy: Accuracy{Percent: 0.05, Ohms: 0.3},
				Options:  cfg.Benches[0].Meter.Options},
		}},
	}
	if !reflect.DeepEqual(cfg, want) {
		t.Errorf("got  %+v\nwant %+v", cfg, want)
	}
	if got := cfg.Benches[0].Meter.Options["query"]; got != "READ?" {
		t.Errorf("the driver's default query = %v, want READ?", got)
	}
}

// The reference file shows the default of every key that has one, so it must
// say the same as a file that leaves them all out.
func TestReferenceShowsTheDefaults(t *testing.T) {
	cfg := mustParse(t, Reference)
	short := mustParse(t, `
history = { path = "coilkeep.db" }
[[bench]]
name = "north"
serials = "HN-%04d"
meter = { driver = "scpi", port = "/dev/ttyUSB0", accuracy = { percent = 0.05, ohms = 0.3 } }
probe = { driver = "line", port = "/dev/ttyUSB1", accuracy = { kelvin = 0.3 } }
`)
	if !reflect.DeepEqual(cfg, short) {
		t.Errorf("reference %+v\ndefaults  %+v", cfg, short)
	}
	if want := filepath.Join("conf", "coilkeep.db"); cfg.History.Path != want {
		t.Errorf("a relative path became %q, want %q, in the folder of the file", cfg.History.Path, want)
	}
}

// Every key that Print writes for a bench with a probe stands in the
// reference, so that none can be forgotten there.
func TestReferenceNamesEveryKey(t *testing.T) {
	var out strings.Builder
	if err := Print(&out, mustParse(t, Reference)); err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(out.String()) {
		key, _, ok := strings.Cut(line, " = ")
		if ok && !strings.Contains(Reference, "\n"+key+" = ") && !strings.Contains(Reference, " "+key+" = ") {
			t.Errorf("the reference file does not show %s", key)
		}
	}
}

func TestPrintedConfigurationParsesToTheSame(t *testing.T) {
	for _, name := range []string{"good-full.toml", "good-shared-bus.toml"} {
		t.Run(name, func(t *testing.T) {
			text, err := os.ReadFile(filepath.Join("testdata", name))
			if err != nil {
				t.Fatal(err)
			}
			cfg := mustParse(t, string(text))
			var out strings.Builder
			if err := Print(&out, cfg); err != nil {
				t.Fatal(err)
			}
			if again := mustParse(t, out.String()); !reflect.DeepEqual(again, cfg) {
				t.Errorf("got  %+v\nwant %+v", again, cfg)
			}
		})
	}
}

// A window adapts to a slow meter only where the file does not say how many
// readings it must hold: what somebody wrote down holds to the letter.
func TestWrittenReadingsAreTakenToTheLetter(t *testing.T) {
	for _, c := range []struct {
		name, steady string
		want         Steady
	}{
		{"left out", `{ seconds = 2 }`, Steady{Readings: 8, FewestReadings: 4}},
		{"the default, written down", `{ readings = 8 }`, Steady{Readings: 8}},
		{"another number", `{ readings = 20 }`, Steady{Readings: 20}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := mustParse(t, minimal+"steady = "+c.steady).Benches[0].Steady
			if got.Readings != c.want.Readings || got.FewestReadings != c.want.FewestReadings {
				t.Errorf("readings %d, at the fewest %d; want %d and %d", got.Readings, got.FewestReadings, c.want.Readings, c.want.FewestReadings)
			}
		})
	}
}

func TestHowCoilsArrive(t *testing.T) {
	for text, want := range map[string]warmth.Arrival{
		"": warmth.Unknown, `coils_arrive = ""`: warmth.Unknown, `coils_arrive = "lying"`: warmth.Lying,
		`coils_arrive = "hand"`: warmth.Hand, `coils_arrive = "heat"`: warmth.Heat,
	} {
		if got := mustParse(t, minimal+text).Benches[0].Arrive; got != want {
			t.Errorf("%q reads as %q, want %q", text, got, want)
		}
	}
}

// Each bad file has its exact message beside it.
func TestBadFiles(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("testdata", "bad-*.toml"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no bad files: %v", err)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			f, err := os.Open(file)
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			_, err = Parse(f, "workshop.toml")
			if err == nil {
				t.Fatal("Parse accepted it")
			}
			golden := strings.TrimSuffix(file, ".toml") + ".txt"
			got := err.Error() + "\n"
			if *update {
				if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(golden)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("got:\n%swant:\n%s", got, want)
			}
		})
	}
}

func TestLoadNamesTheMissingFile(t *testing.T) {
	_, err := Load(filepath.Join(t.TempDir(), "none.toml"))
	if err == nil || !strings.Contains(err.Error(), "no configuration at") || !strings.Contains(err.Error(), "none.toml") {
		t.Errorf("Load of nothing: %v", err)
	}
}

func TestTooLongIsRefused(t *testing.T) {
	_, err := Parse(strings.NewReader(strings.Repeat("# long\n", maxBytes/7+2)), "long.toml")
	if err == nil || !strings.Contains(err.Error(), "longer than") {
		t.Errorf("Parse of more than %d bytes: %v", maxBytes, err)
	}
}

// FuzzParse checks that no text makes Parse panic, and that what it accepts it
// accepts again as Print writes it, unchanged.
func FuzzParse(f *testing.F) {
	f.Add(minimal)
	f.Add(Reference)
	for _, pattern := range []string{"good-*.toml", "bad-*.toml"} {
		files, err := filepath.Glob(filepath.Join("testdata", pattern))
		if err != nil || len(files) == 0 {
			f.Fatalf("no seeds: %v", err)
		}
		for _, file := range files {
			text, err := os.ReadFile(file)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(string(text))
		}
	}
	f.Fuzz(func(t *testing.T, text string) {
		cfg, err := Parse(strings.NewReader(text), "fuzz.toml")
		if err != nil {
			if strings.TrimSpace(err.Error()) == "" {
				t.Error("an error without a word")
			}
			return
		}
		var out strings.Builder
		if err := Print(&out, cfg); err != nil {
			t.Fatalf("Print: %v", err)
		}
		again, err := Parse(strings.NewReader(out.String()), "fuzz.toml")
		if err != nil {
			t.Fatalf("what Print wrote is refused: %v\n%s", err, out.String())
		}
		if !reflect.DeepEqual(cfg, again) {
			t.Errorf("got  %+v\nwant %+v", again, cfg)
		}
	})
}
