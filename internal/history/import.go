package history

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"reflect"
	"slices"

	"coilkeep/internal/record"
)

// maxLine bounds one line of an import, a measurement with all its readings.
const maxLine = 16 << 20

// Import adds the records of a JSON Lines export and says how many. Records
// that are there already are left alone, so importing a file twice is safe. It
// is all or nothing: a line that is bad, that contradicts the history, or that
// holds a result its inputs do not give is named by number, and nothing of the
// file is applied. While it runs, other writers wait.
func (s exchange) Import(ctx context.Context, r io.Reader) (Imported, error) {
	var counts Imported
	err := s.write(ctx, "import", func(tx *transaction) error {
		job := importer{file: s.file, tx: tx, counts: &counts}
		if err := job.readAll(ctx, r); err != nil {
			return err
		}
		if counts.added() == 0 {
			return nil
		}
		return s.note(ctx, tx, record.JournalEntry{Action: "import", Subject: "history",
			Detail: fmt.Sprintf("%d measurements, %d records in all", counts.Measurements, counts.added())})
	})
	if err != nil {
		return Imported{}, err
	}
	return counts, nil
}

type importer struct {
	*file
	tx     *transaction
	counts *Imported
}

func (j *importer) readAll(ctx context.Context, r io.Reader) error {
	scanner := bufio.NewScanner(r)
	scanner.Buffer(nil, maxLine)
	number, ended := 0, false
	for scanner.Scan() {
		number++
		l, err := decodeLine(scanner.Bytes())
		switch {
		case err != nil:
		case ended:
			err = errors.New("there should be nothing after the end")
		case (number == 1) != (l.kind == "history"):
			err = errors.New("the first line, and only that, should be of type history: this is no coilkeep export, or not from its beginning")
		case l.kind == "history":
			err = checkHeader(l)
		case l.kind == "end":
			ended = true
			err = checkEnd(l, number-1)
		default:
			err = carriers[l.kind].take(ctx, j, l)
		}
		if err != nil {
			return fmt.Errorf("line %d: %w; nothing was imported", number, err)
		}
	}
	if err := scanner.Err(); errors.Is(err, bufio.ErrTooLong) {
		return fmt.Errorf("line %d: longer than %d MB; nothing was imported", number+1, maxLine>>20)
	} else if err != nil {
		return fmt.Errorf("after line %d: %w; nothing was imported", number, err)
	}
	if !ended {
		return fmt.Errorf("after line %d: the end is missing, the file was cut short; nothing was imported", number)
	}
	return nil
}

func checkHeader(l arrived) error {
	var h exportHeader
	if err := decodeOne(l.record, &h); err != nil {
		return err
	}
	if h.Version != exportVersion {
		return fmt.Errorf("export of version %d, this program reads %d; use the release that wrote it", h.Version, exportVersion)
	}
	return nil
}

func checkEnd(l arrived, linesBefore int) error {
	var e exportEnd
	if err := decodeOne(l.record, &e); err != nil {
		return err
	}
	if e.Lines != linesBefore {
		return fmt.Errorf("%d lines should come before the end, not %d: some are lost", e.Lines, linesBefore)
	}
	return nil
}

// arrived is a line as it came: its type, the record, and what goes with a
// measurement.
type arrived struct {
	kind                        string
	record, readings, withdrawn json.RawMessage
}

// decodeLine reads one line and checks that it has the record it should, and
// no other.
func decodeLine(text []byte) (arrived, error) {
	var keys map[string]json.RawMessage
	if err := decodeOne(text, &keys); err != nil {
		return arrived{}, err
	}
	var l arrived
	if err := json.Unmarshal(keys["type"], &l.kind); err != nil {
		return arrived{}, errors.New(`not a line of JSON as export writes it: "type" must be a text`)
	}
	if l.kind != "history" && l.kind != "end" && carriers[l.kind].take == nil {
		return arrived{}, fmt.Errorf("unknown type %q", l.kind)
	}
	l.record, l.readings, l.withdrawn = keys[l.kind], keys["readings"], keys["withdrawn"]
	if l.record == nil || bytes.Equal(l.record, []byte("null")) {
		return arrived{}, fmt.Errorf("a line of type %q should have a record of that name", l.kind)
	}
	for key := range keys {
		switch key {
		case "type", l.kind:
		case "readings", "withdrawn":
			if l.kind != "measurement" {
				return arrived{}, fmt.Errorf("%s do not belong to a line of type %q", key, l.kind)
			}
		default:
			return arrived{}, fmt.Errorf("a line of type %q should have a record of that name and no %q", l.kind, key)
		}
	}
	return l, nil
}

