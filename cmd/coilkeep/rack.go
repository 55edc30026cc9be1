package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"coilkeep/internal/history"
	"coilkeep/internal/record"
)

func runCoilRack(ctx context.Context, env *environment, args []string) error {
	flags := newWriteFlags("coil rack [SERIAL…] --bench BENCH",
		`Say that coils lie beside the probe of a bench, by their serial numbers or all of
an open batch. What they have lain there when they are clipped on is then known,
and their uncertainty is small sooner. It holds until they are measured or somebody
says a later time.`,
		"coil rack HN-0042 HN-0043 --bench north\ncoil rack --batch spring-3 --since 08:30 --config coilkeep.toml")
	benchName := flags.String("bench", "", "`NAME` of the bench; with --config and one bench it need not be said")
	batch := flags.String("batch", "", "every coil of this open batch that is wound, by `NAME`")
	since := flags.String("since", "", "since this `TIME`, such as 08:30 of today or \"2026-01-31 15:04\" (default: now)")
	if err := flags.parse(env, args, 0, 1000); err != nil {
		return err
	}
	if (flags.NArg() == 0) == (*batch == "") {
		return flags.wrong("what lies there? Name coils, or else say --batch NAME")
	}
	at, err := flags.bench(*benchName)
	if err != nil {
		return err
	}
	from, err := env.timeOfDay(*since)
	if err != nil {
		return flags.wrong("--since: %v", err)
	}
	soaks := []record.Soak{{Batch: *batch}}
	if *batch == "" {
		soaks = soaks[:0]
		for _, serial := range flags.Args() {
			soaks = append(soaks, record.Soak{Serial: serial})
		}
	}
	return flags.change(ctx, env, func(store *history.Store) error {
		for i, soak := range soaks {
			soak.Bench, soak.Since, soak.Who = at, from, flags.by()
			kept, err := store.AddSoak(ctx, soak)
			if err != nil {
				if i > 0 {
					err = fmt.Errorf("%w; what stands before it was noted", err)
				}
				return orList(err, "batch list")
			}
			subject := "coil " + kept.Serial
			if kept.Batch != "" {
				subject = "the coils of batch " + kept.Batch
			}
			if _, err := fmt.Fprintf(env.stdout, "Beside the probe of bench %s since %s: %s.\n", kept.Bench, env.when(kept.Since),
				subject); err != nil {
				return err
			}
		}
		return nil
	})
}

// timeOfDay is moment, and also reads a time of today.
func (env *environment) timeOfDay(text string) (time.Time, error) {
	if clock, err := time.ParseInLocation("15:04", text, env.local); err == nil {
		now := env.now().In(env.local)
		return time.Date(now.Year(), now.Month(), now.Day(), clock.Hour(), clock.Minute(), 0, 0, env.local), nil
	}
	return env.moment(text)
}

func runCoilUnrecorded(ctx context.Context, env *environment, args []string) error {
	flags := newReadFlags("coil unrecorded", "List the coils that left the clips without a record, the newest first, and why.\nEach "+
		"stays here until it is measured or dismissed.",
		"coil unrecorded\ncoil unrecorded --bench north --json")
	benchName := flags.String("bench", "", "only from this bench, by `NAME`")
	if err := flags.parse(env, args, 0, 0); err != nil {
		return err
	}
	return flags.read(ctx, env, func(store *history.Store) error {
		list, err := store.OpenUnrecorded(ctx, *benchName)
		if err != nil {
			return err
		}
		if *flags.json {
			return printJSON(env.stdout, listOf(list))
		}
		return env.printUnrecorded(list)
	})
}

func (env *environment) printUnrecorded(list []record.Unrecorded) error {
	rows := [][]string{{"TIME", "BENCH", "SERIAL", "STAGE", "WHY", "ID"}}
	for _, u := range list {
		rows = append(rows, []string{env.when(u.Time), u.Bench, dash(u.Serial), u.Stage, u.Words, u.ID})
	}
	return columns(env.stdout, "Every coil that was on the clips is recorded or dismissed.", rows)
}

// unrecordedDuring are the coils still open that were on a batch's bench while it
// was open, and so most likely belong to it.
func unrecordedDuring(ctx context.Context, store *history.Store, b record.Batch) ([]record.Unrecorded, error) {
	list, err := store.OpenUnrecorded(ctx, b.Bench)
	return slices.DeleteFunc(list, func(u record.Unrecorded) bool {
		return u.Time.Before(b.OpenedAt) || b.ClosedAt != nil && u.Time.After(*b.ClosedAt)
	}), err
}

func runCoilDismiss(ctx context.Context, env *environment, args []string) error {
	flags := newWriteFlags("coil dismiss SERIAL|ID", "Take a coil that was not recorded off the list: it need not be measured. It "+
		"stays\nin the journal.",
		"coil dismiss HN-0042\ncoil dismiss 0199e4c2-7d1a-7c33-9f0e-3f6f0c1b2a4d --who Mira")
	if err := flags.parse(env, args, 1, 1); err != nil {
		return err
	}
	return flags.change(ctx, env, func(store *history.Store) error {
		id, err := openUnrecorded(ctx, store, flags.Arg(0))
		if err != nil {
			return err
		}
		u, err := store.Dismiss(ctx, id, flags.by())
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(env.stdout, "Dismissed: %s of %s, not recorded because %s.\n", dash(u.Serial), env.when(u.Time), u.Words)
		return err
	})
}

// openUnrecorded is the id of an open one, which is named by it or by its serial
// number.
func openUnrecorded(ctx context.Context, store *history.Store, named string) (string, error) {
	list, err := store.OpenUnrecorded(ctx, "")
	if err != nil {
		return "", err
	}
	for _, u := range list {
		if u.ID == named || u.Serial != "" && strings.EqualFold(u.Serial, named) {
			return u.ID, nil
		}
	}
	return "", fmt.Errorf("no coil %s waits for a record; coilkeep coil unrecorded shows those that do", named)
}
