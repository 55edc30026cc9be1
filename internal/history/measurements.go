package history

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"coilkeep/internal/record"
)

// measurementColumns are in the order scanMeasurement reads them.
var measurementColumns = `m.number, ` + measurements.columns("m.") + `,
	COALESCE(a.status, ''), a.time_us, COALESCE(a.reason, ''), COALESCE(a.who, ''), COALESCE(a.superseded_by, '')`

const measurementTables = ` FROM measurements m LEFT JOIN annotations a ON a.measurement = m.number `

// row is a measurement as it was recorded, with its place in the file and what
// was said of it later.
type row struct {
	number int64
	record.Measurement
	annotation annotation
}

// annotation withdraws a measurement. The zero value means it is live.
type annotation struct {
	Status       record.Status `json:"status"` // Void or Superseded
	Time         time.Time     `json:"time"`
	Reason       string        `json:"reason"`
	Who          string        `json:"who,omitempty"`
	SupersededBy string        `json:"superseded_by,omitempty"`
}

func (a annotation) live() bool { return a.Status == "" }

// today is the measurement as it stands now.
func (r row) today() record.Measurement {
	m := r.Measurement
	if !r.annotation.live() {
		m.Status, m.Reason = r.annotation.Status, r.annotation.Reason
	}
	return m
}

func scanMeasurement(scan func(...any) error) (row, error) {
	var r row
	a := &r.annotation
	places := append([]any{&r.number}, measurements.places(&r.Measurement)...)
	places = append(places, &a.Status, (*micros)(&a.Time), &a.Reason, &a.Who, &a.SupersededBy)
	if err := scan(places...); err != nil {
		return row{}, err
	}
	return r, measurements.Finish(&r.Measurement)
}

// pack is the JSON of a list, or "" when it is empty.
func pack[T any](list []T) (string, error) {
	if len(list) == 0 {
		return "", nil
	}
	text, err := json.Marshal(list)
	return string(text), err
}

func unpack[T any](text string) (value T, err error) {
	if text == "" {
		return value, nil
	}
	err = json.Unmarshal([]byte(text), &value)
	return value, err
}

// eachMeasurement calls fn for the measurements that a clause behind FROM
// picks, without details.
func eachMeasurement(ctx context.Context, q querier, clause string, args []any, fn func(row) error) error {
	return rows(ctx, q, `SELECT `+measurementColumns+measurementTables+clause, args, func(r *sql.Rows) error {
		m, err := scanMeasurement(r.Scan)
		if err != nil {
			return err
		}
		return fn(m)
	})
}

// oneMeasurement returns a measurement as recorded, without details, or
// ErrNotFound.
func oneMeasurement(ctx context.Context, q querier, id string) (row, error) {
	r, err := scanMeasurement(q.QueryRowContext(ctx,
		`SELECT `+measurementColumns+measurementTables+`WHERE m.id = ?1`, id).Scan)
	if errors.Is(err, sql.ErrNoRows) {
		return row{}, fmt.Errorf("measurement %q %w", id, record.ErrNotFound)
	}
	return r, err
}

// wholeMeasurement returns a measurement as recorded, with its details and its
// readings in their order, or ErrNotFound.
func wholeMeasurement(ctx context.Context, q querier, id string) (row, []record.Reading, error) {
	r, err := oneMeasurement(ctx, q, id)
	if err != nil {
		return row{}, nil, err
	}
	readings, err := addDetails(ctx, q, &r)
	return r, readings, err
}

// addDetails fills in what lists leave out, and returns the readings.
func addDetails(ctx context.Context, q querier, r *row) ([]record.Reading, error) {
	var words, budget, settings, about string
	var readings sql.NullString
	err := q.QueryRowContext(ctx, `
		SELECT COALESCE(w.json, ''), d.budget, COALESCE(s.json, ''), d.context, d.readings
		FROM measurement_details d
			LEFT JOIN budget_words w ON w.number = d.budget_words
			LEFT JOIN capture_settings s ON s.number = d.settings
		WHERE d.measurement = ?1`, r.number).Scan(&words, &budget, &settings, &about, &readings)
	if err != nil {
		return nil, fmt.Errorf("details of measurement %s: %w", r.ID, err)
	}
	if r.Budget, err = joinBudget(words, budget); err != nil {
		return nil, fmt.Errorf("budget of measurement %s: %w", r.ID, err)
	}
	r.Settings, r.Context = rawJSON(settings), rawJSON(about)
	return readingsOf(ctx, q, *r, readings)
}

func rawJSON(text string) json.RawMessage {
	if text == "" {
		return nil
	}
	return json.RawMessage(text)
}

// Measurement returns a measurement as it stands today, with its budget,
// settings and readings, or ErrNotFound.
func (s measurementRecords) Measurement(ctx context.Context, id string) (m record.Measurement, readings []record.Reading, err error) {
	err = s.read(ctx, "read measurement", func(q querier) error {
		r, found, err := wholeMeasurement(ctx, q, id)
		m, readings = r.today(), found
		return err
	})
	return m, readings, err
}

// Measurements returns one page of the measurements that match, in order of
// time, as they stand today, and the cursor for Filter.After of the next page,
// empty when this is the last one. To stay light a page carries no Budget,
// Settings and Context; Measurement does.
func (s measurementRecords) Measurements(ctx context.Context, f record.Filter) (page []record.Measurement, next string, err error) {
	limit, err := limitOf(f)
	if err != nil {
		return nil, "", fmt.Errorf("list measurements: %w", err)
	}
	page = []record.Measurement{}
	err = s.read(ctx, "list measurements", func(q querier) error {
		if f.Serial != "" {
			if f.Serial, err = spelled(ctx, q, f.Serial); err != nil {
				return err
			}
		}
		c := pickedBy(f)
		if err := afterCursor(ctx, q, f, &c); err != nil {
			return err
		}
		clause := c.where() + orderOf(f) + " LIMIT " + c.bind(limit+1)
		return eachMeasurement(ctx, q, clause, c.args, func(r row) error {
			page = append(page, r.today())
			return nil
		})
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
