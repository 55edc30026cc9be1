package workshop

import (
	"context"
	"slices"

	"coilkeep/internal/drift"
	"coilkeep/internal/record"
)

// Acknowledged is the journal's word for a signal that a person took note of; the
// subject is the batch, the detail what was found or done.
const Acknowledged = "drift acknowledged"

// mostNotes is more than anybody takes note of in a batch.
const mostNotes = 1000

// notesOf are the notes of a batch, the earliest first.
func notesOf(ctx context.Context, store DriftStore, batch string) ([]record.JournalEntry, error) {
	notes, err := store.Journal(ctx, record.JournalFilter{Action: Acknowledged, Subject: batch, Limit: mostNotes})
	slices.SortStableFunc(notes, func(a, b record.JournalEntry) int { return a.Time.Compare(b.Time) })
	return notes, err
}

// addNotes gives each note of a batch to the coil wound next: somebody may have
// turned something then. Of several the last counts.
func addNotes(ctx context.Context, store DriftStore, batch string, coils []drift.Coil) error {
	notes, err := notesOf(ctx, store, batch)
	for _, note := range notes {
		if next := slices.IndexFunc(coils, func(c drift.Coil) bool { return c.WoundAt().After(note.Time) }); next >= 0 {
			coils[next].Noted = note.Detail
		}
	}
	return err
}

// nextCoil is what is on record of the coil after the last one of an open batch.
func nextCoil(ctx context.Context, store DriftStore, batch record.Batch, last drift.Coil) (*drift.Coil, error) {
	next := drift.Coil{Batch: batch.Name, Spool: batch.Spool(), Winder: last.Winder, Operator: last.Operator, Target: last.Target}
	notes, err := notesOf(ctx, store, batch.Name)
	if n := len(notes); n > 0 && notes[n-1].Time.After(last.WoundAt()) {
		next.Noted = notes[n-1].Detail
	}
	return &next, err
}
