package history

import (
	"bytes"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"coilkeep/internal/record"
)

// quick is a store that does not wait long for others.
var quick = Options{BusyTimeout: 50 * time.Millisecond}

func TestOpenCreates(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "new folder ?#%41", "ö & co.db")
	s := openStore(t, path, Options{})
	if s.Path() != path {
		t.Errorf("path = %q, want %q", s.Path(), path)
	}
	if size, err := s.SizeBytes(); err != nil || size == 0 {
		t.Errorf("size = %d, %v", size, err)
	}
	if _, err := os.Stat(path); err != nil {
		t.Errorf("no file under the name asked for: %v", err)
	}
	verifies(t, s)
}

// The settings must hold on every connection of a pool, not only on the first.
func TestSettingsHold(t *testing.T) {
	t.Parallel()
	s := newStore(t)
	for _, c := range []struct {
		pool         *sql.DB
		pragma, want string
	}{
		{s.writer, "journal_mode", "wal"},
		{s.writer, "synchronous", "2"},
		{s.writer, "foreign_keys", "1"},
		{s.writer, "busy_timeout", "5000"},
		{s.readers, "query_only", "1"},
		{s.readers, "busy_timeout", "5000"},
	} {
		var conns []*sql.Conn
		for range c.pool.Stats().MaxOpenConnections {
			conn, err := c.pool.Conn(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			conns = append(conns, conn)
			var got string
			if err := conn.QueryRowContext(t.Context(), "PRAGMA "+c.pragma).Scan(&got); err != nil || got != c.want {
				t.Errorf("%s = %q, %v; want %q", c.pragma, got, err, c.want)
			}
		}
		for _, conn := range conns {
			if err := conn.Close(); err != nil {
				t.Fatal(err)
			}
		}
	}
	if _, err := s.readers.ExecContext(t.Context(), `INSERT INTO coils (serial) VALUES ('X')`); !errors.Is(explain("", "", err),
		record.ErrReadOnly) {
		t.Errorf("writing over the reading pool: %v, want a refusal", err)
	}
}

func TestOpenRefuses(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name     string
		make     func(t *testing.T, path string)
		readOnly bool
		want     error
	}{
		{"missing, read-only", func(*testing.T, string) {}, true, record.ErrMissing},
		{"empty, read-only", func(t *testing.T, path string) { writeFile(t, path, nil) }, true, record.ErrMissing},
		{"a text file", func(t *testing.T, path string) { writeFile(t, path, bytes.Repeat([]byte("not a database\n"), 500)) }, false,
			record.ErrDamaged},
		{"truncated", truncated, false, record.ErrDamaged},
		{"truncated, read-only", truncated, true, record.ErrDamaged},
		{"overwritten header", func(t *testing.T, path string) {
			closedHistory(t, path)
			f, err := os.OpenFile(path, os.O_RDWR, 0)
			if err != nil {
				t.Fatal(err)
			}
			_, err = f.WriteAt(bytes.Repeat([]byte{0xa5}, 4096), 0)
			if err := errors.Join(err, f.Close()); err != nil {
				t.Fatal(err)
			}
		}, false, record.ErrDamaged},
		{"another program's", func(t *testing.T, path string) {
			execute(t, path, `PRAGMA application_id = 1234`, `CREATE TABLE a (b)`)
		}, false, record.ErrForeign},
		{"a database without a mark", func(t *testing.T, path string) { execute(t, path, `CREATE TABLE a (b)`) }, false, record.ErrForeign},
		{"newer", func(t *testing.T, path string) {
			closedHistory(t, path)
			execute(t, path, `PRAGMA user_version = 99`)
		}, false, record.ErrNewer},
		{"newer, read-only", func(t *testing.T, path string) {
			closedHistory(t, path)
			execute(t, path, `PRAGMA user_version = 99`)
		}, true, record.ErrNewer},
		{"log that cannot be made", func(t *testing.T, path string) {
			closedHistory(t, path)
			if err := os.Mkdir(path+"-wal", 0o755); err != nil {
				t.Fatal(err)
			}
		}, false, record.ErrReadOnly},
		{"folder that cannot be made", func(t *testing.T, path string) {
			writeFile(t, filepath.Dir(path), nil)
		}, false, record.ErrReadOnly},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			path := filepath.Join(t.TempDir(), "shop", "coilkeep.db")
			if c.name != "folder that cannot be made" {
				if err := os.Mkdir(filepath.Dir(path), 0o755); err != nil {
					t.Fatal(err)
				}
			}
			c.make(t, path)
			before, _ := os.ReadFile(path)
			s, err := Open(t.Context(), path, Options{ReadOnly: c.readOnly, BusyTimeout: quick.BusyTimeout})
			if !errors.Is(err, c.want) {
				t.Fatalf("error %v, want %v", err, c.want)
			}
			if s != nil {
				t.Error("a half-open store came with the error")
			}
			if !strings.Contains(err.Error(), "coilkeep.db") {
				t.Errorf("error does not name the file: %v", err)
			}
			if after, _ := os.ReadFile(path); !bytes.Equal(before, after) {
				t.Error("the refused file was changed")
			}
		})
	}
}

