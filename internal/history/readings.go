package history

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"
	"time"

	"coilkeep/internal/record"
)

// The readings of a measurement are kept as one JSON list, with a list for each:
//
//	[microseconds since the one before, marks, raw text, value, resolution, status, reason]
//
// The first counts from the time of the measurement. What is null or missing at the
// end follows: the value from the raw text, the resolution from the reading before
// of that instrument, the status is ok and the reason empty. Measurements of older
// schemas have a row for each reading instead, in the table readings.
const (
	sinceField = iota
	marksField
	rawField
	valueField
	resolutionField
	statusField
	reasonField
	readingFields
)

// The marks of a reading, to be added.
const (
	probeMark = 1 << iota
	windowMark
	outlierMark
)

// packReadings is the list that is kept of the readings of a measurement of a time.
func packReadings(at time.Time, readings []record.Reading) (string, error) {
	if len(readings) == 0 {
		return "", nil
	}
	before := at.UnixMicro()
	resolutions := map[record.Role]float64{}
	list := make([][]any, len(readings))
	for i, r := range readings {
		us := r.Time.UnixMicro()
		fields := make([]any, readingFields)
		fields[sinceField], fields[marksField], fields[rawField] = us-before, marksOf(r), r.Raw
		if !sameFloat(r.Value, rawValue(r.Raw, r.Status)) {
			fields[valueField] = r.Value
		}
		if !sameFloat(r.Resolution, resolutions[r.Role]) {
			fields[resolutionField] = r.Resolution
		}
		if r.Status != "ok" {
			fields[statusField] = r.Status
		}
		if r.Reason != "" {
			fields[reasonField] = r.Reason
		}
		for fields[len(fields)-1] == nil {
			fields = fields[:len(fields)-1]
		}
		before, resolutions[r.Role], list[i] = us, r.Resolution, fields
	}
	var text bytes.Buffer
	encoder := json.NewEncoder(&text)
	encoder.SetEscapeHTML(false)
	err := encoder.Encode(list)
	return string(bytes.TrimSpace(text.Bytes())), err
}

// unpackReadings gives back what was packed.
func unpackReadings(at time.Time, text string) ([]record.Reading, error) {
	if text == "" {
		return []record.Reading{}, nil
	}
	var list [][]json.RawMessage
	if err := json.Unmarshal([]byte(text), &list); err != nil {
		return nil, err
	}
	before := at.UnixMicro()
	resolutions := map[record.Role]float64{}
	readings := make([]record.Reading, len(list))
	for i, fields := range list {
		if len(fields) <= rawField || len(fields) > readingFields {
			return nil, fmt.Errorf("reading %d has %d fields", i+1, len(fields))
		}
		r := &readings[i]
		var since int64
		var marks int
		err := errors.Join(json.Unmarshal(fields[sinceField], &since), json.Unmarshal(fields[marksField], &marks),
			json.Unmarshal(fields[rawField], &r.Raw))
		r.Status = "ok"
		for field, place := range map[int]any{statusField: &r.Status, reasonField: &r.Reason} {
			err = errors.Join(err, unpackField(fields, field, place))
		}
		r.Role = record.Meter
		if marks&probeMark != 0 {
			r.Role = record.Probe
		}
		r.Value, r.Resolution = rawValue(r.Raw, r.Status), resolutions[r.Role]
		err = errors.Join(err, unpackField(fields, valueField, &r.Value), unpackField(fields, resolutionField, &r.Resolution))
		if err != nil {
			return nil, fmt.Errorf("reading %d: %w", i+1, err)
		}
		r.InWindow, r.Outlier = marks&windowMark != 0, marks&outlierMark != 0
		before += since
		r.Time, resolutions[r.Role] = fromMicros(before), r.Resolution
	}
	return readings, nil
}

// unpackField leaves a place as it is when the field is null or missing.
func unpackField(fields []json.RawMessage, field int, place any) error {
	if field >= len(fields) {
		return nil
	}
	return json.Unmarshal(fields[field], place)
}

func marksOf(r record.Reading) (marks int) {
	for mark, set := range map[int]bool{probeMark: r.Role == record.Probe, windowMark: r.InWindow, outlierMark: r.Outlier} {
		if set {
			marks |= mark
		}
	}
	return marks
}

// rawValue is the value that a raw text shows by itself, 0 where it shows none.
func rawValue(raw, status string) float64 {
	value, err := strconv.ParseFloat(raw, 64)
	if err != nil || status != "ok" {
		return 0
	}
	return value
}

// sameFloat is true for the same number with the same sign, of 0 too.
func sameFloat(a, b float64) bool { return math.Float64bits(a) == math.Float64bits(b) }

// readingsOf returns the readings of a measurement in their order, from the list
// that was kept of them or, where that is NULL, from their rows.
func readingsOf(ctx context.Context, q querier, r row, kept sql.NullString) ([]record.Reading, error) {
	if kept.Valid {
		readings, err := unpackReadings(r.Time, kept.String)
		if err != nil {
			err = fmt.Errorf("readings of measurement %s: %w", r.ID, err)
		}
		return readings, err
	}
	readings := []record.Reading{}
	err := rows(ctx, q, `
		SELECT time_us, is_probe, value, resolution, status, reason, raw, in_window, outlier
		FROM readings
		WHERE measurement = ?1
		ORDER BY position`, []any{r.number}, func(found *sql.Rows) error {
		reading := record.Reading{Role: record.Meter}
		var isProbe bool
		err := found.Scan((*micros)(&reading.Time), &isProbe, &reading.Value, &reading.Resolution, &reading.Status, &reading.Reason,
			&reading.Raw, &reading.InWindow, &reading.Outlier)
		if isProbe {
			reading.Role = record.Probe
		}
		readings = append(readings, reading)
		return err
	})
	return readings, err
}
