package history

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"coilkeep/internal/record"
	"coilkeep/internal/uncertainty"
)

// measurementColumns are in the order scanMeasurement reads them.
const measurementColumns = `
	m.number,
	m.id,
	m.time_us,
	m.bench,
	COALESCE(m.batch, ''),
	m.sequence,
	m.design,
	m.design_revision,
	m.serial,
	m.resistance_ohms,
	m.temperature_celsius,
	m.r20_ohms,
	m.expanded_uncertainty_ohms,
	m.coverage_factor,
	m.verdict,
	m.conformity_probability,
	m.status,
	m.reason,
	m.spool,
	m.winder,
	m.operator,
	m.meter,
	m.probe,
	m.stage,
	m.alpha_per_kelvin,
	m.formula,
	m.readings,
	m.standard_deviation_ohms,
	m.resolution_ohms,
	m.drift_ohms,
	m.meter_percent,
	m.meter_ohms,
	m.correction_ratio,
	m.lead_ohms,
	m.lead_half_width_ohms,
	m.probe_half_width_kelvin,
	m.coil_difference_half_width_kelvin,
	m.alpha_standard_uncertainty_per_kelvin,
	m.lower_ohms,
	m.upper_ohms,
	m.guard_factor,
	m.notes,
	m.supersedes,
	m.capture_seconds,
	m.told_expanded_uncertainty_ohms,
	m.told_coverage_factor,
	m.copper_excess_kelvin,
	m.copper_excess_uncertainty_kelvin,
	m.copper_excess_origin,
	COALESCE(a.status, ''),
	a.time_us,
	COALESCE(a.reason, ''),
	COALESCE(a.who, ''),
	COALESCE(a.superseded_by, '')`

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
	m, in, a := &r.Measurement, &r.Inputs, &r.annotation
	var timeUS int64
	var withdrawnUS sql.NullInt64
	var notes string
	err := scan(&r.number, &m.ID, &timeUS, &m.Bench, &m.Batch, &m.Sequence, &m.Design, &m.DesignRevision, &m.Serial,
		&m.ResistanceOhms, &m.TemperatureCelsius, &m.R20Ohms, &m.ExpandedUncertaintyOhms, &m.CoverageFactor,
		&m.Verdict, &m.ConformityProbability, &m.Status, &m.Reason, &m.Spool, &m.Winder, &m.Operator,
		&m.Meter, &m.Probe, &m.Stage, &m.AlphaPerKelvin, &m.Formula,
		&in.Readings, &in.StandardDeviationOhms, &in.ResolutionOhms, &in.DriftOhms, &in.MeterPercent, &in.MeterOhms,
		&in.CorrectionRatio, &in.LeadOhms, &in.LeadHalfWidthOhms, &in.ProbeHalfWidthKelvin,
		&in.CoilDifferenceHalfWidthKelvin, &in.AlphaStandardUncertaintyPerKelvin,
		&m.Tolerance.LowerOhms, &m.Tolerance.UpperOhms, &m.Tolerance.GuardFactor, &notes, &m.Supersedes, &m.CaptureSeconds,
		&in.ToldExpandedUncertaintyOhms, &in.ToldCoverageFactor,
		&in.CopperExcessKelvin, &in.CopperExcessUncertaintyKelvin, &in.CopperExcessOrigin,
		&a.Status, &withdrawnUS, &a.Reason, &a.Who, &a.SupersededBy)
	if err != nil {
		return row{}, err
	}
	m.Time, a.Time = fromMicros(timeUS), fromNullMicros(withdrawnUS)
	// Kept once; insertMeasurement has seen that both are the same.
	in.ResistanceOhms, in.TemperatureCelsius, in.AlphaPerKelvin = m.ResistanceOhms, m.TemperatureCelsius, m.AlphaPerKelvin
	if m.Notes, err = unpack[[]string](notes); err != nil {
		return row{}, fmt.Errorf("notes of measurement %s: %w", m.ID, err)
	}
	return r, nil
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

// oneMeasurement returns a measurement as recorded, with its details, or
// ErrNotFound.
func oneMeasurement(ctx context.Context, q querier, id string) (row, error) {
	r, err := scanMeasurement(q.QueryRowContext(ctx,
		`SELECT `+measurementColumns+measurementTables+`WHERE m.id = ?1`, id).Scan)
	if errors.Is(err, sql.ErrNoRows) {
		return row{}, fmt.Errorf("measurement %q %w", id, record.ErrNotFound)
	}
	if err != nil {
		return row{}, err
	}
	return r, addDetails(ctx, q, &r)
}

// addDetails fills in what lists leave out.
func addDetails(ctx context.Context, q querier, r *row) error {
	var budget, settings, about string
	err := q.QueryRowContext(ctx, `
		SELECT d.budget, COALESCE(s.json, ''), d.context
		FROM measurement_details d LEFT JOIN capture_settings s ON s.number = d.settings
		WHERE d.measurement = ?1`, r.number).Scan(&budget, &settings, &about)
	if err != nil {
		return fmt.Errorf("details of measurement %s: %w", r.ID, err)
	}
	if r.Budget, err = unpack[[]uncertainty.Component](budget); err != nil {
		return fmt.Errorf("budget of measurement %s: %w", r.ID, err)
	}
	r.Settings, r.Context = rawJSON(settings), rawJSON(about)
	return nil
}

func rawJSON(text string) json.RawMessage {
	if text == "" {
		return nil
	}
	return json.RawMessage(text)
}

// readingsOf returns the stored readings of a measurement in their order.
func readingsOf(ctx context.Context, q querier, number int64) ([]record.Reading, error) {
	readings := []record.Reading{}
	err := rows(ctx, q, `
		SELECT time_us, is_probe, value, resolution, status, reason, raw, in_window, outlier
		FROM readings
		WHERE measurement = ?1
		ORDER BY position`, []any{number}, func(r *sql.Rows) error {
		var reading record.Reading
		var timeUS int64
		var isProbe bool
		err := r.Scan(&timeUS, &isProbe, &reading.Value, &reading.Resolution, &reading.Status, &reading.Reason,
			&reading.Raw, &reading.InWindow, &reading.Outlier)
		reading.Time = fromMicros(timeUS)
		reading.Role = record.Meter
		if isProbe {
			reading.Role = record.Probe
		}
		readings = append(readings, reading)
		return err
	})
	return readings, err
}

// Measurement returns a measurement as it stands today, with its budget,
// settings and readings, or ErrNotFound.
func (s *Store) Measurement(ctx context.Context, id string) (m record.Measurement, readings []record.Reading, err error) {
	err = s.read(ctx, "read measurement", func(q querier) error {
		r, err := oneMeasurement(ctx, q, id)
		if err != nil {
			return err
		}
		m = r.today()
		readings, err = readingsOf(ctx, q, r.number)
		return err
	})
	return m, readings, err
}

// Measurements returns one page of the measurements that match, in order of
// time, as they stand today, and the cursor for Filter.After of the next page,
// empty when this is the last one. To stay light a page carries no Budget,
// Settings and Context; Measurement does.
func (s *Store) Measurements(ctx context.Context, f record.Filter) (page []record.Measurement, next string, err error) {
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
		if err := beyond(ctx, q, f, &c); err != nil {
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
