package workshop

import (
	"testing"
	"time"

	"coilkeep/internal/record"
)

// A note belongs to the coil wound next, and of an open batch the last one to the
// coil to come; what was turned then shows from there on.
func TestNotes(t *testing.T) {
	s := woundStock()
	note := func(batch string, minute int, text string) {
		s.notes = append(s.notes, record.JournalEntry{Action: Acknowledged, Subject: batch, Time: at(minute), Detail: text})
	}
	note("early", 5, "before any coil")
	note("early", 25, "looked at the felt")
	note("early", 27, "77 turns off")
	note("late", 25, "of another batch")
	note("early", 700, "two turns on")
	s.batches[1].Spools = []record.SpoolMark{{FromSequence: 1, Spool: "SP-1"}, {FromSequence: 5, Spool: "SP-2"}}
	coils, o, err := CoilsOfBatch(t.Context(), s, "early", time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	want := map[int]string{1: "before any coil", 3: "77 turns off"}
	for _, c := range coils {
		if c.Noted != want[c.Sequence] {
			t.Errorf("coil %d: note %q, want %q", c.Sequence, c.Noted, want[c.Sequence])
		}
	}
	if o.Next == nil || o.Next.Noted != "two turns on" || o.Next.Spool != "SP-2" || o.Next.Batch != "early" {
		t.Errorf("the coil to come: %+v", o.Next)
	}
	closed := at(800)
	s.batches[1].ClosedAt = &closed
	if _, o, err = CoilsOfBatch(t.Context(), s, "early", time.UTC); err != nil || o.Next != nil {
		t.Errorf("of a closed batch a coil is to come: %+v, %v", o.Next, err)
	}
}

// The reference value of the standard is that last told.
func TestCheckReference(t *testing.T) {
	s := woundStock()
	for i := range s.checks {
		s.checks[i].NominalOhms = 10000 + float64(i)
	}
	if _, o, err := CoilsOfBatch(t.Context(), s, "early", time.UTC); err != nil || o.CheckReferenceOhms != 10003 {
		t.Errorf("reference %g, %v; want that of the check at minute 100", o.CheckReferenceOhms, err)
	}
}
