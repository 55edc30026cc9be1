package history

import (
	"context"
	"database/sql"
	"errors"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/record"
)

func TestBatchLife(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	recordCoil(t, s, "HN-0001")
	if _, err := s.OpenBatch(t.Context(), record.BatchStart{Name: "B-2", Bench: "north", Design: "wren"}); !errors.Is(err,
		record.ErrConflict) {
		t.Errorf("second open batch of a bench: %v, want ErrConflict", err)
	}
	batch, err := s.ChangeSpool(t.Context(), "B-1", "S-18", "ada")
	if err != nil || batch.Spool() != "S-18" {
		t.Fatalf("change spool: %+v, %v", batch, err)
	}
	if _, err := s.ChangeSpool(t.Context(), "B-1", "S-18", "ada"); !errors.Is(err, record.ErrConflict) {
		t.Errorf("same spool again: %v, want ErrConflict", err)
	}
	var from []int
	for _, mark := range batch.Spools {
		from = append(from, mark.FromSequence)
	}
	if !reflect.DeepEqual(from, []int{1, 2}) {
		t.Errorf("spools from coils %v, want [1 2]", from)
	}
	open, err := s.OpenBatchOf(t.Context(), "north")
	if err != nil || open == nil || !reflect.DeepEqual(*open, batch) {
		t.Errorf("open batch %+v, %v; want %+v", open, err, batch)
	}
	closed, err := s.CloseBatch(t.Context(), "B-1", "ada")
	if err != nil || closed.ClosedAt == nil {
		t.Fatalf("close: %+v, %v", closed, err)
	}
	if got, err := s.Batch(t.Context(), "B-1"); err != nil || !reflect.DeepEqual(got, closed) {
		t.Errorf("batch = %+v, %v; want %+v", got, err, closed)
	}
	if open, err := s.OpenBatchOf(t.Context(), "north"); err != nil || open != nil {
		t.Errorf("open batch after closing: %+v, %v", open, err)
	}
	if _, err := s.CloseBatch(t.Context(), "B-1", "ada"); !errors.Is(err, record.ErrConflict) {
		t.Errorf("close twice: %v, want ErrConflict", err)
	}
	if _, err := s.ChangeSpool(t.Context(), "B-1", "S-19", "ada"); !errors.Is(err, record.ErrConflict) {
		t.Errorf("spool of a closed batch: %v, want ErrConflict", err)
	}
	// A measurement held back while the batch was closed is not lost.
	if m := recordCoil(t, s, "HN-0002"); m.Sequence != 2 {
		t.Errorf("late measurement has sequence %d, want 2", m.Sequence)
	}
}

func TestOpenBatchRefuses(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	for _, c := range []struct {
		name  string
		start record.BatchStart
		want  error
	}{
		{"name used before", record.BatchStart{Name: "B-1", Bench: "south", Design: "wren"}, record.ErrDuplicate},
		{"unknown design", record.BatchStart{Bench: "south", Design: "emu"}, record.ErrNotFound},
		{"no bench", record.BatchStart{Design: "wren"}, record.ErrInvalid},
		{"no design", record.BatchStart{Bench: "south"}, record.ErrInvalid},
		{"unprintable spool", record.BatchStart{Bench: "south", Design: "wren", Spool: "S\t1"}, record.ErrInvalid},
	} {
		if _, err := s.OpenBatch(t.Context(), c.start); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, err, c.want)
		}
	}
	if _, err := s.Batch(t.Context(), "B-9"); !errors.Is(err, record.ErrNotFound) {
		t.Errorf("unknown batch: %v, want ErrNotFound", err)
	}
	if _, err := s.CloseBatch(t.Context(), "B-9", ""); !errors.Is(err, record.ErrNotFound) {
		t.Errorf("close unknown batch: %v, want ErrNotFound", err)
	}
}

func TestGeneratedBatchNames(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	revised := wren()
	revised.Turns = 8300
	must(t)(s.ReviseDesign(t.Context(), revised, "ada"))
	for _, want := range []string{"2026-03-02 wren", "2026-03-02 wren 2", "2026-03-02 wren 3"} {
		batch, err := s.OpenBatch(t.Context(), record.BatchStart{Bench: "south", Design: "wren"})
		if err != nil || batch.Name != want || batch.DesignRevision != 2 {
			t.Fatalf("batch %q of revision %d, %v; want %q of 2", batch.Name, batch.DesignRevision, err, want)
		}
		must(t)(s.CloseBatch(t.Context(), batch.Name, "ada"))
	}
	for _, c := range []struct {
		filter record.BatchFilter
		want   []string
	}{
		{record.BatchFilter{}, []string{"2026-03-02 wren 3", "2026-03-02 wren 2", "2026-03-02 wren", "B-1"}},
		{record.BatchFilter{Bench: "south", Limit: 2}, []string{"2026-03-02 wren 3", "2026-03-02 wren 2"}},
		{record.BatchFilter{OpenOnly: true}, []string{"B-1"}},
		{record.BatchFilter{Design: "emu"}, nil},
		{record.BatchFilter{Winder: "W2"}, []string{"B-1"}},
		{record.BatchFilter{Winder: "W9"}, nil},
	} {
		batches, err := s.Batches(t.Context(), c.filter)
		var names []string
		for _, b := range batches {
			names = append(names, b.Name)
		}
		if err != nil || !reflect.DeepEqual(names, c.want) {
			t.Errorf("batches %+v = %q, %v; want %q", c.filter, names, err, c.want)
		}
	}
}

