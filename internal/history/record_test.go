package history

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"coilkeep/internal/record"
)

func TestRecordComesBackWhole(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	m, readings := sample(t, "HN-0001", 6690, firstInstant.Add(1234567*time.Nanosecond).In(time.FixedZone("shop", 3600)))
	stored, err := s.Record(t.Context(), m, readings)
	if err != nil {
		t.Fatal(err)
	}
	if stored.ID == "" || stored.Sequence != 1 {
		t.Errorf("stored as id %q, sequence %d, want an id and 1", stored.ID, stored.Sequence)
	}
	got, gotReadings, err := s.Measurement(t.Context(), stored.ID)
	if err != nil {
		t.Fatal(err)
	}
	want, wantReadings, err := normalise(m, readings)
	if err != nil {
		t.Fatal(err)
	}
	want.ID, want.Sequence = stored.ID, 1
	if !reflect.DeepEqual(got, want) {
		t.Errorf("read back\n%+v\nwant\n%+v", got, want)
	}
	if !reflect.DeepEqual(gotReadings, wantReadings) {
		t.Errorf("readings read back\n%+v\nwant\n%+v", gotReadings, wantReadings)
	}
	if string(got.Settings) != `{"readings":8,"seconds":1.5}` {
		t.Errorf("settings = %s", got.Settings)
	}
	if got.Time.Location() != time.UTC || got.Time.UnixMicro() != m.Time.UnixMicro() {
		t.Errorf("time = %v, want %v in UTC to the microsecond", got.Time, m.Time)
	}
	verifies(t, s)
}

func TestRecordAgainIsTheSame(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	m, readings := sample(t, "HN-0001", 6690, firstInstant)
	first, err := s.Record(t.Context(), m, readings)
	if err != nil {
		t.Fatal(err)
	}
	again, err := s.Record(t.Context(), first, readings)
	if err != nil || !reflect.DeepEqual(again, first) {
		t.Errorf("second time: %+v, %v; want the first one", again, err)
	}
	m.ID = first.ID // as a caller who never saw the sequence
	if again, err = s.Record(t.Context(), m, readings); err != nil || again.Sequence != 1 {
		t.Errorf("third time: sequence %d, %v; want 1", again.Sequence, err)
	}
	if n := count(t, s, `SELECT COUNT(*) FROM measurements`); n != 1 {
		t.Errorf("%d measurements stored, want 1", n)
	}
	m.Operator = "grace"
	if _, err := s.Record(t.Context(), m, readings); !errors.Is(err, record.ErrConflict) {
		t.Errorf("another measurement under the same id: %v, want ErrConflict", err)
	}
	m.Operator = "ada"
	readings[0].Raw = "other"
	if _, err := s.Record(t.Context(), m, readings); !errors.Is(err, record.ErrConflict) {
		t.Errorf("other readings under the same id: %v, want ErrConflict", err)
	}
}

func TestSequence(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	potted := func(m *record.Measurement) { m.Stage = record.StagePotted }
	unbatched := func(m *record.Measurement) { m.Batch = "" }
	for _, c := range []struct {
		serial string
		change func(*record.Measurement)
		want   int
	}{
		{"HN-0001", func(*record.Measurement) {}, 1},
		{"HN-0002", func(*record.Measurement) {}, 2},
		{"HN-0001", potted, 1},
		{"HN-0003", func(*record.Measurement) {}, 3},
		{"X-1", unbatched, 0},
		{"HN-0002", potted, 2},
	} {
		if m := recordCoil(t, s, c.serial, c.change); m.Sequence != c.want {
			t.Errorf("%s %s: sequence %d, want %d", c.serial, m.Stage, m.Sequence, c.want)
		}
	}
	batch, err := s.Batch(t.Context(), "B-1")
	if err != nil || batch.LastSequence != 3 {
		t.Errorf("last sequence %d, %v; want 3", batch.LastSequence, err)
	}
}

