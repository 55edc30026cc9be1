package history

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"reflect"

	"coilkeep/internal/record"
)

// Record stores a measurement with its readings and returns it as stored. When
// it returns nil, both are on the disk.
//
// It fills in the ID when empty, and the Sequence: that of the coil when it was
// measured in this batch before, otherwise the next one; 0 without a batch. A
// Supersedes withdraws the measurement it names, with Reason as the reason.
//
// When it fails the returned measurement still carries the ID to try again
// with: the same measurement under the same ID is stored once, however often
// it is recorded. The errors are a *FieldError; ErrNotFound for a design,
// batch or measurement that is not there; ErrDuplicate when the coil has a
// measurement at this stage that stands and is not superseded; ErrConflict
// when something else contradicts what is stored; or trouble with the file.
func (s measurementRecords) Record(ctx context.Context, m record.Measurement, readings []record.Reading) (record.Measurement, error) {
	return s.RecordBy(ctx, m, readings, "")
}

// RecordBy is [Store.Record] for a measurement that somebody asked for, who is
// named in the journal where it is forced or supersedes another. Who wound the
// coil is its Operator.
func (s measurementRecords) RecordBy(
	ctx context.Context, m record.Measurement, readings []record.Reading, who string,
) (record.Measurement, error) {
	m, readings, err := normalise(m, readings)
	tried := fmt.Sprintf("record coil %q", m.Serial)
	if err := cmp.Or(err, record.ValidateLabel("who", who)); err != nil {
		return m, fmt.Errorf("%s: %w", tried, err)
	}
	stored := m
	err = s.write(ctx, tried, func(tx *transaction) error {
		before, err := recordedBefore(ctx, tx, m, readings)
		if err != nil {
			return err
		}
		if before != nil {
			stored = before.today()
			return nil
		}
		stored.Sequence, err = sequenceFor(ctx, tx, m)
		if err != nil {
			return err
		}
		return s.recordNew(ctx, tx, stored, readings, who)
	})
	if err != nil {
		return m, err
	}
	return stored, nil
}

func (s measurementRecords) recordNew(
	ctx context.Context, tx *transaction, m record.Measurement, readings []record.Reading, who string,
) error {
	if err := belongs(ctx, tx, m); err != nil {
		return err
	}
	replaced, err := supersededBy(ctx, tx, m)
	if err != nil {
		return err
	}
	if err := spelledAlike(ctx, tx, m.Serial); err != nil {
		return err
	}
	if err := noneStands(ctx, tx, m); err != nil {
		return err
	}
	if _, err := insertMeasurement(ctx, tx, m, readings); err != nil {
		return err
	}
	if m.Status == record.Forced {
		err := s.note(ctx, tx, record.JournalEntry{Bench: m.Bench, Who: who, Action: "forced", Subject: m.Serial,
			Detail: fmt.Sprintf("measurement %s: %s", m.ID, m.Reason)})
		if err != nil {
			return err
		}
	}
	if err := s.endMeasured(ctx, tx, m); err != nil {
		return err
	}
	return s.supersede(ctx, tx, replaced, m, who)
}

// supersede withdraws a measurement in favour of m; nil is none.
func (s measurementRecords) supersede(ctx context.Context, tx *transaction, replaced *row, m record.Measurement, who string) error {
	if replaced == nil {
		return nil
	}
	a := annotation{Status: record.Superseded, Time: s.instant(), Who: who, SupersededBy: m.ID, Reason: "measured again"}
	switch m.Reason {
	case "":
	case record.MeasuredLonger:
		a.Reason = record.MeasuredLonger
	default:
		a.Reason += ": " + m.Reason
	}
	if err := annotate(ctx, tx, replaced.number, a); err != nil {
		return err
	}
	if m.Reason == record.MeasuredLonger {
		return s.noteVerdict(ctx, tx, replaced.Measurement, m)
	}
	return s.note(ctx, tx, record.JournalEntry{Bench: m.Bench, Who: who, Action: "supersede", Subject: m.Serial,
		Detail: fmt.Sprintf("measurement %s by %s: %s", replaced.ID, m.ID, a.Reason)})
}

// noteVerdict puts a verdict that changed while the coil stayed on into the journal.
// That it was measured longer is nobody's deed: it stands with the measurement.
func (s measurementRecords) noteVerdict(ctx context.Context, tx *transaction, replaced, m record.Measurement) error {
	if replaced.Verdict == m.Verdict {
		return nil
	}
	return s.note(ctx, tx, record.JournalEntry{Bench: m.Bench, Action: "verdict changed", Subject: m.Serial,
		Detail: fmt.Sprintf("from %s to %s: measurement %s by %s, %s", replaced.Verdict, m.Verdict, replaced.ID, m.ID, record.MeasuredLonger)})
}

