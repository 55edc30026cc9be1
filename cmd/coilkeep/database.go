package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"

	"coilkeep/internal/history"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

func runBackup(ctx context.Context, env *environment, args []string) error {
	flags := newDatabaseFlags("backup FILE", "Copy the whole database to FILE while it is in use, check the copy, and only then\ngive it "+
		"its name.",
		"backup /mnt/usb/coilkeep-2026-03-14.db\nbackup copy.db --config coilkeep.toml --overwrite")
	overwrite := flags.Bool("overwrite", false, "replace a FILE that is there already")
	if err := flags.parse(env, args, 1, 1); err != nil {
		return err
	}
	return flags.change(ctx, env, func(store *history.Store) error {
		err := store.Backup(ctx, flags.Arg(0), *overwrite)
		if errors.Is(err, record.ErrExists) {
			return fmt.Errorf("%w (--overwrite)", err)
		}
		if err != nil {
			return err
		}
		path, err := filepath.Abs(flags.Arg(0))
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(env.stdout, "%s is a checked copy of %s.\n", path, store.Path())
		return err
	})
}

func runRestore(ctx context.Context, env *environment, args []string) error {
	flags := newDatabaseFlags("restore FILE", "Put a backup in the place of the database, after checking it in full. What was\nthere "+
		"before is kept beside it under another name. Stop the daemon first.",
		"restore /mnt/usb/coilkeep-2026-03-14.db --config coilkeep.toml")
	if err := flags.parse(env, args, 1, 1); err != nil {
		return err
	}
	path, err := flags.path()
	if err != nil {
		return err
	}
	restored, err := history.Restore(ctx, flags.Arg(0), path, history.Options{Now: env.now}, progressTo(env.stderr))
	if err != nil {
		return err
	}
	if err := facts(env.stdout,
		"Restored", fmt.Sprintf("%s, with %d measurements", path, restored.Report.Measurements),
		"From", flags.Arg(0),
		"Kept", restored.Kept); err != nil {
		return err
	}
	return printFindings(env.stdout, restored.Report)
}

func runVerify(ctx context.Context, env *environment, args []string) error {
	flags := newReadFlags("verify", "Check the whole database: that the file is sound, that every result follows from\nits readings and "+
		"inputs, that the readings captured again give the same\nmeasurement, and that the records agree. Exit code 1 when they do not.",
		"verify --config coilkeep.toml\nverify --history copy.db --json")
	if err := flags.parse(env, args, 0, 0); err != nil {
		return err
	}
	return flags.read(ctx, env, func(store *history.Store) error {
		report, err := store.Verify(ctx, progressTo(env.stderr))
		if err != nil {
			return err
		}
		if len(report.Of(record.FaultDamage)) == 0 { // records in a broken file prove nothing
			if err := workshop.VerifyCaptures(ctx, store, &report, progressTo(env.stderr)); err != nil {
				return err
			}
		}
		if *flags.json {
			if err := printJSON(env.stdout, report); err != nil {
				return err
			}
		} else if err := printReport(env.stdout, store.Path(), report); err != nil {
			return err
		}
		if n := len(report.Faults); n > 0 {
			return fmt.Errorf("%d of the things checked are wrong in %s", n, store.Path())
		}
		return nil
	})
}

func printReport(w io.Writer, path string, report record.Report) error {
	again := ""
	if n := report.CapturedAgain; n > 0 {
		again = fmt.Sprintf(", and captured %d again", n)
	}
	if _, err := fmt.Fprintf(w, "%s: checked %d measurements and %d readings%s.\n", path, report.Measurements, report.Readings,
		again); err != nil {
		return err
	}
	if len(report.Faults) == 0 {
		if _, err := fmt.Fprintln(w, "Everything agrees."); err != nil {
			return err
		}
	}
	return printFindings(w, report)
}

// printFindings prints what is wrong, and what could not be computed again.
func printFindings(w io.Writer, report record.Report) error {
	for _, f := range report.Faults {
		subject := string(f.Kind)
		if f.ID != "" {
			subject += " of " + f.ID
		}
		if _, err := fmt.Fprintf(w, "%s: %s; %s.\n", subject, f.Problem, f.Remedy); err != nil {
			return err
		}
	}
	for _, n := range report.NotRecomputed {
		if _, err := fmt.Fprintf(w, "Not computed again: %d %s by version %d of the rules; this program has version %d.\n", n.Count, n.What,
			n.Rules, n.Known); err != nil {
			return err
		}
	}
	return nil
}

// progressTo tells how far a long verification is, every hundred thousand
// measurements; a workshop's database is done before the first of them.
func progressTo(w io.Writer) func(done, total int) {
	const step = 100_000
	next := step
	return func(done, total int) {
		if done >= next {
			fmt.Fprintf(w, "%d of %d measurements checked\n", done, total)
			next = done + step
		}
	}
}
