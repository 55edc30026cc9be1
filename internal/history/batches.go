package history

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"time"

	"coilkeep/internal/record"
)

const batchColumns = `
	b.name,
	b.bench,
	b.design,
	b.design_revision,
	b.winder,
	b.operator,
	b.opened_us,
	b.closed_us,
	COALESCE((SELECT MAX(sequence) FROM measurements WHERE batch = b.name), 0)`

// listBatches reads batches with their spools; where begins after FROM batches b.
func listBatches(ctx context.Context, q querier, where string, args ...any) ([]record.Batch, error) {
	batches := []record.Batch{}
	err := rows(ctx, q, `SELECT `+batchColumns+` FROM batches b `+where, args, func(r *sql.Rows) error {
		b := record.Batch{Spools: []record.SpoolMark{}}
		var openedUS int64
		var closedUS sql.NullInt64
		err := r.Scan(&b.Name, &b.Bench, &b.Design, &b.DesignRevision, &b.Winder, &b.Operator, &openedUS, &closedUS, &b.LastSequence)
		b.OpenedAt = fromMicros(openedUS)
		if closed := fromNullMicros(closedUS); !closed.IsZero() {
			b.ClosedAt = &closed
		}
		batches = append(batches, b)
		return err
	})
	if err != nil {
		return nil, err
	}
	return batches, addSpools(ctx, q, batches)
}

// addSpools fills in the spools of all batches by one question.
func addSpools(ctx context.Context, q querier, batches []record.Batch) error {
	if len(batches) == 0 {
		return nil
	}
	place := make(map[string]*record.Batch, len(batches))
	names := make([]string, len(batches))
	for i := range batches {
		names[i] = batches[i].Name
		place[names[i]] = &batches[i]
	}
	list, err := pack(names)
	if err != nil {
		return err
	}
	return rows(ctx, q, `
		SELECT batch, from_sequence, spool, at_us
		FROM batch_spools
		WHERE batch IN (SELECT value FROM json_each(?1))
		ORDER BY batch, position`, []any{list}, func(r *sql.Rows) error {
		var batch string
		var m record.SpoolMark
		var atUS int64
		err := r.Scan(&batch, &m.FromSequence, &m.Spool, &atUS)
		if err != nil {
			return err
		}
		m.At = fromMicros(atUS)
		place[batch].Spools = append(place[batch].Spools, m)
		return nil
	})
}

// oneBatch returns the batch of a name, or ErrNotFound.
func oneBatch(ctx context.Context, q querier, name string) (record.Batch, error) {
	batches, err := listBatches(ctx, q, `WHERE b.name = ?1`, name)
	if err != nil {
		return record.Batch{}, err
	}
	if len(batches) == 0 {
		return record.Batch{}, fmt.Errorf("batch %q %w", name, record.ErrNotFound)
	}
	return batches[0], nil
}

// openBatchOf returns the open batch of a bench, nil when there is none.
func openBatchOf(ctx context.Context, q querier, bench string) (*record.Batch, error) {
	batches, err := listBatches(ctx, q, `WHERE b.bench = ?1 AND b.closed_us IS NULL`, bench)
	if err != nil || len(batches) == 0 {
		return nil, err
	}
	return &batches[0], nil
}

// OpenBatch opens a batch of the latest revision of a design. The errors are a
// *FieldError, ErrNotFound for the design, ErrConflict when the bench has an
// open batch, or ErrDuplicate when the name was used before.
func (s batchRecords) OpenBatch(ctx context.Context, start record.BatchStart) (record.Batch, error) {
	tried := "open batch"
	if start.Name != "" {
		tried = fmt.Sprintf("open batch %q", start.Name)
	}
	err := cmp.Or(
		record.ValidateText("batch", start.Name, 0, record.MaxName),
		record.ValidateName("bench", start.Bench),
		record.ValidateName("design", start.Design),
		record.AllValid(record.ValidateLabel, "winder", start.Winder, "operator", start.Operator, "spool", start.Spool, "who", start.Who))
	if err != nil {
		return record.Batch{}, fmt.Errorf("%s: %w", tried, err)
	}
	var batch record.Batch
	err = s.write(ctx, tried, func(tx *transaction) error {
		batch, err = s.openBatch(ctx, tx, start)
		return err
	})
	return batch, err
}