// counting counts the questions asked.
type counting struct {
	querier
	asked int
}

func (c *counting) QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	c.asked++
	return c.querier.QueryContext(ctx, query, args...)
}

// A list of batches has the spools of each, and asks no more for many than for
// one.
func TestSpoolsOfManyBatches(t *testing.T) {
	t.Parallel()
	s := workshop(t) // with batch B-1, of spool S-17
	must(t)(s.ChangeSpool(t.Context(), "B-1", "S-18", "ada"))
	must(t)(s.OpenBatch(t.Context(), record.BatchStart{Name: "B-2", Bench: "south", Design: "wren", Spool: "S-19"}))
	must(t)(s.OpenBatch(t.Context(), record.BatchStart{Name: `B "3"`, Bench: "west", Design: "wren"}))
	q := &counting{querier: s.readers}
	batches, err := listBatches(t.Context(), q, `ORDER BY b.name`)
	must(t)(batches, err)
	got := map[string][]string{}
	for _, b := range batches {
		got[b.Name] = []string{}
		for _, mark := range b.Spools {
			got[b.Name] = append(got[b.Name], mark.Spool)
		}
	}
	if want := map[string][]string{"B-1": {"S-17", "S-18"}, "B-2": {"S-19"}, `B "3"`: {}}; !reflect.DeepEqual(got, want) {
		t.Errorf("spools %v, want %v", got, want)
	}
	if q.asked != 2 {
		t.Errorf("asked %d times, want twice", q.asked)
	}
}

// A batch that was closed by mistake goes on as if it had not been, with the journal
// knowing; not for ever, and not once its bench has gone on.
func TestReopenBatch(t *testing.T) {
	t.Parallel()
	now := firstInstant
	s := openStore(t, filepath.Join(t.TempDir(), "coilkeep.db"), Options{Now: func() time.Time { return now }})
	must(t)(s.AddDesign(t.Context(), wren(), "ada"))
	must(t)(s.OpenBatch(t.Context(), record.BatchStart{Name: "B-1", Bench: "north", Design: "wren", Spool: "S-1"}))
	refused := func(why, name string, want error) {
		t.Helper()
		if _, err := s.ReopenBatch(t.Context(), name, "ada"); !errors.Is(err, want) || !strings.Contains(err.Error(), why) {
			t.Errorf("got %v, want %v: %s", err, want, why)
		}
	}
	refused("is open", "B-1", record.ErrConflict)
	refused("B-9", "B-9", record.ErrNotFound)
	must(t)(s.CloseBatch(t.Context(), "B-1", "ada"))
	now = now.Add(23 * time.Hour)
	batch, err := s.ReopenBatch(t.Context(), "B-1", "ben")
	kept, openErr := s.OpenBatchOf(t.Context(), "north")
	if err != nil || openErr != nil || batch.ClosedAt != nil || kept == nil || kept.Name != "B-1" || kept.Spool() != "S-1" {
		t.Errorf("reopened %+v, %v, open %+v, %v", batch, err, kept, openErr)
	}
	entries, err := s.Journal(t.Context(), record.JournalFilter{Action: "reopen batch"})
	if err != nil || len(entries) != 1 || entries[0].Who != "ben" || entries[0].Subject != "B-1" {
		t.Errorf("journal: %+v", entries)
	}
	must(t)(s.CloseBatch(t.Context(), "B-1", "ada"))
	now = now.Add(time.Minute)
	must(t)(s.OpenBatch(t.Context(), record.BatchStart{Name: "B-2", Bench: "north", Design: "wren"}))
	refused("gone on to batch B-2", "B-1", record.ErrConflict)
	must(t)(s.CloseBatch(t.Context(), "B-2", "ada"))
	refused("gone on to batch B-2", "B-1", record.ErrConflict)
	now = now.Add(25 * time.Hour)
	refused("more than a day ago", "B-2", record.ErrConflict)
}
