package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"

	"coilkeep/internal/record"
)

// newestFirst puts the newest record first.
const newestFirst = ` ORDER BY time_us DESC, number DESC`

// conditions collects the terms of a WHERE clause with their arguments.
type conditions struct {
	terms []string
	args  []any
}

// bind adds an argument and returns its placeholder.
func (c *conditions) bind(value any) string {
	c.args = append(c.args, value)
	return fmt.Sprintf("?%d", len(c.args))
}

func (c *conditions) add(term string) { c.terms = append(c.terms, term) }

// equal adds column = value unless value is empty.
func (c *conditions) equal(column, value string) {
	if value != "" {
		c.add(column + " = " + c.bind(value))
	}
}

// between adds a half-open range of times.
func (c *conditions) between(column string, from, to time.Time) {
	if !from.IsZero() {
		c.add(column + " >= " + c.bind(from.UnixMicro()))
	}
	if !to.IsZero() {
		c.add(column + " < " + c.bind(to.UnixMicro()))
	}
}

func (c *conditions) where() string {
	if len(c.terms) == 0 {
		return ""
	}
	return "WHERE " + strings.Join(c.terms, " AND ")
}

// pickedBy turns the filter, but for its cursor, into terms over
// measurements m. The plus sign keeps SQLite from choosing the index of a
// column when a more selective one is there.
func pickedBy(f record.Filter) conditions {
	var c conditions
	serial, batch, design, bench := "m.serial", "m.batch", "m.design", "m.bench"
	switch {
	case f.Serial != "":
		batch, design, bench = "+m.batch", "+m.design", "+m.bench"
	case f.Batch != "":
		design, bench = "+m.design", "+m.bench"
	}
	c.equal(serial, f.Serial)
	c.equal(batch, f.Batch)
	c.equal(design, f.Design)
	c.equal(bench, f.Bench)
	c.between("m.time_us", f.From, f.To)
	return c
}

// orderOf is the sorting of pages; ties in time go by the order of recording.
func orderOf(f record.Filter) string {
	if f.Newest {
		return " ORDER BY m.time_us DESC, m.number DESC"
	}
	return " ORDER BY m.time_us, m.number"
}

// afterCursor adds that only measurements behind the cursor are wanted.
func afterCursor(ctx context.Context, q querier, f record.Filter, c *conditions) error {
	if f.After == "" {
		return nil
	}
	var timeUS, number int64
	err := q.QueryRowContext(ctx, `SELECT time_us, number FROM measurements WHERE id = ?1`, f.After).Scan(&timeUS, &number)
	if errors.Is(err, sql.ErrNoRows) {
		return record.Invalid("after", "must be the id of a measurement (the next of the page before), not %q", f.After)
	}
	if err != nil {
		return err
	}
	sign := " > "
	if f.Newest {
		sign = " < "
	}
	c.add("(m.time_us, m.number)" + sign + "(" + c.bind(timeUS) + ", " + c.bind(number) + ")")
	return nil
}

func limitOf(f record.Filter) (int, error) {
	switch {
	case f.Limit == 0:
		return record.DefaultPage, nil
	case f.Limit < 0 || f.Limit > record.MaxPage:
		return 0, record.Invalid("limit", "must be 1 to %d, not %d", record.MaxPage, f.Limit)
	}
	return f.Limit, nil
}