// decodeOne reads the one JSON value that text should be.
func decodeOne(text []byte, into any) error {
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(into); err != nil {
		return fmt.Errorf("not a line of JSON as export writes it: %w", err)
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return errors.New("more than one JSON value in one line")
	}
	return nil
}

func takeDesign(ctx context.Context, j *importer, l arrived) error {
	var d record.Design
	if err := decodeOne(l.record, &d); err != nil {
		return err
	}
	d.CreatedAt = fromMicros(d.CreatedAt.UnixMicro())
	if err := record.ValidateDesign(d); err != nil {
		return err
	}
	if d.Revision < 1 {
		return record.Invalid("revision", "must be at least 1, not %d", d.Revision)
	}
	return add(j, fmt.Sprintf("design %q revision %d", d.Name, d.Revision), d,
		func() (record.Design, error) { return designRevision(ctx, j.tx, d.Name, d.Revision) },
		func() error { return insertDesign(ctx, j.tx, d) },
		&j.counts.Designs)
}

func takeComparison(ctx context.Context, j *importer, l arrived) error {
	var given record.ComparisonLine
	if err := decodeOne(l.record, &given); err != nil {
		return err
	}
	c := given.Comparison()
	c.Time = fromMicros(c.Time.UnixMicro())
	if err := cmp.Or(record.ValidateName("id", c.ID), validComparison(c)); err != nil {
		return err
	}
	return add(j, "comparison "+c.ID, c,
		func() (record.Comparison, error) {
			stored, err := oneComparison(ctx, j.tx, c.ID)
			stored.Origin = record.Origin{} // what the history says, not the file
			return stored, err
		},
		func() error { return insertComparison(ctx, j.tx, c) },
		&j.counts.Comparisons)
}

func takeBatch(ctx context.Context, j *importer, l arrived) error {
	var b record.Batch
	if err := decodeOne(l.record, &b); err != nil {
		return err
	}
	b.OpenedAt = fromMicros(b.OpenedAt.UnixMicro())
	if b.ClosedAt != nil {
		closed := fromMicros(b.ClosedAt.UnixMicro())
		b.ClosedAt = &closed
	}
	for i := range b.Spools {
		b.Spools[i].At = fromMicros(b.Spools[i].At.UnixMicro())
	}
	if err := record.ValidateBatch(b); err != nil {
		return err
	}
	stored, err := oneBatch(ctx, j.tx, b.Name)
	if errors.Is(err, record.ErrNotFound) {
		j.counts.Batches++
		return j.newBatch(ctx, b)
	}
	if err != nil {
		return err
	}
	return j.knownBatch(ctx, b, stored)
}

func (j *importer) newBatch(ctx context.Context, b record.Batch) error {
	if _, err := designRevision(ctx, j.tx, b.Design, b.DesignRevision); err != nil {
		return err
	}
	if b.ClosedAt == nil {
		open, err := openBatchOf(ctx, j.tx, b.Bench)
		if err != nil {
			return err
		}
		if open != nil {
			return fmt.Errorf("batch %q: %w: bench %q has batch %q open; close one of the two first", b.Name, record.ErrConflict, b.Bench, open.Name)
		}
	}
	return insertBatch(ctx, j.tx, b)
}

// knownBatch adds to a stored batch what was done to it since.
func (j *importer) knownBatch(ctx context.Context, b, stored record.Batch) error {
	conflict := fmt.Errorf("batch %q: %w: the history has another one of that name", b.Name, record.ErrConflict)
	same := b
	same.Spools, same.ClosedAt, same.LastSequence = stored.Spools, stored.ClosedAt, stored.LastSequence
	common := min(len(b.Spools), len(stored.Spools))
	if !reflect.DeepEqual(same, stored) || !slices.Equal(b.Spools[:common], stored.Spools[:common]) {
		return conflict
	}
	changed := false
	for i := common; i < len(b.Spools); i++ {
		changed = true
		if err := insertSpool(ctx, j.tx, b.Name, i+1, b.Spools[i]); err != nil {
			return err
		}
	}
	switch {
	case b.ClosedAt != nil && stored.ClosedAt == nil:
		changed = true
		if err := setClosed(ctx, j.tx, b); err != nil {
			return err
		}
	case b.ClosedAt != nil && !b.ClosedAt.Equal(*stored.ClosedAt):
		return conflict
	}
	if changed {
		j.counts.Changed++
	} else {
		j.counts.Known++
	}
	return nil
}

