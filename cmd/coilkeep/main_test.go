package main

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// asProgram in the environment makes the test binary the program itself, so
// that tests can signal and kill it.
const asProgram = "COILKEEP_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		main()
	}
	// These tests wait for instruments, browsers and Prometheus more than they
	// reckon: one more at a time than there are processors.
	if err := flag.Set("test.parallel", strconv.Itoa(runtime.GOMAXPROCS(0)+1)); err != nil {
		panic(err)
	}
	code := m.Run()
	if theBrowser.close != nil {
		if err := theBrowser.close(); err != nil {
			fmt.Fprintln(os.Stderr, "close the browser:", err)
			code = 1
		}
	}
	os.Exit(code)
}

// noon is when the tests' commands run.
var noon = time.Date(2026, 3, 14, 12, 0, 0, 0, time.UTC)

// result is what a command line left behind.
type result struct {
	code           int
	stdout, stderr string
}

// start runs one command line at noon in a time zone two hours ahead of UTC.
func start(t *testing.T, args ...string) result {
	t.Helper()
	return startWith(t, "", args...)
}

// startWith is start with something on the standard input.
func startWith(t *testing.T, stdin string, args ...string) result {
	t.Helper()
	var stdout, stderr bytes.Buffer
	env := &environment{
		stdin: strings.NewReader(stdin), stdout: &stdout, stderr: &stderr,
		now:   func() time.Time { return noon },
		local: time.FixedZone("workshop", 2*60*60),
	}
	code := env.run(t.Context(), args)
	return result{code, stdout.String(), stderr.String()}
}

// ok runs a command line that must succeed and returns what it printed.
func ok(t *testing.T, args ...string) string {
	t.Helper()
	got := start(t, args...)
	if got.code != exitOK || got.stderr != "" {
		t.Fatalf("coilkeep %s: exit %d\n%s", strings.Join(args, " "), got.code, got.stderr)
	}
	return got.stdout
}

// golden compares text with a file in testdata.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("got:\n%s\nwant, from %s:\n%s", got, path, want)
	}
}

// fromJSON decodes what a command printed, refusing anything after it.
func fromJSON(t *testing.T, text string, into any) {
	t.Helper()
	decoder := json.NewDecoder(strings.NewReader(text))
	if err := decoder.Decode(into); err != nil {
		t.Fatalf("not JSON: %v\n%s", err, text)
	}
	if decoder.More() {
		t.Fatalf("more than one JSON value:\n%s", text)
	}
}

func TestEveryCommandIsListedOnce(t *testing.T) {
	t.Parallel()
	for _, m := range []menu{coilkeep(), designMenu(), batchMenu(), coilMenu(), instrumentMenu()} {
		seen := map[string]bool{}
		for _, g := range m.groups {
			for _, c := range g.commands {
				if seen[c.name] {
					t.Errorf("%s lists %q twice", m.path, c.name)
				}
				seen[c.name] = true
			}
		}
	}
}

func TestHelpOfEveryCommand(t *testing.T) {
	for _, m := range []menu{coilkeep(), designMenu(), batchMenu(), coilMenu(), instrumentMenu()} {
		words := strings.Fields(m.path)[1:]
		golden(t, filepath.Join("help", strings.Join(append(words, "menu"), "-")+".txt"), ok(t, append(words, "--help")...))
		for _, g := range m.groups {
			for _, c := range g.commands {
				path := append(words[:len(words):len(words)], c.name)
				t.Run(strings.Join(path, " "), func(t *testing.T) {
					text := ok(t, append(path, "--help")...)
					golden(t, filepath.Join("help", strings.Join(path, "-")+".txt"), text)
					if !strings.Contains(text, "Examples:\n  coilkeep "+strings.Join(path, " ")) {
						t.Errorf("the help shows no example of the command:\n%s", text)
					}
					if vague := regexp.MustCompile(`--\S+ (string|float|int)\n`).FindString(text); vague != "" {
						t.Errorf("the help names only the type of a value: %s", vague)
					}
					if asked := ok(t, append([]string{"help"}, path...)...); asked != text {
						t.Errorf("help %v and --help differ", path)
					}
				})
			}
		}
	}
}

