package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"

	"coilkeep/internal/history"
)

func runExport(ctx context.Context, env *environment, args []string) error {
	flags := newDatabaseFlags("export", "Write measurements, the oldest first: as CSV for a spreadsheet, one line each, or\nas JSON Lines with everything behind them, which import takes.",
		"export > measurements.csv\nexport --batch spring-3 --output batch.csv\nexport --format jsonl --output everything.jsonl")
	format := flags.String("format", history.CSV, "csv or jsonl, as a `WORD`")
	output := flags.String("output", "", "write to this `FILE` instead of the standard output")
	overwrite := flags.Bool("overwrite", false, "replace a FILE that is there already")
	pick := flags.pick()
	if err := flags.parse(env, args, 0, 0); err != nil {
		return err
	}
	if *format != history.CSV && *format != history.JSONL {
		return flags.wrong("--format %q is not known; choose csv or jsonl", *format)
	}
	filter, err := pick.filter(env, flags.flagSet)
	if err != nil {
		return err
	}
	return flags.read(ctx, env, func(store *history.Store) error {
		write := func(w io.Writer) error { return store.Export(ctx, w, *format, filter) }
		if *output == "" {
			return write(env.stdout)
		}
		return writeFile(*output, *overwrite, write)
	})
}

// writeFile gives a file its name only when it is whole, so that a half one is
// never taken for an export.
func writeFile(path string, overwrite bool, write func(io.Writer) error) (err error) {
	if _, err := os.Stat(path); err == nil && !overwrite {
		return fmt.Errorf("write %s: %w; choose another name, or --overwrite it", path, fs.ErrExist)
	}
	temporary, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".part-*")
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(temporary.Name()))
		}
	}()
	if err := errors.Join(write(temporary), temporary.Sync(), temporary.Close()); err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	return os.Rename(temporary.Name(), path)
}

func runImport(ctx context.Context, env *environment, args []string) (err error) {
	flags := newDatabaseFlags("import FILE", "Add the records of a JSON Lines export; - reads the standard input. What is there\nalready is left alone, so a file may be imported twice. It is all or nothing.",
		"import everything.jsonl --history copy.db\nimport - --config coilkeep.toml < everything.jsonl")
	json := flags.Bool("json", false, "print JSON: how many records of each kind")
	if err := flags.parse(env, args, 1, 1); err != nil {
		return err
	}
	input := env.stdin
	if name := flags.Arg(0); name != "-" {
		file, err := os.Open(name)
		if err != nil {
			return fmt.Errorf("import: %w", err)
		}
		defer file.Close()
		input = file
	}
	return flags.change(ctx, env, func(store *history.Store) error {
		added, err := store.Import(ctx, input)
		if err != nil {
			return err
		}
		if *json {
			return printJSON(env.stdout, added)
		}
		return facts(env.stdout,
			"Imported into", store.Path(),
			"Measurements", strconv.Itoa(added.Measurements),
			"Designs", strconv.Itoa(added.Designs),
			"Batches", strconv.Itoa(added.Batches),
			"Calibrations", strconv.Itoa(added.Calibrations),
			"Check measurements", strconv.Itoa(added.CheckMeasurements),
			"Journal entries", strconv.Itoa(added.Journal),
			"Known, with news", strconv.Itoa(added.Changed),
			"Known already", strconv.Itoa(added.Known))
	})
}
