package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
)

// How far a recomputed number may lie from the stored one. Processors that
// multiply and add in one step round differently in the last bits; this is far
// above that and far below a digit anyone reads.
const (
	ratioTolerance       = 1e-9
	probabilityTolerance = 1e-6
)

const (
	restoreRemedy = "restore the latest backup that verifies"
	voidRemedy    = "void this measurement, giving the reason, and measure the coil again"
)

// Verify checks the whole history: that the file is sound, that every result
// follows from its inputs, every comparison too, every verdict from its result
// and every resistance from its readings, that no coil is missing in a batch,
// and that records do not contradict each other. What is wrong is in the Report,
// and what is by another formula, so that it was not computed again; the error
// is only for a verification that could not be finished. The progress is called
// after each thousand measurements; nil when nobody watches.
func (s measurementRecords) Verify(ctx context.Context, progress func(done, total int)) (record.Report, error) {
	report := record.Report{Faults: []record.Fault{}, NotRecomputed: []record.NotRecomputed{}}
	if progress == nil {
		progress = func(int, int) {}
	}
	err := func() error {
		faults, err := integrity(ctx, s.readers)
		report.Faults = append(report.Faults, faults...)
		if err != nil || len(faults) > 0 {
			return err // records in a broken file prove nothing
		}
		if err := s.verifyMeasurements(ctx, &report, progress); err != nil {
			return err
		}
		return s.read(ctx, "verify records", func(q querier) error { return verifyRecords(ctx, q, &report) })
	}()
	// A page that cannot be read is a finding, not a failure to find.
	if kindOf(err) == record.ErrDamaged {
		report.Faults = append(report.Faults, record.Fault{Kind: record.FaultDamage, Problem: err.Error(), Remedy: restoreRemedy})
		err = nil
	}
	return report, explain(s.path, "verify", err)
}

// integrity asks SQLite for what is wrong with the file.
func integrity(ctx context.Context, q querier) ([]record.Fault, error) {
	var faults []record.Fault
	damage := func(problem string) {
		faults = append(faults, record.Fault{Kind: record.FaultDamage, Problem: problem, Remedy: restoreRemedy})
	}
	err := rows(ctx, q, `PRAGMA integrity_check(20)`, nil, func(r *sql.Rows) error {
		var text string
		err := r.Scan(&text)
		if err == nil && text != "ok" {
			damage(text)
		}
		return err
	})
	if err != nil {
		return faults, err
	}
	err = rows(ctx, q, `PRAGMA foreign_key_check`, nil, func(r *sql.Rows) error {
		var table, parent string
		var number sql.NullInt64
		var key int
		err := r.Scan(&table, &number, &parent, &key)
		if err == nil {
			damage(fmt.Sprintf("row %d of %s refers to %s that is not there", number.Int64, table, parent))
		}
		return err
	})
	return faults, err
}

// window sums up the readings that a result is made of.
type window struct {
	count, bad int
	first, sum float64 // sum of the differences from first keeps all digits
	unreadable error   // why there is no window; nil mostly
}

func (w *window) add(value float64, status string) {
	if status != "ok" {
		w.bad++
		return
	}
	if w.count == 0 {
		w.first = value
	}
	w.count++
	w.sum += value - w.first
}

func (w *window) meanOhms() float64 { return w.first + w.sum/float64(w.count) }

// windowOf sums up the readings of one measurement.
func windowOf(readings []record.Reading) *window {
	w := &window{}
	for _, r := range readings {
		if r.Role == record.Meter && r.InWindow && !r.Outlier {
			w.add(r.Value, r.Status)
		}
	}
	return w
}

// verifyMeasurements walks through all measurements in short reads, so that it
// never keeps the log from being folded back.
func (s measurementRecords) verifyMeasurements(ctx context.Context, report *record.Report, progress func(done, total int)) error {
	const atOnce = 1000
	var total int
	if err := s.readers.QueryRowContext(ctx, `SELECT COUNT(*) FROM measurements`).Scan(&total); err != nil {
		return err
	}
	for last := int64(0); ; {
		var page []row
		windows := map[int64]*window{}
		err := s.read(ctx, "verify measurements", func(q querier) error {
			err := eachMeasurement(ctx, q, `WHERE m.number > ?1 ORDER BY m.number LIMIT ?2`, []any{last, atOnce}, func(r row) error {
				page = append(page, r)
				return nil
			})
			if err != nil || len(page) == 0 {
				return err
			}
			return fillWindows(ctx, q, page, windows, report)
		})
		if err != nil {
			return err
		}
		if len(page) == 0 {
			return nil
		}
		for _, r := range page {
			report.Faults = append(report.Faults, checkMeasurement(r.Measurement, windows[r.number])...)
			if !r20.Knows(r.Formula) {
				report.Skip("results", r.Formula, r20.Formula)
			}
		}
		last = page[len(page)-1].number
		report.Measurements += len(page)
		progress(report.Measurements, max(total, report.Measurements))
	}
}