// What a command that is not understood says to try must be its own help.
func TestHintOfEveryCommand(t *testing.T) {
	for _, m := range []menu{coilkeep(), designMenu(), batchMenu(), coilMenu(), instrumentMenu()} {
		words := strings.Fields(m.path)[1:]
		for _, g := range m.groups {
			for _, c := range g.commands {
				path := append(words[:len(words):len(words)], c.name)
				wrong := "there is no flag --xyzzy"
				if strings.Contains(ok(t, append(path, "--help")...), " COMMAND [flags]") {
					wrong = "has no command \"--xyzzy\""
				}
				want := "\nTry: coilkeep " + strings.Join(path, " ") + " --help\n"
				got := start(t, append(path, "--xyzzy")...)
				if got.code != exitUsage || !strings.Contains(got.stderr, wrong) || !strings.HasSuffix(got.stderr, want) {
					t.Errorf("%v --xyzzy: exit %d, %q does not say %q and end in %q", path, got.code, got.stderr, wrong, want)
				}
			}
		}
	}
}

// Every example in a help must be a command line that is understood: none may
// end in exit code 2.
func TestExamplesAreUnderstood(t *testing.T) {
	t.Chdir(t.TempDir())
	t.Setenv("XDG_DATA_HOME", filepath.Join(t.TempDir(), "data"))
	for _, m := range []menu{coilkeep(), designMenu(), batchMenu(), coilMenu(), instrumentMenu()} {
		words := strings.Fields(m.path)[1:]
		for _, g := range m.groups {
			for _, c := range g.commands {
				path := append(words[:len(words):len(words)], c.name)
				if c.name == "serve" || c.name == "demo" || c.name == "check" {
					continue // they run for long or need instruments
				}
				_, examples, _ := strings.Cut(ok(t, append(path, "--help")...), "Examples:\n")
				examples, _, _ = strings.Cut(examples, "\n\n")
				for line := range strings.Lines(examples) {
					line, _, _ = strings.Cut(strings.TrimSpace(line), " > ")
					line, _, _ = strings.Cut(line, " < ")
					args := splitWords(t, line)[1:]
					if got := startWith(t, "words\n", args...); got.code == exitUsage {
						t.Errorf("%s: exit %d, %s", line, got.code, got.stderr)
					}
				}
			}
		}
	}
}

// splitWords splits a command line at spaces, minding double quotes.
func splitWords(t *testing.T, line string) []string {
	t.Helper()
	var words []string
	for i, part := range strings.Split(line, `"`) {
		if i%2 == 1 {
			words = append(words, part)
			continue
		}
		words = append(words, strings.Fields(part)...)
	}
	return words
}

