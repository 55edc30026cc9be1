package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"time"

	"coilkeep/internal/record"
)

// Options says how to open a history.
type Options struct {
	// ReadOnly opens an existing file for reading; nothing is created or
	// migrated, and every method that writes returns ErrReadOnly.
	ReadOnly bool
	// MustExist refuses to create a file, with ErrMissing: a path that was
	// mistyped is then no new and empty history.
	MustExist bool
	// BusyTimeout is how long to wait for another program's write; 0 means 5 s.
	BusyTimeout time.Duration
	// Now is the clock that stamps records; nil means time.Now.
	Now func() time.Time
	// Logger hears of migrations and backups; nil means nobody does.
	Logger *slog.Logger

	// noCopy migrates without keeping a copy, when the file is one itself.
	noCopy bool
}

func (o Options) withDefaults() Options {
	if o.BusyTimeout == 0 {
		o.BusyTimeout = 5 * time.Second
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	return o
}

// Store is one opened history. Its methods may be called from many goroutines,
// and several programs may have the same file open: each write is one short
// transaction.
type Store struct {
	*file
	journalRecords
	batchRecords
	coilRecords
	measurementRecords
	designRecords
	instrumentRecords
	comparisonRecords
	studyRecords
	assemblyRecords
	exchange
}

// What is asked and written about each subject, in one file.
type (
	journalRecords     struct{ *file }
	batchRecords       struct{ *file }
	coilRecords        struct{ *file }
	measurementRecords struct{ *file }
	designRecords      struct{ *file }
	instrumentRecords  struct{ *file } // their calibrations, leads, check standards and baselines too
	comparisonRecords  struct{ *file }
	studyRecords       struct{ *file }
	assemblyRecords    struct{ *file }
	// exchange is what leaves the history whole, or comes into it.
	exchange struct{ *file }
)

// file is the file of a history: its connections, its schema, its copies.
type file struct {
	path string
	opts Options
	// writer holds the one connection that writes, nil when read-only; readers
	// cannot write. Keeping them apart lets no reader ever delay a measurement,
	// and no transaction start reading and fail when it comes to write.
	writer  *sql.DB
	readers *sql.DB
	// compiled are the statements of the writer.
	compiled statements
	// stamp is that of the readers which is asked all the time; nil before.
	stampMu sync.Mutex
	stamp   *sql.Stmt
	owner   *os.File
	// immutable is true when the file is read without a look at its log.
	immutable bool
}

// Open opens the history at path. Unless read-only it creates the folder and
// the file when they are missing and may be, and brings the schema up to date,
// after keeping a copy of the file beside it. It refuses a file that cannot keep its
// promises: see the errors of this package about the file. The caller closes
// the Store.
func Open(ctx context.Context, path string, opts Options) (*Store, error) {
	return open(ctx, path, opts, migrations)
}

func open(ctx context.Context, path string, opts Options, steps []string) (*Store, error) {
	absolute, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("open history %s: %w", path, err)
	}
	f := &file{path: absolute, opts: opts.withDefaults(), compiled: statements{byText: map[string]*sql.Stmt{}}}
	s := &Store{f, journalRecords{f}, batchRecords{f}, coilRecords{f}, measurementRecords{f}, designRecords{f}, instrumentRecords{f},
		comparisonRecords{f}, studyRecords{f}, assemblyRecords{f}, exchange{f}}
	if err := s.open(ctx, steps); err != nil {
		return nil, errors.Join(fmt.Errorf("open history %s: %w", absolute, classify(err)), s.Close())
	}
	return s, nil
}

func (s *file) open(ctx context.Context, steps []string) (err error) {
	if err := s.prepareFile(); err != nil {
		return err
	}
	// The file is looked at before any connection that could change it.
	if s.readers, err = sql.Open("sqlite", s.dsn(true)); err != nil {
		return err
	}
	s.readers.SetMaxOpenConns(4)
	s.readers.SetConnMaxIdleTime(time.Minute)
	if s.opts.ReadOnly {
		return s.inspectReadOnly(ctx, steps)
	}
	if exists(s.path) {
		if err := s.inspect(ctx, steps); err != nil {
			return err
		}
	}
	if s.writer, err = sql.Open("sqlite", s.dsn(false)); err != nil {
		return err
	}
	s.writer.SetMaxOpenConns(1)
	if err := s.checkWriter(ctx); err != nil {
		return err
	}
	return s.migrate(ctx, steps)
}