func (s batchRecords) openBatch(ctx context.Context, tx *transaction, start record.BatchStart) (record.Batch, error) {
	design, err := latestDesign(ctx, tx, start.Design)
	if err != nil {
		return record.Batch{}, err
	}
	if open, err := openBatchOf(ctx, tx, start.Bench); err != nil {
		return record.Batch{}, err
	} else if open != nil {
		return record.Batch{}, fmt.Errorf("%w: bench %q has batch %q open; close it first", record.ErrConflict, start.Bench, open.Name)
	}
	name, err := s.batchName(ctx, tx, start)
	if err != nil {
		return record.Batch{}, err
	}
	b := record.Batch{Name: name, Bench: start.Bench, Design: design.Name, DesignRevision: design.Revision,
		Winder: start.Winder, Operator: start.Operator, OpenedAt: s.instant(), Spools: []record.SpoolMark{}}
	if start.Spool != "" {
		b.Spools = append(b.Spools, record.SpoolMark{FromSequence: 1, Spool: start.Spool, At: b.OpenedAt})
	}
	if err := insertBatch(ctx, tx, b); err != nil {
		return record.Batch{}, err
	}
	return b, s.note(ctx, tx, record.JournalEntry{Bench: b.Bench, Who: start.Who, Action: "open batch", Subject: b.Name,
		Detail: fmt.Sprintf("design %s revision %d, winder %q, operator %q, spool %q", b.Design, b.DesignRevision, b.Winder, b.Operator,
			b.Spool())})
}