func TestWrongCommandLines(t *testing.T) {
	for _, test := range []struct {
		name string
		args []string
		want string
	}{
		{"nothing", nil, "coilkeep: which command? coilkeep alone does nothing\nTry: coilkeep --help\n"},
		{"unknown command", []string{"normalise"}, "coilkeep: coilkeep has no command \"normalise\"; did you mean normalize?\nTry: coilkeep " +
			"--help\n"},
		{"nothing like it", []string{"xyzzy"}, "coilkeep: coilkeep has no command \"xyzzy\"\nTry: coilkeep --help\n"},
		{"unknown command in a group", []string{"batch", "strat"}, "coilkeep: coilkeep batch has no command \"strat\"; did you mean " +
			"start?\nTry: coilkeep batch --help\n"},
		{"group alone", []string{"batch"}, "coilkeep: which command? coilkeep batch alone does nothing\nTry: coilkeep batch --help\n"},
		{"unknown flag", []string{"normalize", "6690", "--att", "20"},
			"coilkeep: there is no flag --att; did you mean --at?\nTry: coilkeep normalize --help\n"},
		{"unknown short flag", []string{"ports", "-q"}, "coilkeep: there is no flag -q\nTry: coilkeep ports --help\n"},
		{"flag without a value", []string{"normalize", "6690", "--at"},
			"coilkeep: --at needs a value after it\nTry: coilkeep normalize --help\n"},
		{"flag with the wrong kind of value", []string{"wire", "--gauge", "fine"},
			"coilkeep: \"fine\" will not do for --gauge, which wants a whole number\nTry: coilkeep wire --help\n"},
		{"a value that cannot be", []string{"drift", "--batch", "spring-3", "--turns", "NaN"},
			"coilkeep: --turns NaN: give a number above 0\nTry: coilkeep drift --help\n"},
		{"a word missing", []string{"coil", "show"}, "coilkeep: something is missing; write coilkeep coil show SERIAL\nTry: coilkeep coil " +
			"show --help\n"},
		{"a word too many", []string{"version", "please"}, "coilkeep: \"please\" is one word too many; write coilkeep version\nTry: " +
			"coilkeep version --help\n"},
		{"a file to export to", []string{"export", "all.csv"}, "coilkeep: \"all.csv\" is one word too many; to write a file of that name " +
			"say --output all.csv\nTry: coilkeep export --help\n"},
		{"two databases", []string{"design", "list", "--config", "a", "--history", "b"},
			"coilkeep: --config and --history both name a database; give one of them\nTry: coilkeep design list --help\n"},
	} {
		t.Run(test.name, func(t *testing.T) {
			got := start(t, test.args...)
			if got.code != exitUsage || got.stdout != "" || got.stderr != test.want {
				t.Errorf("exit %d, stdout %q, stderr:\n%swant exit %d:\n%s", got.code, got.stdout, got.stderr, exitUsage, test.want)
			}
		})
	}
}

// Every command line the README shows must be understood.
func TestReadmeIsUnderstood(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	shown := 0
	for line := range strings.Lines(string(text)) {
		command, ok := strings.CutPrefix(strings.TrimSpace(line), "./coilkeep ")
		if !ok {
			continue
		}
		shown++
		command, _, _ = strings.Cut(command, " > ")
		if args := splitWords(t, command); args[0] != "serve" && args[0] != "check" {
			if got := start(t, args...); got.code == exitUsage {
				t.Errorf("%s: %s", command, got.stderr)
			}
		}
	}
	if shown == 0 {
		t.Error("the README shows no command line")
	}
}

func TestInterruptedCommandSaysSo(t *testing.T) {
	w := newWorkshop(t)
	w.fill(t, 6650)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var stdout, stderr bytes.Buffer
	code := run(ctx, []string{"export", "--history", w.history}, strings.NewReader(""), &stdout, &stderr)
	if code != exitFault || stderr.String() != "coilkeep: interrupted\n" {
		t.Errorf("exit %d, %q", code, stderr.String())
	}
}

// A command that does not come to an end by itself dies of the second signal.
// Signals are sent until it does: how many are needed to find the program
// listening is not known.
func TestSecondSignalKills(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("signals cannot be sent to one process on Windows")
	}
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	command := exec.CommandContext(t.Context(), program, "password")
	command.Env = append(os.Environ(), asProgram+"=1")
	input, err := command.StdinPipe() // kept open: the password never comes
	if err != nil {
		t.Fatal(err)
	}
	defer input.Close()
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- command.Wait() }()
	again, deadline := time.NewTicker(20*time.Millisecond), time.After(20*time.Second)
	defer again.Stop()
	for {
		select {
		case <-ended:
			if state := command.ProcessState; state.Exited() {
				t.Errorf("it ended by itself: %v", state)
			}
			return
		case <-again.C:
			// An error means that it is gone; Wait tells.
			_ = command.Process.Signal(os.Interrupt)
		case <-deadline:
			t.Fatal("still there after 20 s of signals")
		}
	}
}

func TestVersion(t *testing.T) {
	for _, args := range [][]string{{"version"}, {"--version"}} {
		if got := ok(t, args...); !strings.HasPrefix(got, "coilkeep ") || !strings.Contains(got, "go1.") {
			t.Errorf("%v printed %q", args, got)
		}
	}
}
