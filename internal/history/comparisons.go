package history

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"

	"coilkeep/internal/compare"
	"coilkeep/internal/record"
)

// AddComparison stores a comparison and returns it as stored; ID and Time are
// filled in when empty. The error is a *FieldError when a value cannot be right
// or the result does not follow from the input, and ErrNotFound when the
// measurement is not there.
func (s comparisonRecords) AddComparison(ctx context.Context, c record.Comparison) (record.Comparison, error) {
	c.Time = s.instantOr(c.Time)
	err := validComparison(c)
	if c.ID == "" && err == nil {
		c.ID, err = newID()
	}
	if err != nil {
		return record.Comparison{}, fmt.Errorf("add comparison: %w", err)
	}
	err = s.write(ctx, "add comparison", func(tx *transaction) error {
		if err := insertComparison(ctx, tx, c); err != nil {
			return takenID(err, c.ID)
		}
		c, err = oneComparison(ctx, tx, c.ID)
		return err
	})
	if err != nil {
		return record.Comparison{}, err
	}
	return c, nil
}

func validComparison(c record.Comparison) error {
	if (c.Serial == "") != (c.Measurement == "") {
		return record.Invalid("measurement", "must be told with a serial number, and only with one")
	}
	if c.Serial != "" && c.Serial != c.Input.Ours.Serial {
		return record.Invalid("input.ours.serial", "must be the serial number %q, not %q", c.Serial, c.Input.Ours.Serial)
	}
	if c.Result.Formula < 1 {
		return record.Invalid("result.formula", "must be at least 1, not %d", c.Result.Formula)
	}
	return cmp.Or(
		record.AllValid(record.ValidateLabel, "serial", c.Serial, "their_meter", c.TheirMeter, "by", c.By),
		record.ValidateNote("note", c.Note),
		record.ValidateLines("letter", c.Letter, record.MaxLetter),
		followsFromInput(c))
}

// followsFromInput computes a comparison of the present formula again. What an older
// formula gave stands as it was given.
func followsFromInput(c record.Comparison) error {
	if c.Result.Formula != compare.Formula {
		return nil
	}
	again, err := compare.Compare(c.Input)
	if err != nil {
		return record.Invalid("input", "gives no result: %v", err)
	}
	if problem := differs(c.Result, again); problem != "" {
		return record.Invalid("result", "does not follow from the input: %s", problem)
	}
	return nil
}

// differs says where two results of one formula differ; "" where they do not.
func differs(stored, again compare.Result) string {
	for _, n := range []struct {
		name          string
		stored, again float64
	}{
		{"expected_ohms", stored.ExpectedOhms, again.ExpectedOhms},
		{"expected_expanded_uncertainty_ohms", stored.ExpectedExpandedUncertaintyOhms, again.ExpectedExpandedUncertaintyOhms},
		{"theirs_ohms", stored.TheirsOhms, again.TheirsOhms},
		{"theirs_expanded_uncertainty_ohms", stored.TheirsExpandedUncertaintyOhms, again.TheirsExpandedUncertaintyOhms},
	} {
		if !near(n.stored, n.again) {
			return fmt.Sprintf("%s is stored as %.12g, the input gives %.12g", n.name, n.stored, n.again)
		}
	}
	if stored.Agrees != again.Agrees {
		return fmt.Sprintf("agrees is stored as %t, the input gives %t", stored.Agrees, again.Agrees)
	}
	if len(stored.Explanations) != len(again.Explanations) {
		return fmt.Sprintf("%d explanations are stored, the input gives %d", len(stored.Explanations), len(again.Explanations))
	}
	for i, x := range again.Explanations {
		if was := stored.Explanations[i]; was.Cause != x.Cause || math.Abs(was.Probability-x.Probability) > probabilityTolerance {
			return fmt.Sprintf("explanation %d is stored as %s with %.6f, the input gives %s with %.6f", i+1, was.Cause, was.Probability, x.Cause,
				x.Probability)
		}
	}
	return ""
}

func insertComparison(ctx context.Context, tx *transaction, c record.Comparison) error {
	input, err := json.Marshal(c.Input)
	if err != nil {
		return fmt.Errorf("input of comparison %s: %w", c.ID, err)
	}
	result, err := json.Marshal(c.Result)
	if err != nil {
		return fmt.Errorf("result of comparison %s: %w", c.ID, err)
	}
	measurement, err := measurementNumber(ctx, tx, c)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `
		INSERT INTO comparisons (id, time_us, serial, measurement, their_meter, letter, note, by, formula, input, result)
		VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)`,
		c.ID, c.Time.UnixMicro(), c.Serial, measurement, c.TheirMeter, c.Letter, c.Note, c.By, c.Result.Formula, string(input), string(result))
	return err
}

// measurementNumber finds the measurement that a comparison is with, and sees
// that it is of the coil and says what was compared.
func measurementNumber(ctx context.Context, q querier, c record.Comparison) (number sql.NullInt64, err error) {
	if c.Measurement == "" {
		return number, nil
	}
	var serial string
	var r20Ohms float64
	err = q.QueryRowContext(ctx, `SELECT number, serial, r20_ohms FROM measurements WHERE id = ?1`, c.Measurement).
		Scan(&number, &serial, &r20Ohms)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return number, fmt.Errorf("measurement %q %w", c.Measurement, record.ErrNotFound)
	case err != nil:
		return number, err
	case serial != c.Serial:
		return number, record.Invalid("measurement", "must be of coil %q, but %s is of coil %q", c.Serial, c.Measurement, serial)
	case !near(r20Ohms, c.Input.Ours.R20Ohms):
		return number, record.Invalid("input.ours.r20_ohms", "must be that of the measurement, %.10g, not %.10g", r20Ohms, c.Input.Ours.R20Ohms)
	}
	return number, nil
}

