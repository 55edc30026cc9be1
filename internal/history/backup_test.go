package history

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/record"
)

func TestBackup(t *testing.T) {
	t.Parallel()
	s := busyWorkshop(t)
	if at, err := s.LastBackup(t.Context()); err != nil || !at.IsZero() {
		t.Errorf("last backup before any: %v, %v", at, err)
	}
	dst := filepath.Join(t.TempDir(), "it's a copy.db")
	if err := s.Backup(t.Context(), dst, false); err != nil {
		t.Fatal(err)
	}
	at, err := s.LastBackup(t.Context())
	if err != nil || at.Before(firstInstant) {
		t.Errorf("last backup at %v, %v", at, err)
	}
	if err := s.Backup(t.Context(), dst, false); !errors.Is(err, record.ErrExists) {
		t.Errorf("over an existing file: %v, want ErrExists", err)
	}
	recordCoil(t, s, "HN-0099")
	if err := s.Backup(t.Context(), dst, true); err != nil {
		t.Errorf("overwriting: %v", err)
	}
	for name, path := range map[string]string{"the history itself": s.Path(), "a folder": t.TempDir()} {
		if err := s.Backup(t.Context(), path, true); !errors.Is(err, record.ErrExists) {
			t.Errorf("over %s: %v, want ErrExists", name, err)
		}
	}
	writeFile(t, dst+"-wal", nil)
	if err := s.Backup(t.Context(), dst, true); !errors.Is(err, record.ErrExists) {
		t.Errorf("over a database in use: %v, want ErrExists", err)
	}
	if err := os.Remove(dst + "-wal"); err != nil {
		t.Fatal(err)
	}
	if err := s.Backup(t.Context(), filepath.Join(t.TempDir(), "no folder", "copy.db"), false); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("to a missing folder: %v", err)
	}
	onlyFile(t, dst)
	backup := openStore(t, dst, Options{ReadOnly: true})
	if export(t, backup, record.CSV, record.Filter{}) != export(t, s, record.CSV, record.Filter{}) {
		t.Error("the backup holds other measurements")
	}
	verifies(t, backup)
}

// onlyFile fails the test when anything was left beside a file.
func onlyFile(t *testing.T, path string) {
	t.Helper()
	entries, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if e.Name() != filepath.Base(path) {
			t.Errorf("%s was left behind", e.Name())
		}
	}
}

// A backup under a writer that never pauses is one whole moment of the
// history, and holds all that was acknowledged before it began.
func TestBackupUnderWriter(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	acknowledged := make(chan int, 1)
	stop := make(chan struct{})
	done := make(chan error, 1)
	go func() {
		for n := 1; ; n++ {
			m, readings := sample(t, fmt.Sprintf("HN-%05d", n), 6690, firstInstant)
			if _, err := s.Record(t.Context(), m, readings); err != nil {
				done <- err
				return
			}
			select {
			case acknowledged <- n:
			case <-acknowledged:
				acknowledged <- n
			}
			select {
			case <-stop:
				done <- nil
				return
			default:
			}
		}
	}()
	for i := range 5 {
		before := <-acknowledged
		dst := filepath.Join(t.TempDir(), fmt.Sprintf("copy-%d.db", i))
		if err := s.Backup(t.Context(), dst, false); err != nil {
			t.Fatal(err)
		}
		backup := openStore(t, dst, Options{ReadOnly: true})
		if report := verifies(t, backup); report.Measurements < before {
			t.Errorf("backup holds %d measurements, %d were acknowledged before it", report.Measurements, before)
		}
	}
	close(stop)
	if err := <-done; err != nil {
		t.Fatal(err)
	}
}