// recordedBefore returns the measurement already stored under the ID of m, nil
// when there is none. It is ErrConflict when that is another one.
func recordedBefore(ctx context.Context, q querier, m record.Measurement, readings []record.Reading) (*row, error) {
	var known bool // nearly never, and the whole measurement is much to ask for
	err := q.QueryRowContext(ctx, `SELECT EXISTS (SELECT 1 FROM measurements WHERE id = ?1)`, m.ID).Scan(&known)
	if err != nil || !known {
		return nil, err
	}
	before, stored, err := wholeMeasurement(ctx, q, m.ID)
	if err != nil {
		return nil, err
	}
	m.Sequence = before.Sequence
	if !reflect.DeepEqual(m, before.Measurement) || !reflect.DeepEqual(readings, stored) {
		return nil, fmt.Errorf("%w: id %s belongs to another measurement, of coil %q at %s",
			record.ErrConflict, m.ID, before.Serial, before.Time.Format(record.TimeLayout))
	}
	return &before, nil
}

// belongs checks that the design and the batch of a measurement are there and
// go together.
func belongs(ctx context.Context, q querier, m record.Measurement) error {
	var design bool
	var batchDesign sql.NullString
	err := q.QueryRowContext(ctx, `
		SELECT EXISTS (SELECT 1 FROM designs WHERE name = ?1 AND revision = ?2), b.design
		FROM (SELECT 1) LEFT JOIN batches b ON b.name = ?3`, m.Design, m.DesignRevision, m.Batch).Scan(&design, &batchDesign)
	switch {
	case err != nil:
		return err
	case !design:
		return fmt.Errorf("design %q revision %d %w", m.Design, m.DesignRevision, record.ErrNotFound)
	case m.Batch == "":
		return nil
	case !batchDesign.Valid:
		return fmt.Errorf("batch %q %w", m.Batch, record.ErrNotFound)
	case batchDesign.String != m.Design:
		return fmt.Errorf("%w: batch %q is of design %q, the measurement of %q", record.ErrConflict, m.Batch, batchDesign.String, m.Design)
	}
	return nil
}

// supersededBy returns the measurement that m supersedes, nil when it names
// none.
func supersededBy(ctx context.Context, q querier, m record.Measurement) (*row, error) {
	if m.Supersedes == "" {
		return nil, nil
	}
	old, err := oneMeasurement(ctx, q, m.Supersedes)
	switch {
	case err != nil:
		return nil, err
	case old.Serial != m.Serial || old.Stage != m.Stage:
		return nil, record.Invalid("supersedes", "must name a measurement of the same coil at the same stage, but %s is of %q, %s", old.ID,
			old.Serial, old.Stage)
	case !old.annotation.live():
		return nil, fmt.Errorf("%w: measurement %s is %s already", record.ErrConflict, old.ID, old.annotation.Status)
	}
	return &old, nil
}

// noneStands refuses a coil that has a standing measurement at the stage of m, or
// under another design, other than the one that m supersedes.
func noneStands(ctx context.Context, q querier, m record.Measurement) error {
	const query = `SELECT m.id, m.design, m.stage` + measurementTables + `WHERE m.serial = ?1 AND a.status IS NULL`
	return rows(ctx, q, query, []any{m.Serial}, func(r *sql.Rows) error {
		var id, design, stage string
		err := r.Scan(&id, &design, &stage)
		switch {
		case err != nil || id == m.Supersedes:
			return err
		case design != m.Design:
			return fmt.Errorf("coil %q %w under design %q (measurement %s); void that one, or take another serial number",
				m.Serial, record.ErrDuplicate, design, id)
		case stage == m.Stage:
			return fmt.Errorf("coil %q %w at stage %q (measurement %s); measure it again as superseding that one, or take another serial number",
				m.Serial, record.ErrDuplicate, m.Stage, id)
		}
		return nil
	})
}

// sequenceFor returns the place of a coil in its batch.
func sequenceFor(ctx context.Context, q querier, m record.Measurement) (sequence int, err error) {
	if m.Batch == "" {
		return 0, nil
	}
	err = q.QueryRowContext(ctx, `
		SELECT COALESCE(
			(SELECT sequence FROM measurements WHERE serial = ?2 AND +batch = ?1 ORDER BY number LIMIT 1),
			(SELECT MAX(sequence) FROM measurements WHERE batch = ?1) + 1,
			1)`, m.Batch, m.Serial).Scan(&sequence)
	return sequence, err
}