// fillWindows sums up the readings of a page of measurements. One whose details are
// lost is left out.
func fillWindows(ctx context.Context, q querier, page []row, windows map[int64]*window, report *record.Report) error {
	from, to := page[0].number, page[len(page)-1].number
	at := map[int64]time.Time{}
	for _, r := range page {
		at[r.number] = r.Time
	}
	err := rows(ctx, q, `
		SELECT measurement, readings
		FROM measurement_details
		WHERE measurement BETWEEN ?1 AND ?2`, []any{from, to}, func(r *sql.Rows) error {
		var number int64
		var kept sql.NullString
		if err := r.Scan(&number, &kept); err != nil {
			return err
		}
		readings, err := unpackReadings(at[number], kept.String)
		w := windowOf(readings)
		w.unreadable = err
		windows[number] = w
		report.Readings += len(readings)
		return nil
	})
	if err != nil {
		return err
	}
	return rows(ctx, q, `
		SELECT measurement, value, status, in_window AND NOT outlier AND NOT is_probe
		FROM readings
		WHERE measurement BETWEEN ?1 AND ?2`, []any{from, to}, func(r *sql.Rows) error {
		var number int64
		var value float64
		var status string
		var counts bool
		if err := r.Scan(&number, &value, &status, &counts); err != nil {
			return err
		}
		report.Readings++
		if w := windows[number]; counts && w != nil {
			w.add(value, status)
		}
		return nil
	})
}

// checkMeasurement computes a measurement again from what it was computed
// from. What another formula gave stands as it was given, and what the readings of
// nil gave.
func checkMeasurement(m record.Measurement, w *window) []record.Fault {
	var faults []record.Fault
	fault := func(kind record.FaultKind, format string, args ...any) {
		faults = append(faults, record.Fault{Kind: kind, ID: m.ID, Remedy: voidRemedy,
			Problem: fmt.Sprintf("coil %q: ", m.Serial) + fmt.Sprintf(format, args...)})
	}
	if w != nil {
		checkWindow(m, *w, fault)
	}
	checkVerdict(m, fault)
	if !r20.Knows(m.Formula) {
		return faults
	}
	result, err := r20.Evaluate(m.Inputs)
	if err != nil {
		fault(record.FaultResult, "the inputs give no result: %v", err)
		return faults
	}
	for _, c := range []struct {
		name           string
		stored, expect float64
	}{
		{"r20_ohms", m.R20Ohms, result.R20Ohms},
		{"expanded_uncertainty_ohms", m.ExpandedUncertaintyOhms, result.ExpandedUncertaintyOhms},
		{"coverage_factor", m.CoverageFactor, result.CoverageFactor},
	} {
		if !near(c.stored, c.expect) {
			fault(record.FaultResult, "%s is stored as %.12g, the inputs give %.12g", c.name, c.stored, c.expect)
		}
	}
	return faults
}

func checkWindow(m record.Measurement, w window, fault func(record.FaultKind, string, ...any)) {
	switch {
	case w.unreadable != nil:
		fault(record.FaultWindow, "its readings cannot be read: %v", w.unreadable)
	case w.bad > 0:
		fault(record.FaultWindow, "%d readings of the window are not numbers", w.bad)
	case w.count == 0 && m.Status == record.Manual:
		// A typed value is its own evidence.
	case w.count != m.Inputs.Readings:
		fault(record.FaultWindow, "%d readings of the window are stored of %d", w.count, m.Inputs.Readings)
	case !near(m.ResistanceOhms, w.meanOhms()):
		fault(record.FaultWindow, "resistance_ohms is stored as %.12g, the readings give %.12g", m.ResistanceOhms, w.meanOhms())
	}
}