// measurement is what a line of that type has; withdrawn is nil while it stands.
func (l arrived) measurement() (m record.Measurement, readings []record.Reading, withdrawn *withdrawal, err error) {
	if err := decodeOne(l.record, &m); err != nil {
		return m, nil, nil, err
	}
	if l.readings != nil {
		if err := decodeOne(l.readings, &readings); err != nil {
			return m, nil, nil, err
		}
	}
	if l.withdrawn != nil {
		err = decodeOne(l.withdrawn, &withdrawn)
	}
	return m, readings, withdrawn, err
}

func takeMeasurement(ctx context.Context, j *importer, l arrived) error {
	m, readings, w, err := l.measurement()
	if err != nil {
		return err
	}
	var withdrawn annotation
	if w != nil {
		withdrawn = w.annotation
		withdrawn.Time = fromMicros(withdrawn.Time.UnixMicro())
		m.Status, m.Reason = w.RecordedStatus, w.RecordedReason
		if err := validWithdrawal(withdrawn); err != nil {
			return err
		}
	}
	if m.ID == "" || m.Sequence < 0 || (m.Sequence == 0) != (m.Batch == "") {
		return record.Invalid("sequence", "a measurement in a batch must have an id and a sequence of at least 1, one outside a batch 0")
	}
	m, readings, err = normalise(m, readings)
	if err != nil {
		return err
	}
	if faults := checkMeasurement(m, windowOf(readings)); len(faults) > 0 {
		return fmt.Errorf("measurement %s: %s", m.ID, faults[0].Problem)
	}
	before, err := recordedBefore(ctx, j.tx, m, readings)
	if err != nil {
		return err
	}
	if before != nil {
		return j.knownMeasurement(ctx, m, *before, withdrawn)
	}
	return j.newMeasurement(ctx, m, readings, withdrawn)
}

func validWithdrawal(a annotation) error {
	if a.Status != record.Void && a.Status != record.Superseded {
		return record.Invalid("withdrawn.status", "must be %q or %q, not %q", record.Void, record.Superseded, a.Status)
	}
	if (a.SupersededBy != "") != (a.Status == record.Superseded) {
		return record.Invalid("withdrawn.superseded_by", "must be told for a superseded measurement, and for no other")
	}
	if a.Reason == "" {
		return record.Invalid("withdrawn.reason", "must not be empty")
	}
	return cmp.Or(
		record.ValidateLines("withdrawn.reason", a.Reason, record.MaxDetail),
		record.AllValid(record.ValidateLabel, "withdrawn.who", a.Who, "withdrawn.superseded_by", a.SupersededBy))
}

func (j *importer) knownMeasurement(ctx context.Context, m record.Measurement, before row, withdrawn annotation) error {
	switch {
	case m.Sequence != before.Sequence:
		return fmt.Errorf("measurement %s: %w: it is coil %d of its batch in the history, %d in the file", m.ID, record.ErrConflict,
			before.Sequence, m.Sequence)
	case withdrawn.live() || withdrawn == before.annotation:
		j.counts.Known++
		return nil
	case !before.annotation.live():
		return fmt.Errorf("measurement %s: %w: it is %s for another reason already", m.ID, record.ErrConflict, before.annotation.Status)
	}
	j.counts.Changed++
	return annotate(ctx, j.tx, before.number, withdrawn)
}

func (j *importer) newMeasurement(ctx context.Context, m record.Measurement, readings []record.Reading, withdrawn annotation) error {
	if err := belongs(ctx, j.tx, m); err != nil {
		return err
	}
	replaced, err := j.supersededBy(ctx, m)
	if err != nil {
		return err
	}
	if withdrawn.live() {
		if err := noneStands(ctx, j.tx, m); err != nil {
			return err
		}
	}
	number, err := insertMeasurement(ctx, j.tx, m, readings)
	if err != nil {
		return err
	}
	j.counts.Measurements++
	if !withdrawn.live() {
		if err := annotate(ctx, j.tx, number, withdrawn); err != nil {
			return err
		}
	}
	return measurementRecords{j.file}.supersede(ctx, j.tx, replaced, m, "")
}

// supersededBy returns the measurement that m supersedes and that still
// stands here. It may be missing from a partial export, or have come with its
// own withdrawal.
func (j *importer) supersededBy(ctx context.Context, m record.Measurement) (*row, error) {
	if m.Supersedes == "" {
		return nil, nil
	}
	old, err := oneMeasurement(ctx, j.tx, m.Supersedes)
	if errors.Is(err, record.ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	if old.annotation.SupersededBy == m.ID {
		return nil, nil
	}
	return supersededBy(ctx, j.tx, m)
}
