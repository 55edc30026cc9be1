package main

import (
	"context"
	"errors"
	"fmt"
	"strconv"

	"coilkeep/internal/history"
	"coilkeep/internal/record"
)

func batchMenu() menu {
	return menu{
		path:    "coilkeep batch",
		summary: "List, show, start, close and reopen batches, and mark a new spool.",
		groups: []group{{"Commands", []command{
			{"list", "List batches.", runBatchList},
			{"show", "Show one batch and its coils.", runBatchShow},
			{"start", "Start a batch on a bench.", runBatchStart},
			{"close", "Close a batch.", runBatchClose},
			{"reopen", "Open a batch again that was closed by mistake.", runBatchReopen},
			{"spool", "Mark that the next coil is wound from another spool.", runBatchSpool},
		}}},
		examples: "coilkeep batch list --open\ncoilkeep batch start --bench north --design larkspur --spool S-17",
	}
}

func runBatchList(ctx context.Context, env *environment, args []string) error {
	flags := newReadFlags("batch list", "List batches, the newest first.", "batch list\nbatch list --open --bench north --json")
	open := flags.Bool("open", false, "only open ones")
	bench := flags.String("bench", "", "only of this bench, by `NAME`")
	design := flags.String("design", "", "only of this design, by `NAME`")
	limit := flags.Int("limit", 50, "at most this `NUMBER` of them")
	if err := flags.parse(env, args, 0, 0); err != nil {
		return err
	}
	return flags.read(ctx, env, func(store *history.Store) error {
		batches, err := store.Batches(ctx, record.BatchFilter{Bench: *bench, Design: *design, OpenOnly: *open, Limit: *limit})
		if err != nil {
			return err
		}
		if *flags.json {
			return printJSON(env.stdout, listOf(batches))
		}
		rows := [][]string{{"BATCH", "BENCH", "DESIGN", "COILS", "SPOOL", "OPENED", "CLOSED"}}
		for _, b := range batches {
			rows = append(rows, []string{b.Name, b.Bench, revisionOf(b.Design, b.DesignRevision), strconv.Itoa(b.LastSequence),
				dash(b.Spool()), env.when(b.OpenedAt), env.closed(b)})
		}
		return columns(env.stdout, `There is no such batch; "coilkeep batch start --help" says how to start one.`, rows)
	})
}

func (env *environment) closed(b record.Batch) string {
	if b.ClosedAt == nil {
		return "open"
	}
	return env.when(*b.ClosedAt)
}

func revisionOf(design string, revision int) string { return fmt.Sprintf("%s/%d", design, revision) }

// batchView is a batch with its coils, as JSON.
type batchView struct {
	record.Batch
	Measurements []record.Measurement `json:"measurements"`
	// Unrecorded are the coils that left the clips of its bench meanwhile without
	// a record, and were neither measured nor dismissed since.
	Unrecorded []record.Unrecorded `json:"unrecorded"`
}

func runBatchShow(ctx context.Context, env *environment, args []string) error {
	flags := newReadFlags("batch show NAME", "Show one batch and every measurement in it, the oldest first.",
		"batch show spring-3\nbatch show spring-3 --json")
	if err := flags.parse(env, args, 1, 1); err != nil {
		return err
	}
	return flags.read(ctx, env, func(store *history.Store) error {
		batch, err := store.Batch(ctx, flags.Arg(0))
		if err != nil {
			return orList(err, "batch list")
		}
		measurements, err := allMeasurements(ctx, store, record.Filter{Batch: batch.Name})
		if err != nil {
			return err
		}
		missed, err := unrecordedDuring(ctx, store, batch)
		if err != nil {
			return err
		}
		if *flags.json {
			return printJSON(env.stdout, batchView{batch, listOf(measurements), listOf(missed)})
		}
		if err := env.printBatch(batch); err != nil {
			return err
		}
		fmt.Fprintln(env.stdout)
		if err := env.printMeasurements(measurements); err != nil || len(missed) == 0 {
			return err
		}
		fmt.Fprintln(env.stdout, "\nNot recorded:")
		return env.printUnrecorded(missed)
	})
}

func (env *environment) printBatch(b record.Batch) error {
	pairs := []string{
		"Batch", b.Name,
		"Bench", b.Bench,
		"Design", fmt.Sprintf("%s, revision %d", b.Design, b.DesignRevision),
		"Winder", b.Winder,
		"Operator", b.Operator,
		"Opened", env.when(b.OpenedAt),
		"Closed", env.closed(b),
	}
	for _, mark := range b.Spools {
		pairs = append(pairs, "Spool", fmt.Sprintf("%s, from coil %d", mark.Spool, mark.FromSequence))
	}
	return facts(env.stdout, pairs...)
}

