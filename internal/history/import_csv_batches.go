package history

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"

	"coilkeep/internal/record"
)

// batches gives each new coil its place in its batch and makes the batches
// that are not there.
func (j *csvImporter) batches(ctx context.Context, coils []*typedCoil) error {
	var names []string
	of := map[string][]*typedCoil{}
	for _, c := range coils {
		if c.m.Batch != "" && of[c.m.Batch] == nil {
			names = append(names, c.m.Batch)
		}
		of[c.m.Batch] = append(of[c.m.Batch], c)
	}
	for _, c := range coils {
		c.explain(j.options.File)
	}
	for _, name := range names {
		list := of[name]
		slices.SortStableFunc(list, func(a, b *typedCoil) int { return cmp.Compare(a.m.Sequence, b.m.Sequence) })
		if err := j.number(ctx, name, list); err != nil {
			return err
		}
		_, err := oneBatch(ctx, j.tx, name)
		if errors.Is(err, record.ErrNotFound) {
			err = j.makeBatch(ctx, name, list)
		}
		if err != nil {
			return fmt.Errorf("line %d: %w", list[0].line, err)
		}
	}
	return nil
}

// explain says in the reason where a measurement came from.
func (c *typedCoil) explain(file string) {
	came := fmt.Sprintf("from %s, line %d", file, c.line)
	if s := c.m.Status; s == record.Recorded || s == record.Forced {
		came += ", where it is " + string(s)
	}
	if c.m.Reason != "" {
		came += ": " + c.m.Reason
	}
	c.m.Status, c.m.Reason = record.Manual, came
}

// number numbers the new coils of a batch on from those it has. A number of
// the file gives the order; where coils before it are not in the file, or were
// left out, it cannot be kept, for a batch has no holes. The notes say so then.
func (j *csvImporter) number(ctx context.Context, batch string, coils []*typedCoil) error {
	var stored int
	err := j.tx.QueryRowContext(ctx, `SELECT COALESCE(MAX(sequence), 0) FROM measurements WHERE batch = ?1`, batch).Scan(&stored)
	if err != nil {
		return err
	}
	last, numbers := stored, map[string]int{}
	for _, c := range coils {
		told := c.m.Sequence
		number, err := j.numberOf(ctx, c, numbers)
		if err != nil {
			return err
		}
		if number == 0 {
			if told != 0 && told <= stored {
				return fmt.Errorf("line %d, column sequence: batch %s has %d coils already, and coil %s, number %d of the file, is none of them; "+
					"give the batch of the file another name",
					c.line, batch, stored, c.m.Serial, told)
			}
			last++
			number = last
		}
		numbers[c.m.Serial], c.m.Sequence = number, number
		if told != 0 && told != number {
			j.counts.Renumbered++
			c.m.Notes = append(c.m.Notes, fmt.Sprintf("coil %d of its batch in the file", told))
		}
	}
	return nil
}

// numberOf is the number a coil has in its batch, 0 when it has none yet.
func (j *csvImporter) numberOf(ctx context.Context, c *typedCoil, numbers map[string]int) (number int, err error) {
	if number, ok := numbers[c.m.Serial]; ok {
		return number, nil
	}
	err = j.tx.QueryRowContext(ctx, `SELECT sequence FROM measurements WHERE serial = ?1 AND +batch = ?2 LIMIT 1`,
		c.m.Serial, c.m.Batch).Scan(&number)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil
	}
	return number, err
}

// makeBatch makes the batch of coils that are in the order of winding. It is
// closed: nothing more will be wound in it.
func (j *csvImporter) makeBatch(ctx context.Context, name string, coils []*typedCoil) error {
	first := coils[0].m
	b := record.Batch{Name: name, Bench: first.Bench, Design: first.Design, DesignRevision: first.DesignRevision,
		Winder: first.Winder, Operator: first.Operator, OpenedAt: first.Time}
	closed := first.Time
	for _, c := range coils {
		m := c.m
		if m.Winder != b.Winder { // then each coil says its own
			b.Winder = ""
		}
		if m.Operator != b.Operator {
			b.Operator = ""
		}
		if m.Time.Before(b.OpenedAt) {
			b.OpenedAt = m.Time
		}
		if m.Time.After(closed) {
			closed = m.Time
		}
		if m.Spool != "" && m.Spool != b.Spool() {
			b.Spools = append(b.Spools, record.SpoolMark{FromSequence: m.Sequence, Spool: m.Spool, At: m.Time})
		}
	}
	b.ClosedAt = &closed
	if err := record.ValidateBatch(b); err != nil {
		return err
	}
	j.counts.Batches++
	return insertBatch(ctx, j.tx, b)
}