func TestRecordRefuses(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	other := wren()
	other.Name = "finch"
	must(t)(s.AddDesign(t.Context(), other, "ada"))
	standing := recordCoil(t, s, "HN-0001")
	for _, c := range []struct {
		name   string
		change func(*record.Measurement)
		want   error
		field  string
	}{
		{"second at one stage", func(m *record.Measurement) {}, record.ErrDuplicate, ""},
		{"same serial, other design", func(m *record.Measurement) { m.Design, m.Batch, m.Stage = "finch", "", record.StagePotted },
			record.ErrDuplicate, ""},
		{"unknown design", func(m *record.Measurement) { m.Design = "emu" }, record.ErrNotFound, ""},
		{"unknown revision", func(m *record.Measurement) { m.DesignRevision = 2 }, record.ErrNotFound, ""},
		{"unknown batch", func(m *record.Measurement) { m.Batch = "B-9" }, record.ErrNotFound, ""},
		{"batch of another design", func(m *record.Measurement) { m.Serial, m.Design = "HN-0009", "finch" }, record.ErrConflict, ""},
		{"supersedes nothing known", func(m *record.Measurement) { m.Supersedes = "none" }, record.ErrNotFound, ""},
		{"supersedes another coil's", func(m *record.Measurement) { m.Serial, m.Supersedes = "HN-0009", standing.ID }, record.ErrInvalid,
			"supersedes"},
		{"supersedes another stage", func(m *record.Measurement) { m.Stage, m.Supersedes = record.StagePotted, standing.ID }, record.ErrInvalid,
			"supersedes"},
		{"no serial", func(m *record.Measurement) { m.Serial = "" }, record.ErrInvalid, "serial"},
		{"control character", func(m *record.Measurement) { m.Serial = "HN\n1" }, record.ErrInvalid, "serial"},
		{"no time", func(m *record.Measurement) { m.Time = time.Time{} }, record.ErrInvalid, "time"},
		{"unknown stage", func(m *record.Measurement) { m.Stage = "boxed" }, record.ErrInvalid, "stage"},
		{"unknown verdict", func(m *record.Measurement) { m.Verdict = "maybe" }, record.ErrInvalid, "verdict"},
		{"status of a withdrawn one", func(m *record.Measurement) { m.Status = record.Void }, record.ErrInvalid, "status"},
		{"forced without a reason", func(m *record.Measurement) { m.Status = record.Forced }, record.ErrInvalid, "reason"},
		{"not a number", func(m *record.Measurement) { m.R20Ohms = math.NaN() }, record.ErrInvalid, "r20_ohms"},
		{"input not a number", func(m *record.Measurement) { m.Inputs.DriftOhms = math.NaN() }, record.ErrInvalid, "inputs.drift_ohms"},
		{"two resistances", func(m *record.Measurement) { m.ResistanceOhms++ }, record.ErrInvalid, "resistance_ohms"},
		{"two temperatures", func(m *record.Measurement) { m.TemperatureCelsius++ }, record.ErrInvalid, "temperature_celsius"},
		{"settings that are no JSON", func(m *record.Measurement) { m.Settings = []byte("{") }, record.ErrInvalid, "settings"},
		{"long operator", func(m *record.Measurement) { m.Operator = strings.Repeat("a", 300) }, record.ErrInvalid, "operator"},
	} {
		m, readings := sample(t, "HN-0001", 6690, firstInstant)
		c.change(&m)
		got, err := s.Record(t.Context(), m, readings)
		if !errors.Is(err, c.want) {
			t.Errorf("%s: error %v, want %v", c.name, err, c.want)
		}
		var field *record.FieldError
		if errors.As(err, &field) && field.Field != c.field {
			t.Errorf("%s: error about field %q, want %q", c.name, field.Field, c.field)
		}
		if got.ID == "" {
			t.Errorf("%s: no id to try again with", c.name)
		}
	}
	if n := count(t, s, `SELECT COUNT(*) FROM measurements`); n != 1 {
		t.Errorf("%d measurements stored, want 1", n)
	}
}

func TestVoidAndSupersede(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	first := recordCoil(t, s, "HN-0001")
	second := recordCoil(t, s, "HN-0001", func(m *record.Measurement) {
		m.Supersedes, m.Status, m.Reason = first.ID, record.Forced, "fingers on the clips"
	})
	if second.Sequence != first.Sequence {
		t.Errorf("superseding one has sequence %d, want %d", second.Sequence, first.Sequence)
	}
	old, _, err := s.Measurement(t.Context(), first.ID)
	if err != nil || old.Status != record.Superseded || old.Reason != "measured again: fingers on the clips" {
		t.Errorf("superseded: %q %q, %v", old.Status, old.Reason, err)
	}
	for _, action := range []string{"forced", "supersede"} {
		entries, err := s.Journal(t.Context(), record.JournalFilter{Action: action})
		if err != nil || len(entries) != 1 || entries[0].Who != "grace" {
			t.Errorf("%s: journal %+v, %v; want one entry of grace, who asked for it", action, entries, err)
		}
	}
	if _, err := s.Void(t.Context(), first.ID, "twice", "ada"); !errors.Is(err, record.ErrConflict) {
		t.Errorf("void a superseded one: %v, want ErrConflict", err)
	}
	if _, err := s.Void(t.Context(), second.ID, "", "ada"); !errors.Is(err, record.ErrInvalid) {
		t.Errorf("void without a reason: %v, want ErrInvalid", err)
	}
	void, err := s.Void(t.Context(), second.ID, "wrong coil", "ada")
	if err != nil || void.Status != record.Void || void.Reason != "wrong coil" || void.Budget == nil {
		t.Errorf("void: %q %q with %d budget lines, %v", void.Status, void.Reason, len(void.Budget), err)
	}
	if _, err := s.Void(t.Context(), second.ID, "again", "ada"); !errors.Is(err, record.ErrConflict) {
		t.Errorf("void twice: %v, want ErrConflict", err)
	}
	if _, err := s.Void(t.Context(), "none", "why", "ada"); !errors.Is(err, record.ErrNotFound) {
		t.Errorf("void nothing: %v, want ErrNotFound", err)
	}
	// With none standing, the serial is free for a fresh measurement.
	third := recordCoil(t, s, "HN-0001")
	coil, err := s.Coil(t.Context(), "HN-0001")
	if err != nil {
		t.Fatal(err)
	}
	var ids []string
	for _, m := range coil.Measurements {
		ids = append(ids, m.ID)
	}
	if want := []string{third.ID, second.ID, first.ID}; !reflect.DeepEqual(ids, want) {
		t.Errorf("coil has %v, want %v", ids, want)
	}
	var actions []string
	entries, err := s.Journal(t.Context(), record.JournalFilter{Subject: "HN-0001"})
	for _, e := range entries {
		actions = append(actions, e.Action)
	}
	if want := []string{"void", "supersede", "forced"}; err != nil || !reflect.DeepEqual(actions, want) {
		t.Errorf("journal %v, %v; want %v", actions, err, want)
	}
	verifies(t, s)
}