// inspectReadOnly is inspect for a store that only reads. To read a file whose
// writer keeps a log beside it SQLite needs to write there too; where that is
// forbidden and no log is there, as on a backup medium, nobody can be writing
// and the file is read as it stands.
func (s *file) inspectReadOnly(ctx context.Context, steps []string) error {
	err := s.inspect(ctx, steps)
	if kindOf(err) != record.ErrReadOnly || exists(s.path+"-wal") {
		return err
	}
	if err := s.readers.Close(); err != nil {
		return err
	}
	s.immutable = true
	if s.readers, err = sql.Open("sqlite", s.dsn(true)); err != nil {
		return err
	}
	return s.inspect(ctx, steps)
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// prepareFile makes the folder, and refuses what is no file.
func (s *file) prepareFile() error {
	switch info, err := os.Stat(s.path); {
	case err == nil && info.IsDir():
		return fmt.Errorf("%s is a folder; name a file in it", s.path)
	case err == nil:
		return nil
	case !errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("%w (%w)", record.ErrReadOnly, err)
	case s.opts.ReadOnly || s.opts.MustExist:
		return record.ErrMissing
	}
	if err := os.MkdirAll(filepath.Dir(s.path), 0o755); err != nil {
		return fmt.Errorf("%w (%w)", record.ErrReadOnly, err)
	}
	return nil
}

// dsn is the data source name: settings in it hold for every connection of a
// pool, which a PRAGMA sent over one of them would not.
func (s *file) dsn(readOnly bool) string {
	pragmas := []string{fmt.Sprintf("busy_timeout(%d)", s.opts.BusyTimeout.Milliseconds())}
	settings := url.Values{}
	if readOnly {
		settings.Set("mode", "ro")
		if s.immutable {
			settings.Set("immutable", "1")
		}
		pragmas = append(pragmas, "query_only(1)")
	} else {
		settings.Set("_txlock", "immediate")
		// fullfsync asks macOS for what fsync means elsewhere.
		pragmas = append(pragmas, "journal_mode(wal)", "synchronous(full)", "fullfsync(1)",
			"checkpoint_fullfsync(1)", "foreign_keys(1)")
	}
	settings["_pragma"] = pragmas
	return fileURL(s.path, settings)
}

func fileURL(path string, settings url.Values) string {
	slashed := filepath.ToSlash(path)
	if runtime.GOOS == "windows" && !strings.HasPrefix(slashed, "/") {
		slashed = "/" + slashed // file:///C:/…
	}
	u := url.URL{Scheme: "file", Path: slashed, RawQuery: settings.Encode()}
	return u.String()
}

// checkWriter asks the writing connection whether its settings really hold,
// and whether the file can be written at all.
func (s *file) checkWriter(ctx context.Context) error {
	if err := s.patiently(ctx, s.tryWriting); err != nil {
		return err
	}
	for _, c := range []struct{ pragma, want string }{
		{"journal_mode", "wal"},
		{"synchronous", "2"}, // FULL
		{"foreign_keys", "1"},
	} {
		var got string
		if err := s.writer.QueryRowContext(ctx, "PRAGMA "+c.pragma).Scan(&got); err != nil {
			return err
		}
		if got != c.want {
			return fmt.Errorf("%w (%s is %q, not %q)", record.ErrUnsafe, c.pragma, got, c.want)
		}
	}
	return nil
}

// patiently calls fn again while it is busy and the busy time-out has not
// passed: when several programs create a file at once, the change to WAL mode
// gives up at once where anything else would wait.
func (s *file) patiently(ctx context.Context, fn func(context.Context) error) error {
	deadline := time.Now().Add(s.opts.BusyTimeout)
	for {
		err := fn(ctx)
		if kindOf(err) != record.ErrBusy || time.Now().After(deadline) {
			return err
		}
		select {
		case <-ctx.Done():
			return errors.Join(err, ctx.Err())
		case <-time.After(5 * time.Millisecond):
		}
	}
}

// tryWriting writes something and takes it back. On a file that may only be
// read, taking the write lock alone would pass.
func (s *file) tryWriting(ctx context.Context) error {
	tx, err := s.writer.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, "CREATE TABLE attempt (a INTEGER)")
	return errors.Join(err, tx.Rollback())
}

