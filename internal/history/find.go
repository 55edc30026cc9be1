package history

import (
	"cmp"
	"context"
	"database/sql"
	"slices"
	"strings"

	"coilkeep/internal/conformity"
	"coilkeep/internal/record"
)

// FindCoils returns the coils whose serial number begins with prefix, the
// highest serial number first, at most limit, and whether there are more. Of
// each coil it returns the newest measurement that stands, or the newest one
// when none does; as in a list, without details. Capitals do not matter for the
// letters A to Z, as with every serial number; beyond them a prefix finds serial
// numbers written as told, all in capitals or all in small letters.
func (s coilRecords) FindCoils(ctx context.Context, prefix string, limit int) (coils []record.Measurement, more bool, err error) {
	err = s.read(ctx, "find coils", func(q querier) error {
		serials, err := serialsBeginning(ctx, q, prefix, limit+1)
		if err != nil {
			return err
		}
		if more = len(serials) > limit; more {
			serials = serials[:limit]
		}
		coils = make([]record.Measurement, 0, len(serials))
		for _, serial := range serials {
			m, err := newestOf(ctx, q, serial)
			if err != nil {
				return err
			}
			coils = append(coils, m)
		}
		return nil
	})
	return coils, more, err
}

// lastCodePoint is the last one there is: no text sorts behind it.
const lastCodePoint = "\U0010FFFF"

// beginning picks serial numbers that begin with ?1, regardless of capitals, in
// falling order; ?2 is lastCodePoint.
const beginning = `
	SELECT serial
	FROM coils
	WHERE serial >= ?1 COLLATE NOCASE AND serial <= ?1 || ?2 COLLATE NOCASE
	ORDER BY serial COLLATE NOCASE DESC
	LIMIT ?3`

// serialsBeginning returns serial numbers in falling order.
func serialsBeginning(ctx context.Context, q querier, prefix string, limit int) ([]string, error) {
	var serials []string
	for _, p := range spellings(prefix) {
		err := rows(ctx, q, beginning, []any{p, lastCodePoint, limit}, func(r *sql.Rows) error {
			var serial string
			err := r.Scan(&serial)
			serials = append(serials, serial)
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	slices.SortFunc(serials, func(a, b string) int {
		return cmp.Or(strings.Compare(inSmall(b), inSmall(a)), strings.Compare(b, a))
	})
	serials = slices.Compact(serials)
	return serials[:min(len(serials), limit)], nil
}

// inSmall is a serial number as SQLite sorts it without regard to capitals.
func inSmall(serial string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'A' && r <= 'Z' {
			return r - 'A' + 'a'
		}
		return r
	}, serial)
}

// spellings are the ways a serial number typed as text may be written, as far as
// SQLite tells them apart.
func spellings(text string) []string {
	list := []string{inSmall(text), inSmall(strings.ToUpper(text)), strings.ToLower(text)}
	slices.Sort(list)
	return slices.Compact(list)
}

// newestOf returns the newest measurement of a coil that stands, or the newest
// one when none does.
func newestOf(ctx context.Context, q querier, serial string) (record.Measurement, error) {
	var newest *row
	err := eachMeasurement(ctx, q, `WHERE m.serial = ?1 ORDER BY m.time_us, m.number`, []any{serial}, func(r row) error {
		if newest == nil || r.annotation.live() || !newest.annotation.live() {
			newest = &r
		}
		return nil
	})
	if err != nil || newest == nil {
		return record.Measurement{}, err
	}
	return newest.today(), nil
}

// FindBatches returns one page of the batches that match, the latest first,
// and the cursor for BatchSearch.After of the next page, empty when this is the
// last one. It is ErrNotFound when After names no batch.
func (s coilRecords) FindBatches(ctx context.Context, search record.BatchSearch) (page []record.Batch, next string, err error) {
	limit := search.Limit
	if limit <= 0 {
		limit = record.DefaultPage
	}
	err = s.read(ctx, "find batches", func(q querier) error {
		var c conditions
		c.equal("b.design", search.Design)
		c.between("b.opened_us", search.OpenedFrom, search.OpenedTo)
		if search.Text != "" {
			text := c.bind(search.Text)
			c.add(`(instr(lower(b.name || char(10) || b.design || char(10) || b.winder || char(10) || b.operator), lower(` + text + `)) > 0
				OR EXISTS (SELECT 1 FROM batch_spools p WHERE p.batch = b.name AND instr(lower(p.spool), lower(` + text + `)) > 0))`)
		}
		if search.After != "" {
			last, err := oneBatch(ctx, q, search.After)
			if err != nil {
				return err
			}
			at, name := c.bind(last.OpenedAt.UnixMicro()), c.bind(last.Name)
			c.add("(b.opened_us < " + at + " OR b.opened_us = " + at + " AND b.name > " + name + ")")
		}
		page, err = listBatches(ctx, q, c.where()+` ORDER BY b.opened_us DESC, b.name LIMIT `+c.bind(limit+1), c.args...)
		return err
	})
	if err != nil {
		return nil, "", err
	}
	if len(page) > limit {
		page = page[:limit]
		next = page[limit-1].Name
	}
	return page, next, nil
}

// BatchVerdicts counts the coils of each of the batches by the verdict of the
// newest measurement that stands. A batch without such a coil is not in the
// map.
func (s coilRecords) BatchVerdicts(ctx context.Context, batches ...string) (map[string]record.Verdicts, error) {
	counts := map[string]record.Verdicts{}
	err := s.read(ctx, "count verdicts of batches", func(q querier) error {
		list, err := pack(batches)
		if err != nil || list == "" {
			return err
		}
		// SQLite takes the verdict from the row that holds the maximum
		// (https://www.sqlite.org/lang_select.html#bareagg).
		return rows(ctx, q, `
			SELECT m.batch, m.verdict, MAX(m.time_us)`+measurementTables+`
			WHERE m.batch IN (SELECT value FROM json_each(?1)) AND a.status IS NULL
			GROUP BY m.batch, m.serial`, []any{list}, func(r *sql.Rows) error {
			var batch string
			var verdict conformity.Verdict
			var newestUS int64
			err := r.Scan(&batch, &verdict, &newestUS)
			if counts[batch] == nil {
				counts[batch] = record.Verdicts{}
			}
			counts[batch][verdict]++
			return err
		})
	})
	return counts, err
}

// EachUse calls fn for every measurement that an instrument was used for, in
// order of time, as it stands today, with its Inputs but without Budget,
// Settings and Context. An error of fn ends it and is returned; see errors.Is.
func (s coilRecords) EachUse(ctx context.Context, f record.UseFilter, fn func(record.Measurement) error) error {
	column := "+m.meter"
	if f.Role == record.Probe {
		column = "+m.probe"
	}
	c := conditions{}
	c.add("m.bench = " + c.bind(f.Bench))
	c.add(column + " = " + c.bind(f.Identity))
	c.between("m.time_us", f.From, f.To)
	return s.read(ctx, "list what an instrument measured", func(q querier) error {
		return eachMeasurement(ctx, q, c.where()+orderOf(record.Filter{}), c.args, func(r row) error { return fn(r.today()) })
	})
}
