package history

import (
	"context"
	"fmt"

	"coilkeep/internal/record"
)

// AddJournal notes who did what and returns the entry as stored; ID and Time
// are filled in when empty. The error is a *FieldError when a value cannot be
// right.
func (s journalRecords) AddJournal(ctx context.Context, e record.JournalEntry) (record.JournalEntry, error) {
	err := s.write(ctx, "add to journal", func(tx *transaction) (err error) {
		e, err = s.addEntry(ctx, tx, e)
		return err
	})
	if err != nil {
		return record.JournalEntry{}, err
	}
	return e, nil
}

// note adds an entry to the journal as part of the change it tells of.
func (s *file) note(ctx context.Context, tx *transaction, e record.JournalEntry) error {
	_, err := s.addEntry(ctx, tx, e)
	return err
}

func (s *file) addEntry(ctx context.Context, tx *transaction, e record.JournalEntry) (record.JournalEntry, error) {
	if err := s.prepare(&e.ID, &e.Time, func() error { return journal.ready(&e) }); err != nil {
		return record.JournalEntry{}, err
	}
	return e, takenID(journal.insert(ctx, tx, e), e.ID)
}

// Journal returns the entries that match, newest first.
func (s journalRecords) Journal(ctx context.Context, f record.JournalFilter) ([]record.JournalEntry, error) {
	limit := f.Limit
	if limit <= 0 {
		limit = record.DefaultPage
	}
	var c conditions
	c.equal("bench", f.Bench)
	c.equal("action", f.Action)
	c.equal("subject", f.Subject)
	c.between("time_us", f.From, f.To)
	entries, err := journal.list(ctx, s.readers, c.where()+fmt.Sprintf(` ORDER BY time_us DESC, number DESC LIMIT %d`, limit), c.args...)
	return entries, explain(s.path, "read journal", err)
}