func TestRestore(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	recordCoil(t, s, "HN-0001")
	backup := filepath.Join(t.TempDir(), "backup.db")
	if err := s.Backup(t.Context(), backup, false); err != nil {
		t.Fatal(err)
	}
	recordCoil(t, s, "HN-0002")
	path := s.Path()
	opts := Options{Now: stepClock(), BusyTimeout: quick.BusyTimeout}

	if err := s.Own(); err != nil {
		t.Fatal(err)
	}
	if _, err := Restore(t.Context(), backup, path, opts, nil); !errors.Is(err, record.ErrLocked) {
		t.Errorf("while served: %v, want ErrLocked", err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	user := openStore(t, path, Options{})
	recordCoil(t, user, "HN-0003")
	if _, err := Restore(t.Context(), backup, path, opts, nil); !errors.Is(err, record.ErrBusy) {
		t.Errorf("while another program has it open: %v, want ErrBusy", err)
	}
	if err := user.Close(); err != nil {
		t.Fatal(err)
	}

	if err := os.Chmod(path, 0o640); err != nil {
		t.Fatal(err)
	}
	restored, err := Restore(t.Context(), backup, path, opts, nil)
	if err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(path); err != nil || runtime.GOOS != "windows" && info.Mode().Perm() != 0o640 {
		t.Errorf("restored file: %v, %v; want the permissions of the old one", info.Mode(), err)
	}
	if !strings.HasPrefix(restored.Kept, path+".before-restore-") || restored.Report.Measurements != 1 {
		t.Errorf("restored %+v", restored)
	}
	for file, want := range map[string]int{path: 1, restored.Kept: 3} {
		if report := verifies(t, openStore(t, file, Options{ReadOnly: true})); report.Measurements != want {
			t.Errorf("%s holds %d measurements, want %d", file, report.Measurements, want)
		}
	}
	entries, err := openStore(t, path, Options{}).Journal(t.Context(), record.JournalFilter{Action: "restore"})
	if err != nil || len(entries) != 1 {
		t.Errorf("journal of the restore: %+v, %v", entries, err)
	}
}

func TestRestoreWhereNothingWas(t *testing.T) {
	t.Parallel()
	s := busyWorkshop(t)
	dst := filepath.Join(t.TempDir(), "new", "coilkeep.db")
	restored, err := Restore(t.Context(), s.Path(), dst, Options{}, nil)
	if err != nil || restored.Kept != "" || restored.Report.Measurements != 7 {
		t.Fatalf("restored %+v, %v", restored, err)
	}
	verifies(t, openStore(t, dst, Options{}))
}

// The old file may be the reason for the restore: it is put aside as it is.
func TestRestoreOverDamage(t *testing.T) {
	t.Parallel()
	s := busyWorkshop(t)
	dst := filepath.Join(t.TempDir(), "coilkeep.db")
	writeFile(t, dst, []byte("not a database at all"))
	writeFile(t, dst+"-wal", []byte("nor this a log"))
	restored, err := Restore(t.Context(), s.Path(), dst, Options{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	for end, want := range map[string]string{"": "not a database at all", "-wal": "nor this a log"} {
		if got, err := os.ReadFile(restored.Kept + end); err != nil || string(got) != want {
			t.Errorf("kept %q%s, %v; want %q", got, end, err, want)
		}
	}
	verifies(t, openStore(t, dst, Options{}))
}

// What was set aside comes back when the new file cannot take its place, with
// or without a file system that knows second names.
func TestPutBack(t *testing.T) {
	t.Parallel()
	for _, linked := range []bool{true, false} {
		dst := filepath.Join(t.TempDir(), "coilkeep.db")
		writeFile(t, dst, []byte("history"))
		writeFile(t, dst+"-wal", []byte("log"))
		kept, err := setAside(dst, Options{Now: stepClock()})
		if err != nil || !exists(kept) || !exists(kept+"-wal") || exists(dst+"-wal") || !exists(dst) {
			t.Fatalf("set aside as %q, %v", kept, err)
		}
		if !linked {
			if err := os.Remove(dst); err != nil {
				t.Fatal(err)
			}
		}
		if err := putBack(kept, dst); err != nil {
			t.Fatal(err)
		}
		for end, want := range map[string]string{"": "history", "-wal": "log"} {
			if got, err := os.ReadFile(dst + end); err != nil || string(got) != want || exists(kept+end) {
				t.Errorf("put back %q, %v; want %q", got, err, want)
			}
		}
	}
}

// A source that cannot be trusted changes nothing.
func TestRestoreRefuses(t *testing.T) {
	t.Parallel()
	s := busyWorkshop(t)
	path := s.Path()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	in := func(name string) string { return filepath.Join(folder, name) }
	writeFile(t, in("garbage"), []byte("not a database at all"))
	execute(t, in("foreign"), `CREATE TABLE a (b)`)
	closedHistory(t, in("newer"))
	execute(t, in("newer"), `PRAGMA user_version = 99`)
	truncated(t, in("truncated"))
	closedHistory(t, in("orphans"))
	execute(t, in("orphans"), `DROP TRIGGER measurements_no_delete`, `DELETE FROM measurements`)
	before := dump(t, path)
	for _, c := range []struct {
		src  string
		want error
	}{
		{in("missing"), record.ErrMissing},
		{in("garbage"), record.ErrDamaged},
		{in("foreign"), record.ErrForeign},
		{in("newer"), record.ErrNewer},
		{in("truncated"), record.ErrDamaged},
		{in("orphans"), record.ErrDamaged},
		{path, record.ErrInvalid},
	} {
		if _, err := Restore(t.Context(), c.src, path, Options{}, nil); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", filepath.Base(c.src), err, c.want)
		}
	}
	if dump(t, path) != before {
		t.Error("the history was changed")
	}
	entries, err := filepath.Glob(path + ".*")
	if err != nil || len(entries) != 1 || entries[0] != path+".lock" {
		t.Errorf("left behind: %v, %v; want the lock only", entries, err)
	}
}

// dump is all there is in a history, but for when it was exported.
func dump(t *testing.T, path string) string {
	t.Helper()
	s, err := Open(t.Context(), path, Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	text := body(export(t, s, record.JSONL, record.Filter{}), "")
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return text
}

// The steps of a migration are applied once each, after a copy was kept, and
// a failing step leaves the file at the step before it.
func TestMigrate(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "coilkeep.db")
	closedHistory(t, path)
	second := `ALTER TABLE coils ADD COLUMN colour TEXT NOT NULL DEFAULT '';`
	broken := `CREATE TABLE extra (a INTEGER) STRICT; SELECT nothing FROM nowhere;`
	at := func() time.Time { return firstInstant }
	steps := append(slices.Clone(migrations), second)

	if s, err := open(t.Context(), path, Options{ReadOnly: true}, steps); !errors.Is(err, record.ErrOlder) || s != nil {
		t.Errorf("older file, read-only: %v, want ErrOlder", err)
	}
	if s, err := open(t.Context(), path, Options{Now: at}, append(slices.Clone(steps), broken)); err == nil || s != nil {
		t.Fatal("a broken step passed")
	}
	s, err := open(t.Context(), path, Options{}, steps)
	if err != nil {
		t.Fatal(err)
	}
	if v := count(t, s, `PRAGMA user_version`); v != len(steps) {
		t.Errorf("version %d, want %d", v, len(steps))
	}
	if n := count(t, s, `SELECT COUNT(*) FROM coils WHERE colour = ''`); n != 1 {
		t.Errorf("%d coils in the migrated table, want 1", n)
	}
	if n := count(t, s, `SELECT COUNT(*) FROM sqlite_schema WHERE name = 'extra'`); n != 0 {
		t.Error("half of the broken step is there")
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), path, Options{}); !errors.Is(err, record.ErrNewer) {
		t.Errorf("opened by the older program: %v, want ErrNewer", err)
	}
	kept := fmt.Sprintf("%s.before-version-%d-20260302T080000Z", path, len(steps)+1)
	verifies(t, openStore(t, kept, Options{}))
}

func TestMigrationNumbers(t *testing.T) {
	t.Parallel()
	if len(migrations) == 0 || !strings.Contains(migrations[0], "CREATE TABLE measurements") {
		t.Errorf("%d migrations", len(migrations))
	}
}
