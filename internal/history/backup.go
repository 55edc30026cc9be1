package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"coilkeep/internal/record"
)

// Backup copies the whole history to a new file at dst while everything goes
// on, checks the copy, makes it durable and only then gives it its name. It
// notes the time in the history; see LastBackup. A file that is there already
// is ErrExists unless overwrite is true.
func (s *file) Backup(ctx context.Context, dst string, overwrite bool) error {
	tried := fmt.Sprintf("back up to %s", dst)
	if s.writer == nil {
		return fmt.Errorf("%s: %w", tried, record.ErrReadOnly)
	}
	absolute, err := filepath.Abs(dst)
	if err != nil {
		return fmt.Errorf("%s: %w", tried, err)
	}
	if err := s.copyTo(ctx, absolute, overwrite); err != nil {
		return fmt.Errorf("%s: %w", tried, classify(err))
	}
	s.opts.Logger.Info("backed up the history", "file", absolute)
	return s.write(ctx, "note the backup", func(tx *transaction) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO backups (time_us, path) VALUES (?1, ?2)`, s.instant().UnixMicro(), absolute)
		return err
	})
}

// LastBackup is when the last backup was finished, the zero time when there
// was none.
func (s *file) LastBackup(ctx context.Context) (time.Time, error) {
	var us sql.NullInt64
	err := s.readers.QueryRowContext(ctx, `SELECT MAX(time_us) FROM backups`).Scan(&us)
	return fromNullMicros(us), explain(s.path, "read last backup", err)
}

// copyTo writes a checked, durable copy to dst.
func (s *file) copyTo(ctx context.Context, dst string, overwrite bool) error {
	switch info, err := os.Lstat(dst); {
	case err == nil && !overwrite:
		return fmt.Errorf("%s: %w", dst, record.ErrExists)
	case err == nil && !info.Mode().IsRegular():
		return fmt.Errorf("%s is not a file: %w", dst, record.ErrExists)
	case err == nil && sameFile(dst, s.path):
		return fmt.Errorf("%s is the history itself: %w", dst, record.ErrExists)
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return err
	}
	if err := aloneThere(dst); err != nil {
		return err
	}
	partial, err := s.vacuumBeside(ctx, dst)
	if err != nil {
		return err
	}
	if err := publish(partial, dst); err != nil {
		return errors.Join(err, os.Remove(partial))
	}
	return nil
}

func sameFile(a, b string) bool {
	infoA, errA := os.Stat(a)
	infoB, errB := os.Stat(b)
	return errA == nil && errB == nil && os.SameFile(infoA, infoB)
}

// vacuumBeside writes a checked copy under a passing name beside dst and
// returns that name. It reads one unchanging view without holding up anyone.
// (The step-wise backup of SQLite would start again after every write.)
func (s *file) vacuumBeside(ctx context.Context, dst string) (string, error) {
	f, err := os.CreateTemp(filepath.Dir(dst), filepath.Base(dst)+".partial-*")
	if err != nil {
		return "", err
	}
	if err := errors.Join(f.Close(), s.vacuum(ctx, f.Name()), copyMode(s.path, f.Name())); err != nil {
		return "", errors.Join(err, os.Remove(f.Name()))
	}
	return f.Name(), nil
}

// copyMode lets those use a copy who may use the original.
func copyMode(original, copied string) error {
	info, err := os.Stat(original)
	if err != nil {
		return err
	}
	return os.Chmod(copied, info.Mode().Perm())
}

// vacuum writes a checked copy to an empty file.
func (s *file) vacuum(ctx context.Context, empty string) error {
	least, err := countRecords(ctx, s.readers)
	if err != nil {
		return err
	}
	// Not over the reading pool, whose connections may not even write a copy.
	source, err := sql.Open("sqlite", fileURL(s.path, url.Values{
		"mode":    {"ro"},
		"_pragma": {fmt.Sprintf("busy_timeout(%d)", s.opts.BusyTimeout.Milliseconds())},
	}))
	if err != nil {
		return err
	}
	_, err = source.ExecContext(ctx, `VACUUM INTO ?1`, empty)
	if err := errors.Join(err, source.Close()); err != nil {
		return fmt.Errorf("copy: %w", err)
	}
	if err := checkCopy(ctx, empty, least); err != nil {
		return fmt.Errorf("check the copy: %w", err)
	}
	return nil
}

// countRecords counts the rows that are added with every change.
func countRecords(ctx context.Context, q querier) (count int64, err error) {
	err = q.QueryRowContext(ctx, `
		SELECT (SELECT COUNT(*) FROM measurements) + (SELECT COUNT(*) FROM journal)`).Scan(&count)
	return count, err
}

// checkCopy refuses a copy that is not whole.
func checkCopy(ctx context.Context, path string, least int64) (err error) {
	// Nobody else has this file open, so it needs no locks.
	db, err := sql.Open("sqlite", fileURL(path, url.Values{"mode": {"ro"}, "immutable": {"1"}}))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	var application int
	if err := db.QueryRowContext(ctx, "PRAGMA application_id").Scan(&application); err != nil {
		return err
	}
	if application != applicationID {
		return fmt.Errorf("application id %#x: %w", application, record.ErrForeign)
	}
	faults, err := integrity(ctx, db)
	if err != nil {
		return err
	}
	if len(faults) > 0 {
		return fmt.Errorf("%s: %w", faults[0].Problem, record.ErrDamaged)
	}
	count, err := countRecords(ctx, db)
	if err == nil && count < least {
		err = fmt.Errorf("it has %d records of at least %d: %w", count, least, record.ErrDamaged)
	}
	return err
}

// publish makes a file durable and gives it its final name.
func publish(partial, dst string) error {
	f, err := os.OpenFile(partial, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(partial, dst); err != nil {
		return err
	}
	return syncDir(filepath.Dir(dst))
}