func TestOpenRefusesFolder(t *testing.T) {
	t.Parallel()
	if _, err := Open(t.Context(), t.TempDir(), Options{}); err == nil || !strings.Contains(err.Error(), "is a folder") {
		t.Errorf("error %v, want one that says it is a folder", err)
	}
}

func truncated(t *testing.T, path string) {
	t.Helper()
	closedHistory(t, path)
	if err := os.Truncate(path, 3*4096+100); err != nil {
		t.Fatal(err)
	}
}

func writeFile(t *testing.T, path string, content []byte) {
	t.Helper()
	if err := os.WriteFile(path, content, 0o644); err != nil {
		t.Fatal(err)
	}
}

// closedHistory leaves a sound history with one measurement.
func closedHistory(t *testing.T, path string) {
	t.Helper()
	s, err := Open(t.Context(), path, Options{Now: stepClock()})
	if err != nil {
		t.Fatal(err)
	}
	must(t)(s.AddDesign(t.Context(), wren(), "ada"))
	must(t)(s.OpenBatch(t.Context(), record.BatchStart{Name: "B-1", Bench: "north", Design: "wren"}))
	recordCoil(t, s, "HN-0001")
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

// execute runs statements on a database file as another program would.
func execute(t *testing.T, path string, statements ...string) {
	t.Helper()
	db, err := sql.Open("sqlite", fileURL(path, url.Values{}))
	if err != nil {
		t.Fatal(err)
	}
	for _, statement := range statements {
		if _, err := db.ExecContext(t.Context(), statement); err != nil {
			t.Fatal(err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

func TestReadOnly(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "coilkeep.db")
	closedHistory(t, path)
	s := openStore(t, path, Options{ReadOnly: true})
	if coil, err := s.Coil(t.Context(), "HN-0001"); err != nil || len(coil.Measurements) != 1 {
		t.Errorf("coil: %+v, %v", coil, err)
	}
	_, recordErr := s.Record(t.Context(), record.Measurement{}, nil)
	m, readings := sample(t, "HN-0002", 6690, firstInstant)
	_, wholeErr := s.Record(t.Context(), m, readings)
	_, designErr := s.ReviseDesign(t.Context(), wren(), "ada")
	for name, err := range map[string]error{
		"record": wholeErr, "revise": designErr, "own": s.Own(), "writable": s.Writable(t.Context()),
		"backup": s.Backup(t.Context(), path+".copy", false),
	} {
		if !errors.Is(err, record.ErrReadOnly) {
			t.Errorf("%s: %v, want ErrReadOnly", name, err)
		}
	}
	if !errors.Is(recordErr, record.ErrInvalid) {
		t.Errorf("record nothing: %v, want ErrInvalid", recordErr)
	}
}

// A reader sees what a killed or still running writer left in the log.
func TestReadOnlyBesideWriter(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	recordCoil(t, s, "HN-0001")
	reader := openStore(t, s.Path(), Options{ReadOnly: true})
	recordCoil(t, s, "HN-0002")
	for _, serial := range []string{"HN-0001", "HN-0002"} {
		if _, err := reader.Coil(t.Context(), serial); err != nil {
			t.Errorf("%s: %v; want it to be there", serial, err)
		}
	}
}

func TestOwn(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "coilkeep.db")
	first := openStore(t, path, Options{})
	if err := first.Own(); err != nil {
		t.Fatal(err)
	}
	if err := first.Own(); err != nil {
		t.Errorf("own twice: %v", err)
	}
	second := openStore(t, path, Options{})
	err := second.Own()
	if !errors.Is(err, record.ErrLocked) || !strings.Contains(err.Error(), fmt.Sprintf("process %d", os.Getpid())) {
		t.Errorf("second owner: %v, want ErrLocked that names the process", err)
	}
	// Owning does not keep a command from writing.
	must(t)(second.AddDesign(t.Context(), wren(), "ada"))
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	if err := second.Own(); err != nil {
		t.Errorf("own after the first has closed: %v", err)
	}
}

// Another program's long write makes a measurement wait, then fail as busy;
// tried again afterwards it is stored once.
func TestBusy(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	other := openStore(t, s.Path(), quick)
	tx, err := s.writer.BeginTx(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := other.Writable(t.Context()); !errors.Is(err, record.ErrBusy) {
		t.Errorf("writable: %v, want ErrBusy", err)
	}
	m, readings := sample(t, "HN-0001", 6690, firstInstant)
	m, err = other.Record(t.Context(), m, readings)
	if !errors.Is(err, record.ErrBusy) {
		t.Errorf("error %v, want ErrBusy", err)
	}
	if _, err := Open(t.Context(), s.Path(), quick); !errors.Is(err, record.ErrBusy) {
		t.Errorf("open: %v, want ErrBusy", err)
	}
	if err := tx.Rollback(); err != nil {
		t.Fatal(err)
	}
	if err := other.Writable(t.Context()); err != nil {
		t.Errorf("writable again: %v", err)
	}
	must(t)(other.Record(t.Context(), m, readings))
	must(t)(other.Record(t.Context(), m, readings))
	if n := count(t, s, `SELECT COUNT(*) FROM measurements`); n != 1 {
		t.Errorf("%d measurements stored, want 1", n)
	}
}

// A full disk refuses a measurement whole, and takes it once there is room.
func TestFull(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	limit := func(pages int) {
		t.Helper()
		if _, err := s.writer.ExecContext(t.Context(), fmt.Sprintf("PRAGMA max_page_count = %d", pages)); err != nil {
			t.Fatal(err)
		}
	}
	limit(1) // SQLite takes the present size instead
	var acknowledged int
	var m record.Measurement
	var readings []record.Reading
	var err error
	for err == nil {
		m, readings = sample(t, fmt.Sprintf("HN-%04d", acknowledged+1), 6690, firstInstant)
		if m, err = s.Record(t.Context(), m, readings); err == nil {
			acknowledged++
		}
		if acknowledged > 1000 {
			t.Fatal("the disk never became full")
		}
	}
	if !errors.Is(err, record.ErrFull) {
		t.Fatalf("error %v, want ErrFull", err)
	}
	if n := count(t, s, `SELECT COUNT(*) FROM measurements`); n != acknowledged {
		t.Errorf("%d measurements stored, %d acknowledged", n, acknowledged)
	}
	verifies(t, s)
	limit(1 << 30)
	must(t)(s.Record(t.Context(), m, readings))
	verifies(t, s)
}

// A program stopped while it changed a file that is not in WAL mode leaves a
// rollback journal. Opening takes the change back; read-only it cannot.
func TestUnfinished(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "coilkeep.db")
	closedHistory(t, path)
	db, err := sql.Open("sqlite", fileURL(path, url.Values{"_pragma": {"journal_mode(delete)", "cache_size(1)"}}))
	if err != nil {
		t.Fatal(err)
	}
	tx, err := db.BeginTx(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	const many = `
		WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 20000)
		INSERT INTO coils (serial) SELECT 'unfinished ' || i FROM n`
	must(t)(tx.ExecContext(t.Context(), many))
	stopped := filepath.Join(t.TempDir(), "coilkeep.db")
	for _, end := range []string{"", "-journal"} {
		content, err := os.ReadFile(path + end)
		if err != nil {
			t.Fatal(err)
		}
		writeFile(t, stopped+end, content)
	}
	if err := errors.Join(tx.Rollback(), db.Close()); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), stopped, Options{ReadOnly: true}); !errors.Is(err, record.ErrUnfinished) {
		t.Errorf("read-only: %v, want ErrUnfinished", err)
	}
	s := openStore(t, stopped, Options{})
	if n := count(t, s, `SELECT COUNT(*) FROM coils`); n != 1 {
		t.Errorf("%d coils, want 1", n)
	}
	verifies(t, s)
}

// Programs that open a file together neither fail nor see it half made, and of an
// older one they keep one copy.
func TestOpenAtOnce(t *testing.T) {
	t.Parallel()
	for older, copies := range []int{0, 1} {
		for range 5 {
			path := filepath.Join(t.TempDir(), "coilkeep.db")
			if older == 1 {
				s, err := open(t.Context(), path, Options{}, migrations[:5])
				if err != nil {
					t.Fatal(err)
				}
				must(t)(nil, s.Close())
			}
			var group sync.WaitGroup
			for range 8 {
				group.Go(func() {
					s, err := Open(t.Context(), path, Options{})
					if err != nil {
						t.Errorf("open: %v", err)
						return
					}
					if err := s.Close(); err != nil {
						t.Errorf("close: %v", err)
					}
				})
			}
			group.Wait()
			kept, err := filepath.Glob(path + ".before-version-*")
			if err != nil || len(kept) != copies {
				t.Errorf("copies of what was there: %v, %v; want %d", kept, err, copies)
			}
		}
	}
}

func TestCloseTwice(t *testing.T) {
	t.Parallel()
	s := newStore(t)
	for range 2 {
		if err := s.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	}
	if _, err := s.Designs(t.Context()); err == nil {
		t.Error("a closed store answered")
	}
}