// eachComparison calls fn for the comparisons that a clause behind FROM picks.
func eachComparison(ctx context.Context, q querier, clause string, args []any, fn func(record.Comparison) error) error {
	return rows(ctx, q, `
		SELECT
			c.id,
			c.time_us,
			c.serial,
			COALESCE(m.id, ''),
			c.their_meter,
			c.letter,
			c.note,
			c.by,
			c.input,
			c.result,
			COALESCE(m.design, ''),
			COALESCE(m.batch, ''),
			COALESCE(m.bench, ''),
			COALESCE(m.meter, ''),
			m.id IS NOT NULL AND a.status IS NULL
		FROM comparisons c
			LEFT JOIN measurements m ON m.number = c.measurement
			LEFT JOIN annotations a ON a.measurement = m.number `+clause, args, func(r *sql.Rows) error {
		var c record.Comparison
		var timeUS int64
		var input, result string
		o := &c.Origin
		err := r.Scan(&c.ID, &timeUS, &c.Serial, &c.Measurement, &c.TheirMeter, &c.Letter, &c.Note, &c.By,
			&input, &result, &o.Design, &o.Batch, &o.Bench, &o.Meter, &o.Stands)
		if err != nil {
			return err
		}
		c.Time = fromMicros(timeUS)
		if err := json.Unmarshal([]byte(input), &c.Input); err != nil {
			return fmt.Errorf("input of comparison %s: %w", c.ID, err)
		}
		if err := json.Unmarshal([]byte(result), &c.Result); err != nil {
			return fmt.Errorf("result of comparison %s: %w", c.ID, err)
		}
		return fn(c)
	})
}

func listComparisons(ctx context.Context, q querier, clause string, args ...any) ([]record.Comparison, error) {
	list := []record.Comparison{}
	err := eachComparison(ctx, q, clause, args, func(c record.Comparison) error {
		list = append(list, c)
		return nil
	})
	return list, err
}

func exportComparisons(ctx context.Context, q querier, put func(line) error) error {
	return eachComparison(ctx, q, `ORDER BY c.number`, nil, func(c record.Comparison) error {
		return put(line{kind: "comparison", record: record.LineOfComparison(c)})
	})
}

func oneComparison(ctx context.Context, q querier, id string) (record.Comparison, error) {
	list, err := listComparisons(ctx, q, `WHERE c.id = ?1`, id)
	if err == nil && len(list) == 0 {
		err = fmt.Errorf("comparison %q %w", id, record.ErrNotFound)
	}
	if err != nil {
		return record.Comparison{}, err
	}
	return list[0], nil
}

// Comparison returns a comparison as it was stored, or ErrNotFound.
func (s comparisonRecords) Comparison(ctx context.Context, id string) (record.Comparison, error) {
	c, err := oneComparison(ctx, s.readers, id)
	return c, explain(s.path, "read comparison", err)
}

// ComparisonsOf returns the comparisons with a coil, newest first, at most
// MaxPage.
func (s comparisonRecords) ComparisonsOf(ctx context.Context, serial string) ([]record.Comparison, error) {
	list, err := listComparisons(ctx, s.readers,
		`WHERE c.serial = ?1 ORDER BY c.time_us DESC, c.number DESC LIMIT ?2`, serial, record.MaxPage)
	return list, explain(s.path, "list comparisons of coil "+serial, err)
}

// Comparisons returns one page of the comparisons that match, newest first, and
// the cursor for ComparisonFilter.After of the next page, empty when this is the
// last one.
func (s comparisonRecords) Comparisons(ctx context.Context, f record.ComparisonFilter) (page []record.Comparison, next string, err error) {
	limit, err := limitOf(record.Filter{Limit: f.Limit})
	if err != nil {
		return nil, "", fmt.Errorf("list comparisons: %w", err)
	}
	err = s.read(ctx, "list comparisons", func(q querier) error {
		var c conditions
		c.equal("c.serial", f.Serial)
		c.equal("m.design", f.Design)
		if f.After != "" {
			var timeUS, number int64
			err := q.QueryRowContext(ctx, `SELECT time_us, number FROM comparisons WHERE id = ?1`, f.After).Scan(&timeUS, &number)
			if errors.Is(err, sql.ErrNoRows) {
				return record.Invalid("after", "must be the id of a comparison (the next of the page before), not %q", f.After)
			}
			if err != nil {
				return err
			}
			c.add("(c.time_us, c.number) < (" + c.bind(timeUS) + ", " + c.bind(number) + ")")
		}
		var err error
		page, err = listComparisons(ctx, q, c.where()+` ORDER BY c.time_us DESC, c.number DESC LIMIT `+c.bind(limit+1), c.args...)
		return err
	})
	if err != nil {
		return nil, "", err
	}
	if len(page) > limit {
		page = page[:limit]
		next = page[limit-1].ID
	}
	return page, next, nil
}

// verifyComparisons computes every comparison of the present formula again.
func verifyComparisons(ctx context.Context, q querier, report *record.Report) error {
	return eachComparison(ctx, q, `ORDER BY c.number`, nil, func(c record.Comparison) error {
		if c.Result.Formula != compare.Formula {
			report.Skip("comparisons", c.Result.Formula, compare.Formula)
		}
		if err := followsFromInput(c); err != nil {
			report.Faults = append(report.Faults, record.Fault{Kind: record.FaultResult, ID: c.ID,
				Problem: "comparison: " + err.Error(), Remedy: restoreRemedy})
		}
		return nil
	})
}
