package main

import (
	"context"
	"slices"

	"coilkeep/internal/history"
	"coilkeep/internal/record"
)

func runJournal(ctx context.Context, env *environment, args []string) error {
	flags := newReadFlags("journal", "Show who did what: withdrawn measurements, spool changes, revisions. The latest\nentries, the "+
		"oldest of them first.",
		"journal\njournal --bench north --limit 200 --json")
	bench := flags.String("bench", "", "only of this bench, by `NAME`")
	limit := flags.Int("limit", 50, "at most this `NUMBER` of entries")
	if err := flags.parse(env, args, 0, 0); err != nil {
		return err
	}
	if *limit < 1 {
		return flags.wrong("--limit %d: ask for one at least", *limit)
	}
	return flags.read(ctx, env, func(store *history.Store) error {
		entries, err := store.Journal(ctx, record.JournalFilter{Bench: *bench, Limit: *limit})
		if err != nil {
			return err
		}
		slices.Reverse(entries)
		if *flags.json {
			return printJSON(env.stdout, listOf(entries))
		}
		rows := [][]string{{"TIME", "WHO", "BENCH", "WHAT", "OF", "DETAIL"}}
		for _, e := range entries {
			rows = append(rows, []string{env.when(e.Time), dash(e.Who), dash(e.Bench), e.Action, dash(e.Subject), e.Detail})
		}
		return columns(env.stdout, "The journal is empty.", rows)
	})
}