func checkVerdict(m record.Measurement, fault func(record.FaultKind, string, ...any)) {
	standard := m.ExpandedUncertaintyOhms / m.CoverageFactor
	judgement, err := conformity.Judge(m.R20Ohms, standard, m.ExpandedUncertaintyOhms, m.Tolerance)
	switch {
	case err != nil:
		fault(record.FaultVerdict, "the result cannot be judged: %v", err)
	case judgement.Verdict != m.Verdict:
		fault(record.FaultVerdict, "the verdict is stored as %q, the result gives %q", m.Verdict, judgement.Verdict)
	case math.Abs(judgement.Probability-m.ConformityProbability) > probabilityTolerance:
		fault(record.FaultVerdict, "conformity_probability is stored as %g, the result gives %g", m.ConformityProbability, judgement.Probability)
	}
}

func near(a, b float64) bool {
	return math.Abs(a-b) <= ratioTolerance*max(math.Abs(a), math.Abs(b))
}

// recordChecks are questions whose every answer is a fault: an id and what is
// wrong with it.
var recordChecks = []struct {
	kind   record.FaultKind
	query  string
	remedy string
}{
	{record.FaultSequence, `
		SELECT batch,
			'the coils are numbered ' || MIN(sequence) || ' to ' || MAX(sequence) || ', but only ' || COUNT(DISTINCT sequence) || ' are there'
		FROM measurements
		WHERE batch IS NOT NULL
		GROUP BY batch
		HAVING MIN(sequence) <> 1 OR MAX(sequence) <> COUNT(DISTINCT sequence)`,
		"import the rest of the batch, or " + restoreRemedy},
	{record.FaultSequence, `
		SELECT batch, 'number ' || sequence || ' belongs to ' || COUNT(DISTINCT serial) || ' coils'
		FROM measurements
		WHERE batch IS NOT NULL
		GROUP BY batch, sequence
		HAVING MIN(serial) <> MAX(serial)`,
		restoreRemedy},
	{record.FaultRecord, `
		SELECT MIN(m.id), 'coil "' || m.serial || '" has ' || COUNT(*) || ' standing measurements at stage ' || m.stage
		FROM measurements m LEFT JOIN annotations a ON a.measurement = m.number
		WHERE a.status IS NULL
		GROUP BY m.serial, m.stage
		HAVING COUNT(*) > 1`,
		"void all but one of them"},
	{record.FaultRecord, `
		SELECT u.id, 'coil "' || u.serial || '" is said to have been measured at stage ' || u.stage || ', but no such measurement is there'
		FROM unrecorded u
		WHERE u.ended_how = 'measured' AND NOT EXISTS (
			SELECT 1 FROM coils c JOIN measurements m ON m.serial = c.serial
			WHERE c.serial = u.serial COLLATE NOCASE AND m.stage = u.stage)`,
		restoreRemedy},
	{record.FaultRecord, `
		SELECT c.id, 'the cooling curve is of design "' || c.design || '", which is not there'
		FROM cooling_curves c
		WHERE NOT EXISTS (SELECT 1 FROM designs d WHERE d.name = c.design)`,
		restoreRemedy},
	{record.FaultRecord, `
		SELECT k.id, 'batch "' || k.batch || '" is said to lie beside the probe, but there is no such batch'
		FROM soaks k
		WHERE k.batch <> '' AND NOT EXISTS (SELECT 1 FROM batches b WHERE b.name = k.batch)`,
		restoreRemedy},
	{record.FaultRecord, `
		SELECT m.id, 'calibration ' || m.applied || ', which was applied to it, is not there'
		FROM (
			SELECT id, meter_calibration_id AS applied FROM measurements
			UNION ALL SELECT id, probe_calibration_id FROM measurements) m
		WHERE m.applied <> '' AND NOT EXISTS (SELECT 1 FROM calibrations c WHERE c.id = m.applied)`,
		"import the calibrations of the history that it came from, or " + restoreRemedy},
	{record.FaultRecord, `
		SELECT m.id, 'its budget, settings and readings are not there'
		FROM measurements m LEFT JOIN measurement_details d ON d.measurement = m.number
		WHERE d.measurement IS NULL`,
		restoreRemedy},
}

func verifyRecords(ctx context.Context, q querier, report *record.Report) error {
	errs := []error{verifyComparisons(ctx, q, report)}
	for _, check := range recordChecks {
		errs = append(errs, rows(ctx, q, check.query, nil, func(r *sql.Rows) error {
			f := record.Fault{Kind: check.kind, Remedy: check.remedy}
			err := r.Scan(&f.ID, &f.Problem)
			report.Faults = append(report.Faults, f)
			return err
		}))
	}
	return errors.Join(errs...)
}