// A measurement that was recorded and then withdrawn is still known under its
// id: a late retry must not bring it back.
func TestRecordAgainAfterVoid(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	m, readings := sample(t, "HN-0001", 6690, firstInstant)
	m.ID = "0190-fixed"
	must(t)(s.Record(t.Context(), m, readings))
	must(t)(s.Void(t.Context(), m.ID, "wrong coil", "ada"))
	again, err := s.Record(t.Context(), m, readings)
	if err != nil || again.Status != record.Void {
		t.Errorf("recorded again: status %q, %v; want void", again.Status, err)
	}
}

// Every table but batches is append-only in the schema itself.
func TestAppendOnly(t *testing.T) {
	t.Parallel()
	s := schema9(t) // an older one has readings in rows, too
	if err := s.Backup(t.Context(), s.Path()+".copy", false); err != nil {
		t.Fatal(err)
	}
	tables := tableNames(t, s)
	for _, table := range tables {
		if n := count(t, s, `SELECT COUNT(*) FROM `+table); n == 0 {
			t.Errorf("no rows in %s: the test proves nothing", table)
		}
		if _, err := s.writer.ExecContext(t.Context(), `DELETE FROM `+table); err == nil || !strings.Contains(err.Error(), "only added to") {
			t.Errorf("delete from %s: %v, want a refusal", table, err)
		}
		var column string
		err := s.readers.QueryRowContext(t.Context(), `SELECT name FROM pragma_table_info(?1) LIMIT 1`, table).Scan(&column)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.writer.ExecContext(t.Context(), fmt.Sprintf(`UPDATE %s SET %s = %s`, table, column, column)); err == nil {
			t.Errorf("update of %s passed, want a refusal", table)
		}
	}
	if len(tables) != 23 {
		t.Errorf("%d tables, want 23: %v", len(tables), tables)
	}
	if n := count(t, s, `SELECT COUNT(*) FROM sqlite_schema WHERE type = 'table' AND sql NOT LIKE '%STRICT%'`); n != 0 {
		t.Errorf("%d tables are not STRICT", n)
	}
}

func tableNames(t testing.TB, s *Store) (names []string) {
	t.Helper()
	r, err := s.readers.QueryContext(t.Context(), `SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name`)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for r.Next() {
		var name string
		if err := r.Scan(&name); err != nil {
			t.Fatal(err)
		}
		names = append(names, name)
	}
	if err := r.Err(); err != nil {
		t.Fatal(err)
	}
	return names
}

// Daemon and commands share one file: two stores on it write at the same time
// and lose, double and refuse nothing.
func TestTwoStoresWriteAtOnce(t *testing.T) {
	t.Parallel()
	one := workshop(t)
	two := openStore(t, one.Path(), Options{})
	const each = 40
	var group sync.WaitGroup
	for i, s := range []*Store{one, two} {
		group.Go(func() {
			for n := range each {
				m, readings := sample(t, fmt.Sprintf("S%d-%04d", i, n), 6690, firstInstant)
				if _, err := s.Record(t.Context(), m, readings); err != nil {
					t.Errorf("store %d: %v", i, err)
				}
			}
		})
	}
	group.Wait()
	if report := verifies(t, one); report.Measurements != 2*each {
		t.Errorf("%d measurements, want %d", report.Measurements, 2*each)
	}
}

func TestWhatStands(t *testing.T) {
	t.Parallel()
	for status, want := range map[record.Status]bool{record.Recorded: true, record.Forced: true, record.Manual: true, record.Void: false,
		record.Superseded: false} {
		if got := (record.Measurement{Status: status}).Stands(); got != want {
			t.Errorf("a %s measurement stands: %v, want %v", status, got, want)
		}
	}
}