// batchName checks the name wanted, or makes one that is free.
func (s batchRecords) batchName(ctx context.Context, q querier, start record.BatchStart) (string, error) {
	taken := func(name string) (found bool, err error) {
		err = q.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM batches WHERE name = ?1)`, name).Scan(&found)
		return found, err
	}
	if start.Name != "" {
		found, err := taken(start.Name)
		if found {
			err = fmt.Errorf("batch %q %w; take another name", start.Name, record.ErrDuplicate)
		}
		return start.Name, err
	}
	base := s.opts.Now().Format(time.DateOnly) + " " + start.Design
	name := base
	for n := 2; ; n++ {
		found, err := taken(name)
		if err != nil || !found {
			return name, err
		}
		name = fmt.Sprintf("%s %d", base, n)
	}
}

func insertBatch(ctx context.Context, tx *transaction, b record.Batch) error {
	var closedUS sql.NullInt64
	if b.ClosedAt != nil {
		closedUS = nullMicros(*b.ClosedAt)
	}
	_, err := tx.ExecContext(ctx, `
		INSERT INTO batches (name, bench, design, design_revision, winder, operator, opened_us, closed_us)
		VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)`,
		b.Name, b.Bench, b.Design, b.DesignRevision, b.Winder, b.Operator, b.OpenedAt.UnixMicro(), closedUS)
	if err != nil {
		return err
	}
	for i, mark := range b.Spools {
		if err := insertSpool(ctx, tx, b.Name, i+1, mark); err != nil {
			return err
		}
	}
	return nil
}

func insertSpool(ctx context.Context, tx *transaction, batch string, position int, mark record.SpoolMark) error {
	_, err := tx.ExecContext(ctx, `
		INSERT INTO batch_spools (batch, position, from_sequence, spool, at_us)
		VALUES (?1, ?2, ?3, ?4, ?5)`,
		batch, position, mark.FromSequence, mark.Spool, mark.At.UnixMicro())
	return err
}

// CloseBatch closes a batch and returns it. The errors are ErrNotFound, or
// ErrConflict when it is closed already.
func (s batchRecords) CloseBatch(ctx context.Context, name, who string) (record.Batch, error) {
	var batch record.Batch
	err := s.changeBatch(ctx, "close batch", name, who, func(tx *transaction, b record.Batch) error {
		closed := s.instant()
		b.ClosedAt = &closed
		batch = b
		if err := setClosed(ctx, tx, b); err != nil {
			return err
		}
		return s.note(ctx, tx, record.JournalEntry{Bench: b.Bench, Who: who, Action: "close batch", Subject: b.Name,
			Detail: fmt.Sprintf("last coil %d", b.LastSequence)})
	})
	return batch, err
}

// ReopenBatch opens a batch again that was closed by mistake, and returns it. The errors
// are ErrNotFound, or ErrConflict when it is open, when it was closed too long ago
// (see [record.Batch.CanReopen]), or when its bench has gone on to another batch.
func (s batchRecords) ReopenBatch(ctx context.Context, name, who string) (batch record.Batch, err error) {
	tried := fmt.Sprintf("reopen batch %q", name)
	if err := record.ValidateLabel("who", who); err != nil {
		return record.Batch{}, fmt.Errorf("%s: %w", tried, err)
	}
	err = s.write(ctx, tried, func(tx *transaction) error {
		if batch, err = oneBatch(ctx, tx, name); err != nil {
			return err
		}
		if err := batch.CanReopen(s.instant()); err != nil {
			return err
		}
		later, err := listBatches(ctx, tx, `WHERE b.bench = ?1 AND b.opened_us >= ?2 AND b.name <> ?3 LIMIT 1`, batch.Bench,
			nullMicros(*batch.ClosedAt), batch.Name)
		if err != nil {
			return err
		}
		if len(later) > 0 {
			return fmt.Errorf("%w: bench %s has gone on to batch %s; start another batch of the design instead", record.ErrConflict,
				batch.Bench, later[0].Name)
		}
		detail := "it was closed at " + batch.ClosedAt.UTC().Format(time.RFC3339)
		batch.ClosedAt = nil
		if _, err := tx.ExecContext(ctx, `UPDATE batches SET closed_us = NULL WHERE name = ?1`, batch.Name); err != nil {
			return err
		}
		return s.note(ctx, tx, record.JournalEntry{Bench: batch.Bench, Who: who, Action: "reopen batch", Subject: batch.Name, Detail: detail})
	})
	if err != nil {
		return record.Batch{}, err
	}
	return batch, nil
}

func setClosed(ctx context.Context, tx *transaction, b record.Batch) error {
	_, err := tx.ExecContext(ctx, `UPDATE batches SET closed_us = ?2 WHERE name = ?1`, b.Name, nullMicros(*b.ClosedAt))
	return err
}

// ChangeSpool marks that the next coil of an open batch is wound from another
// spool, and returns the batch. The errors are a *FieldError, ErrNotFound, or
// ErrConflict when the batch is closed or the spool is on already.
func (s batchRecords) ChangeSpool(ctx context.Context, name, spool, who string) (record.Batch, error) {
	if err := record.ValidateName("spool", spool); err != nil {
		return record.Batch{}, fmt.Errorf("change spool of batch %q: %w", name, err)
	}
	var batch record.Batch
	err := s.changeBatch(ctx, "change spool of batch", name, who, func(tx *transaction, b record.Batch) error {
		if b.Spool() == spool {
			return fmt.Errorf("%w: spool %q is on already", record.ErrConflict, spool)
		}
		mark := record.SpoolMark{FromSequence: b.LastSequence + 1, Spool: spool, At: s.instant()}
		if err := insertSpool(ctx, tx, b.Name, len(b.Spools)+1, mark); err != nil {
			return err
		}
		detail := fmt.Sprintf("%q to %q from coil %d", b.Spool(), spool, mark.FromSequence)
		b.Spools = append(b.Spools, mark)
		batch = b
		return s.note(ctx, tx, record.JournalEntry{Bench: b.Bench, Who: who, Action: "spool change", Subject: b.Name, Detail: detail})
	})
	return batch, err
}

// changeBatch runs fn on an open batch.
func (s batchRecords) changeBatch(ctx context.Context, tried, name, who string, fn func(*transaction, record.Batch) error) error {
	tried = fmt.Sprintf("%s %q", tried, name)
	if err := record.ValidateLabel("who", who); err != nil {
		return fmt.Errorf("%s: %w", tried, err)
	}
	return s.write(ctx, tried, func(tx *transaction) error {
		b, err := oneBatch(ctx, tx, name)
		if err != nil {
			return err
		}
		if b.ClosedAt != nil {
			return fmt.Errorf("%w: it was closed at %s", record.ErrConflict, b.ClosedAt.Format(time.RFC3339))
		}
		return fn(tx, b)
	})
}

// Batch returns the batch of a name, or ErrNotFound.
func (s batchRecords) Batch(ctx context.Context, name string) (batch record.Batch, err error) {
	err = s.read(ctx, "read batch", func(q querier) error {
		batch, err = oneBatch(ctx, q, name)
		return err
	})
	return batch, err
}

// OpenBatchOf returns the open batch of a bench, nil when there is none.
func (s batchRecords) OpenBatchOf(ctx context.Context, bench string) (batch *record.Batch, err error) {
	err = s.read(ctx, "read open batch", func(q querier) error {
		batch, err = openBatchOf(ctx, q, bench)
		return err
	})
	return batch, err
}

// Batches returns the batches that match, the latest first.
func (s batchRecords) Batches(ctx context.Context, f record.BatchFilter) (batches []record.Batch, err error) {
	limit := f.Limit
	if limit <= 0 {
		limit = record.DefaultPage
	}
	var c conditions
	c.equal("b.bench", f.Bench)
	c.equal("b.design", f.Design)
	c.equal("b.winder", f.Winder)
	if f.OpenOnly {
		c.add("b.closed_us IS NULL")
	}
	where := c.where() + ` ORDER BY b.opened_us DESC, b.name LIMIT ` + c.bind(limit)
	err = s.read(ctx, "read batches", func(q querier) error {
		batches, err = listBatches(ctx, q, where, c.args...)
		return err
	})
	return batches, err
}