func runBatchStart(ctx context.Context, env *environment, args []string) error {
	flags := newWriteFlags("batch start [NAME] --bench BENCH --design DESIGN",
		"Start a batch on a bench. A running daemon takes it up at once. Without a NAME\nit is called after the day and the design.",
		"batch start --bench north --design larkspur\n"+
			"batch start spring-3 --config coilkeep.toml --design larkspur --spool S-17 --winder W2 --operator Mira")
	bench := flags.String("bench", "", "`NAME` of the bench; with --config and one bench it need not be said")
	design := flags.String("design", "", "`NAME` of the design")
	spool := flags.String("spool", "", "`NAME` of the wire spool")
	winder := flags.String("winder", "", "`NAME` of the winding machine")
	operator := flags.String("operator", "", "`NAME` of the person who winds")
	if err := flags.parse(env, args, 0, 1); err != nil {
		return err
	}
	if *design == "" {
		return flags.wrong("coils of which design? Say --design NAME")
	}
	at, err := flags.bench(*bench)
	if err != nil {
		return err
	}
	start := record.BatchStart{Name: flags.Arg(0), Bench: at, Design: *design, Winder: *winder, Operator: *operator, Spool: *spool,
		Who: flags.by()}
	return flags.change(ctx, env, func(store *history.Store) error {
		batch, err := store.OpenBatch(ctx, start)
		if err != nil {
			return orList(err, "design list")
		}
		return env.printBatch(batch)
	})
}

func runBatchClose(ctx context.Context, env *environment, args []string) error {
	flags := newWriteFlags("batch close [NAME]", "Close a batch, by its name or as the one open on a bench.",
		"batch close spring-3\nbatch close --bench north")
	bench := flags.String("bench", "", "the batch open on the bench of this `NAME`")
	if err := flags.parse(env, args, 0, 1); err != nil {
		return err
	}
	return flags.change(ctx, env, func(store *history.Store) error {
		name, err := flags.openBatch(ctx, store, flags.Arg(0), *bench)
		if err != nil {
			return err
		}
		batch, err := store.CloseBatch(ctx, name, flags.by())
		if err != nil {
			return orList(err, "batch list")
		}
		return env.printBatch(batch)
	})
}

func runBatchReopen(ctx context.Context, env *environment, args []string) error {
	flags := newWriteFlags("batch reopen NAME", "Open a batch again that was closed by mistake: within a day, and before the "+
		"next one on its bench.",
		"batch reopen spring-3")
	if err := flags.parse(env, args, 1, 1); err != nil {
		return err
	}
	return flags.change(ctx, env, func(store *history.Store) error {
		batch, err := store.ReopenBatch(ctx, flags.Arg(0), flags.by())
		if err != nil {
			return orList(err, "batch list")
		}
		return env.printBatch(batch)
	})
}

func runBatchSpool(ctx context.Context, env *environment, args []string) error {
	flags := newWriteFlags("batch spool SPOOL", "Mark that the next coil of a batch is wound from another spool.",
		"batch spool S-18 --bench north\nbatch spool S-18 --batch spring-3")
	name := flags.String("batch", "", "`NAME` of the batch")
	bench := flags.String("bench", "", "the batch open on the bench of this `NAME`")
	if err := flags.parse(env, args, 1, 1); err != nil {
		return err
	}
	return flags.change(ctx, env, func(store *history.Store) error {
		batchName, err := flags.openBatch(ctx, store, *name, *bench)
		if err != nil {
			return err
		}
		batch, err := store.ChangeSpool(ctx, batchName, flags.Arg(0), flags.by())
		if err != nil {
			return orList(err, "batch list")
		}
		return env.printBatch(batch)
	})
}

// openBatch is the name of the batch meant: the one named, or the open one of
// the bench.
func (f databaseFlags) openBatch(ctx context.Context, store *history.Store, name, bench string) (string, error) {
	if name != "" && bench != "" {
		return "", f.wrong("a batch and --bench both say which batch; give one of them")
	}
	if name != "" {
		return name, nil
	}
	bench, err := f.bench(bench)
	if err != nil {
		return "", err
	}
	open, err := store.OpenBatchOf(ctx, bench)
	if err != nil {
		return "", err
	}
	if open == nil {
		return "", errors.New("no batch is open on bench " + bench)
	}
	return open.Name, nil
}
