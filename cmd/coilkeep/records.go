package main

import (
	"context"
	"errors"
	"fmt"
	"os/user"
	"time"

	"coilkeep/internal/config"
	"coilkeep/internal/history"
	"coilkeep/internal/record"
)

// databaseFlags are the flags of a command that needs the database.
type databaseFlags struct {
	*flagSet
	configFile, historyPath *string
}

func newDatabaseFlags(usage, about, examples string) databaseFlags {
	f := databaseFlags{flagSet: newFlags(usage, about, examples)}
	f.configFile = f.String("config", "", "configuration `FILE` that names the database")
	f.historyPath = f.String("history", "", "`PATH` of the database itself (default: the one in your data folder)")
	return f
}

// readFlags are those of a command that shows records.
type readFlags struct {
	databaseFlags
	json *bool
}

func newReadFlags(usage, about, examples string) readFlags {
	f := readFlags{databaseFlags: newDatabaseFlags(usage, about, examples)}
	f.json = f.Bool("json", false, "print JSON: ohms, degrees Celsius, seconds, UTC")
	return f
}

// writeFlags are those of a command that adds records.
type writeFlags struct {
	databaseFlags
	who *string
}

func newWriteFlags(usage, about, examples string) writeFlags {
	f := writeFlags{databaseFlags: newDatabaseFlags(usage, about, examples)}
	f.who = f.String("who", "", "`NAME` to enter in the journal (default: the name you are logged in by)")
	return f
}

// path is the database the command line selects.
func (f databaseFlags) path() (string, error) {
	switch {
	case *f.configFile != "" && *f.historyPath != "":
		return "", f.wrong("--config and --history both name a database; give one of them")
	case *f.historyPath != "":
		return *f.historyPath, nil
	case *f.configFile != "":
		cfg, err := config.Load(*f.configFile)
		return cfg.History.Path, err
	}
	path, err := config.DefaultHistoryPath()
	if err != nil {
		return "", fmt.Errorf("which database? %w; name one with --history PATH", err)
	}
	return path, nil
}

// benches are the benches of the configuration; nil when none was given.
func (f databaseFlags) benches() ([]string, error) {
	if *f.configFile == "" {
		return nil, nil
	}
	cfg, err := config.Load(*f.configFile)
	if err != nil {
		return nil, err
	}
	names := make([]string, len(cfg.Benches))
	for i, b := range cfg.Benches {
		names[i] = b.Name
	}
	return names, nil
}

// bench returns the bench meant by the value of --bench: with a configuration
// it must be one of its benches, and need not be said when there is but one.
func (f databaseFlags) bench(name string) (string, error) {
	known, err := f.benches()
	if err != nil {
		return "", err
	}
	if name == "" && len(known) == 1 {
		return known[0], nil
	}
	if name == "" {
		return "", f.wrong("which bench? Say --bench NAME")
	}
	for _, k := range known {
		if k == name {
			return name, nil
		}
	}
	if known != nil {
		return "", f.wrong("the configuration has no bench %q%s", name, didYouMean(name, known))
	}
	return name, nil
}

// by is the name for the journal.
func (f writeFlags) by() string {
	if *f.who != "" {
		return *f.who
	}
	if u, err := user.Current(); err == nil {
		return u.Username
	}
	return ""
}

// read opens the selected database for reading, does the work and closes it.
func (f databaseFlags) read(ctx context.Context, env *environment, work func(*history.Store) error) error {
	return f.with(ctx, env, history.Options{ReadOnly: true}, work)
}

// change opens the selected database for writing, does the work and closes it.
// One that is not there is not created: what is changed must be in it.
func (f databaseFlags) change(ctx context.Context, env *environment, work func(*history.Store) error) error {
	return f.with(ctx, env, history.Options{MustExist: true}, work)
}

// create is change for what can be the first thing in a database: one that is
// not there yet is created.
func (f databaseFlags) create(ctx context.Context, env *environment, work func(*history.Store) error) error {
	return f.with(ctx, env, history.Options{}, work)
}

func (f databaseFlags) with(ctx context.Context, env *environment, opts history.Options, work func(*history.Store) error) error {
	path, err := f.path()
	if err != nil {
		return err
	}
	opts.Now = env.now
	store, err := history.Open(ctx, path, opts)
	if err != nil {
		return err
	}
	return errors.Join(work(store), store.Close())
}

// orList adds to the error about a record that is not there which command
// lists those that are.
func orList(err error, command string) error {
	if errors.Is(err, record.ErrNotFound) {
		return fmt.Errorf("%w; coilkeep %s shows what there is", err, command)
	}
	return err
}

// moment reads a point in time as people type it: a day in the local zone,
// with or without a time, or RFC 3339. Empty text is the zero time.
func (env *environment) moment(text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	for _, layout := range []string{time.DateOnly, "2006-01-02 15:04", "2006-01-02T15:04", time.RFC3339} {
		if t, err := time.ParseInLocation(layout, text, env.local); err == nil {
			return t, nil
		}
	}
	return time.Time{}, fmt.Errorf(`%q is not a date; write it like 2026-01-31, "2026-01-31 15:04" or 2026-01-31T15:04:00Z`, text)
}

// measurementFilter are the flags that pick measurements.
type measurementFilter struct {
	batch, design, bench, from, to *string
}

func (f databaseFlags) pick() measurementFilter {
	return measurementFilter{
		batch:  f.String("batch", "", "only of this batch, by `NAME`"),
		design: f.String("design", "", "only of this design, by `NAME`"),
		bench:  f.String("bench", "", "only from this bench, by `NAME`"),
		from:   f.String("from", "", "only from this `DATE` on"),
		to:     f.String("to", "", "only before this `DATE`"),
	}
}

func (m measurementFilter) filter(env *environment, f *flagSet) (record.Filter, error) {
	from, err := env.moment(*m.from)
	if err != nil {
		return record.Filter{}, f.wrong("--from: %v", err)
	}
	to, err := env.moment(*m.to)
	if err != nil {
		return record.Filter{}, f.wrong("--to: %v", err)
	}
	return record.Filter{Batch: *m.batch, Design: *m.design, Bench: *m.bench, From: from, To: to}, nil
}