// Path is the absolute path of the file.
func (s *file) Path() string { return s.path }

// Own claims the history for serving, until Close: a second daemon that asks
// gets ErrLocked. Commands need not own a history to read or write it.
func (s *file) Own() error {
	if s.opts.ReadOnly {
		return fmt.Errorf("serve history %s: %w", s.path, record.ErrReadOnly)
	}
	if s.owner != nil {
		return nil
	}
	owner, err := lock(lockPath(s.path))
	if err != nil {
		return fmt.Errorf("serve history %s: %w", s.path, err)
	}
	s.owner = owner
	return nil
}

// Close ends the use of the file and gives up owning it. It may be called more
// than once.
func (s *file) Close() error {
	var errs []error
	s.stampMu.Lock()
	if s.stamp != nil {
		errs = append(errs, s.stamp.Close())
		s.stamp = nil
	}
	s.stampMu.Unlock()
	if s.readers != nil {
		errs = append(errs, s.readers.Close())
	}
	errs = append(errs, s.compiled.close())
	// Last of all the writer, so that it folds the log back into the file.
	if s.writer != nil {
		errs = append(errs, s.writer.Close())
	}
	if s.owner != nil {
		errs = append(errs, s.owner.Close())
		s.owner = nil
	}
	return explain(s.path, "close history", errors.Join(errs...))
}

// SizeBytes is how much room the history takes on the disk, its write-ahead
// log included.
func (s *file) SizeBytes() (int64, error) {
	info, err := os.Stat(s.path)
	if err != nil {
		return 0, fmt.Errorf("size of history: %w", err)
	}
	size := info.Size()
	switch log, err := os.Stat(s.path + "-wal"); {
	case err == nil:
		size += log.Size()
	case !errors.Is(err, fs.ErrNotExist):
		return 0, fmt.Errorf("size of history: %w", err)
	}
	return size, nil
}

// write runs fn in one transaction that holds the write lock from its start.
// When write returns nil, what fn did is on the disk; otherwise none of it is
// in the history, or, when the disk failed at the very end, all of it may be.
func (s *file) write(ctx context.Context, tried string, fn func(*transaction) error) error {
	if s.writer == nil {
		return fmt.Errorf("%s in %s: %w", tried, s.path, record.ErrReadOnly)
	}
	begun, err := s.writer.BeginTx(ctx, nil)
	if err != nil {
		return explain(s.path, tried, err)
	}
	tx := &transaction{Tx: begun, compiled: &s.compiled}
	// After a commit, or when SQLite has rolled back by itself, this does
	// nothing and says so; that is no news.
	defer func() { _ = tx.Rollback() }()
	if err := fn(tx); err != nil {
		return explain(s.path, tried, err)
	}
	if err := tx.Commit(); err != nil {
		return explain(s.path, tried, err)
	}
	s.compiled.keep(ctx, s.writer, tx.fresh)
	return nil
}

// read runs fn on one unchanging view of the history.
func (s *file) read(ctx context.Context, tried string, fn func(querier) error) error {
	tx, err := s.readers.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return explain(s.path, tried, err)
	}
	defer func() { _ = tx.Rollback() }() // nothing was written
	return explain(s.path, tried, fn(tx))
}

// instant is now in the precision the history keeps.
func (s *file) instant() time.Time { return fromMicros(s.opts.Now().UnixMicro()) }

func fromMicros(us int64) time.Time { return time.UnixMicro(us).UTC() }

// fromNullMicros is the zero time when us is NULL.
func fromNullMicros(us sql.NullInt64) time.Time {
	if !us.Valid {
		return time.Time{}
	}
	return fromMicros(us.Int64)
}

func nullMicros(t time.Time) sql.NullInt64 {
	return sql.NullInt64{Int64: t.UnixMicro(), Valid: !t.IsZero()}
}
