// Command coilkeep measures hand-wound sensing coils at a bench: it reads a
// meter and a temperature probe, refers each coil's resistance to 20 °C with
// its uncertainty, judges it and keeps the evidence.
//
// This package is the command line only: flags, configuration, putting the
// parts together, words for people and exit codes. The rules live in internal.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"strings"
	"syscall"
	"time"

	"coilkeep/internal/config"
)

// Exit codes of every command.
const (
	exitOK    = 0
	exitFault = 1 // the command could not do what was asked
	exitUsage = 2 // the command line cannot be understood
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	// The first signal asks everything to stop. From then on signals act as if
	// nobody listened, so a second one kills at once.
	context.AfterFunc(ctx, stop)
	os.Exit(run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

// environment is what a command may touch of the world around it.
type environment struct {
	stdin          io.Reader
	stdout, stderr io.Writer
	now            func() time.Time
	// local is the zone times on screens are in; JSON is always UTC.
	local *time.Location
}

// run does one command line and returns its exit code.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	env := &environment{stdin: stdin, stdout: stdout, stderr: stderr, now: time.Now, local: time.Local}
	return env.run(ctx, args)
}

func (env *environment) run(ctx context.Context, args []string) int {
	if len(args) > 0 && args[0] == "--version" {
		args = append([]string{"version"}, args[1:]...)
	}
	err := coilkeep().run(ctx, env, args)
	var usage *usageError
	var bad *config.Error
	switch {
	case err == nil, errors.Is(err, errHelpShown):
		return exitOK
	case errors.As(err, &usage):
		fmt.Fprintf(env.stderr, "coilkeep: %s\n%s\n", usage.message, usage.next)
		return exitUsage
	case ctx.Err() != nil && errors.Is(err, ctx.Err()):
		fmt.Fprintln(env.stderr, "coilkeep: interrupted")
	case errors.As(err, &bad):
		fmt.Fprintf(env.stderr, "coilkeep: the configuration cannot be used:\n%s\n", bad)
	default:
		fmt.Fprintf(env.stderr, "coilkeep: %s\n", strings.TrimRight(err.Error(), "\n"))
	}
	return exitFault
}

// coilkeep is the whole command line.
func coilkeep() menu {
	return menu{
		path:    "coilkeep",
		summary: "Measure, judge and keep the resistance of hand-wound coils.",
		groups: []group{
			{"At the bench", []command{
				{"demo", "Show an invented workshop with simulated instruments.", runDemo},
				{"serve", "Run the bench: measure, keep, and serve pages, API and metrics.", runServe},
				{"check", "Check the configuration and read each instrument once.", runCheck},
				{"ports", "List the serial ports and what is plugged in.", runPorts},
				{"config", "Print a commented configuration to start from, or check one.", runConfig},
				{"unit", "Print a systemd unit file for the daemon.", runUnit},
				{"password", "Make the hash of a password for the web pages.", runPassword},
			}},
			{"Sums", []command{
				{"normalize", "Refer a measured resistance to 20 °C.", runNormalize},
				{"compare", "Set somebody else's reading against a coil's record.", runCompare},
				{"wire", "Wire length, turns and resistance of a coil, either way round.", runWire},
			}},
			{"Records", []command{
				designMenu().as("design"),
				batchMenu().as("batch"),
				coilMenu().as("coil"),
				instrumentMenu().as("instrument"),
				{"drift", "Say whether a winder wanders, since when and why.", runDrift},
				{"journal", "Show who did what.", runJournal},
			}},
			{"The database", []command{
				{"export", "Write measurements as CSV or JSON Lines.", runExport},
				{"import", "Add records from JSON Lines, or coils from CSV.", runImport},
				{"backup", "Copy the database while it is in use.", runBackup},
				{"restore", "Put a backup in the place of the database.", runRestore},
				{"verify", "Check the whole database and compute every result again.", runVerify},
			}},
			{"Itself", []command{
				{"version", "Say which version this is.", runVersion},
			}},
		},
		examples: "coilkeep demo\ncoilkeep serve --config coilkeep.toml\ncoilkeep ports\ncoilkeep normalize 6690 --at 23.4\n" +
			"coilkeep batch list --config coilkeep.toml",
	}
}

func runVersion(_ context.Context, env *environment, args []string) error {
	flags := newFlags("version", "Say which version this is.", "version")
	if err := flags.parse(env, args, 0, 0); err != nil {
		return err
	}
	_, err := fmt.Fprintf(env.stdout, "coilkeep %s\n", version())
	return err
}

// version is the module's version, or the revision it was built from.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "of unknown version"
	}
	revision, modified := "", ""
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision":
			revision = s.Value[:min(12, len(s.Value))]
		case s.Key == "vcs.modified" && s.Value == "true":
			modified = ", modified"
		}
	}
	text := info.Main.Version
	if text == "" || text == "(devel)" {
		text = "in development"
	}
	if revision != "" {
		text += " (" + revision + modified + ")"
	}
	return text + ", " + info.GoVersion
}