// insertMeasurement stores a measurement as it is given.
func insertMeasurement(ctx context.Context, tx *transaction, m record.Measurement, readings []record.Reading) (number int64, err error) {
	if err := insertNames(ctx, tx, m); err != nil {
		return 0, err
	}
	if number, err = measurements.insertRow(ctx, tx, m); err != nil {
		return 0, err
	}
	return number, insertDetails(ctx, tx, number, m, readings)
}

// insertNames makes the coil and the instruments known.
func insertNames(ctx context.Context, tx *transaction, m record.Measurement) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO coils (serial) VALUES (?1) ON CONFLICT DO NOTHING`, m.Serial)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `
		INSERT INTO instruments (bench, role, identity, first_us)
		SELECT ?1, column1, column2, ?2
		FROM (VALUES (?3, ?4), (?5, ?6))
		WHERE column2 <> ''
		ON CONFLICT DO NOTHING`, m.Bench, m.Time.UnixMicro(), record.Meter, m.Meter, record.Probe, m.Probe)
	return err
}

func insertDetails(ctx context.Context, tx *transaction, number int64, m record.Measurement, readings []record.Reading) error {
	words, budget, err := splitBudget(m.Budget)
	if err != nil {
		return err
	}
	packed, err := packReadings(m.Time, readings)
	if err != nil {
		return err
	}
	wordsNumber, err := numberOf(ctx, tx, "budget_words", words)
	if err != nil {
		return err
	}
	settings, err := numberOf(ctx, tx, "capture_settings", string(m.Settings))
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `
		INSERT INTO measurement_details (measurement, budget, budget_words, settings, context, readings)
		VALUES (?1, ?2, ?3, ?4, ?5, ?6)`, number, budget, wordsNumber, settings, string(m.Context), packed)
	return err
}

// numberOf is the number under which a table of texts keeps a JSON text, once for
// all who say it; NULL for the empty one.
func numberOf(ctx context.Context, tx *transaction, table, text string) (number sql.NullInt64, err error) {
	if text == "" {
		return number, nil
	}
	err = tx.QueryRowContext(ctx, `SELECT number FROM `+table+` WHERE json = ?1`, text).Scan(&number)
	if errors.Is(err, sql.ErrNoRows) {
		err = tx.QueryRowContext(ctx, `INSERT INTO `+table+` (json) VALUES (?1) RETURNING number`, text).Scan(&number)
	}
	return number, err
}

func annotate(ctx context.Context, tx *transaction, number int64, a annotation) error {
	_, err := tx.ExecContext(ctx, `
		INSERT INTO annotations (measurement, status, time_us, reason, who, superseded_by)
		VALUES (?1, ?2, ?3, ?4, ?5, ?6)`, number, a.Status, a.Time.UnixMicro(), a.Reason, a.Who, a.SupersededBy)
	return err
}

// Void withdraws a measurement and returns it as it stands now. It stays
// stored, with the reason. The errors are a *FieldError, ErrNotFound, or
// ErrConflict when it was withdrawn before.
func (s measurementRecords) Void(ctx context.Context, id, reason, who string) (record.Measurement, error) {
	tried := fmt.Sprintf("void measurement %q", id)
	if reason == "" {
		return record.Measurement{}, fmt.Errorf("%s: %w", tried, record.Invalid("reason", "must not be empty: say why it is withdrawn"))
	}
	if err := cmp.Or(record.ValidateNote("reason", reason), record.ValidateLabel("who", who)); err != nil {
		return record.Measurement{}, fmt.Errorf("%s: %w", tried, err)
	}
	var m record.Measurement
	err := s.write(ctx, tried, func(tx *transaction) error {
		r, _, err := wholeMeasurement(ctx, tx, id)
		if err != nil {
			return err
		}
		if !r.annotation.live() {
			return fmt.Errorf("%w: it is %s already (%s)", record.ErrConflict, r.annotation.Status, r.annotation.Reason)
		}
		r.annotation = annotation{Status: record.Void, Time: s.instant(), Reason: reason, Who: who}
		m = r.today()
		if err := annotate(ctx, tx, r.number, r.annotation); err != nil {
			return err
		}
		return s.note(ctx, tx, record.JournalEntry{Bench: m.Bench, Who: who, Action: "void", Subject: m.Serial,
			Detail: fmt.Sprintf("measurement %s: %s", m.ID, reason)})
	})
	if err != nil {
		return record.Measurement{}, err
	}
	return m, nil
}
