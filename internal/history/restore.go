package history

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"coilkeep/internal/record"
)

// Restored tells what Restore did.
type Restored struct {
	// Kept is where the file that was there before is now; empty when there
	// was none.
	Kept string
	// Report is the verification of what was restored.
	Report record.Report
}

// Restore puts the backup src in the place of the history dst, after copying
// and verifying it in full, and keeps what was there before under another
// name beside it. The progress is that of Verify; nil when nobody watches.
//
// It refuses with ErrMissing when there is no src; ErrDamaged, ErrForeign or
// ErrNewer when src cannot be used; ErrLocked when a daemon serves dst,
// ErrBusy when another program has it open. Nothing has changed then.
func Restore(ctx context.Context, src, dst string, opts Options, progress func(done, total int)) (Restored, error) {
	tried := fmt.Sprintf("restore %s to %s", src, dst)
	dst, err := filepath.Abs(dst)
	if err != nil {
		return Restored{}, fmt.Errorf("%s: %w", tried, err)
	}
	if !exists(src) {
		return Restored{}, fmt.Errorf("%s: %w", tried, record.ErrMissing)
	}
	if sameFile(src, dst) {
		return Restored{}, fmt.Errorf("%s: %w", tried, record.Invalid("source", "must not be the history itself"))
	}
	if err := os.MkdirAll(filepath.Dir(dst), 0o755); err != nil {
		return Restored{}, fmt.Errorf("%s: %w (%w)", tried, record.ErrReadOnly, err)
	}
	owner, err := lock(lockPath(dst))
	if err != nil {
		return Restored{}, fmt.Errorf("%s: %w", tried, err)
	}
	restored, err := restore(ctx, src, dst, opts.withDefaults(), progress)
	if err := errors.Join(err, owner.Close()); err != nil {
		return restored, fmt.Errorf("%s: %w", tried, classify(err))
	}
	return restored, nil
}

func restore(ctx context.Context, src, dst string, opts Options, progress func(done, total int)) (Restored, error) {
	if err := makeIdle(ctx, dst, opts); err != nil {
		return Restored{}, err
	}
	fresh, report, err := verifiedCopy(ctx, src, dst, opts, progress)
	if err != nil {
		return Restored{Report: report}, err
	}
	// Verifying took its time: still nobody may have opened the old one.
	err = makeIdle(ctx, dst, opts)
	var kept string
	if err == nil {
		kept, err = replace(fresh, dst, opts)
	}
	if err != nil {
		if exists(fresh) {
			err = errors.Join(err, os.Remove(fresh))
		}
		return Restored{Kept: kept, Report: report}, err
	}
	opts.Logger.Info("restored the history", "file", dst, "from", src, "kept", kept)
	return Restored{Kept: kept, Report: report}, nil
}

// replace puts fresh in the place of dst and returns the name under which the
// old file is kept.
func replace(fresh, dst string, opts Options) (kept string, err error) {
	if exists(dst) {
		if err := copyMode(dst, fresh); err != nil {
			return "", err
		}
	}
	kept, err = setAside(dst, opts)
	if err == nil {
		err = publish(fresh, dst)
	}
	// When only the very last step failed, the new file is there already.
	if err != nil && exists(fresh) {
		return "", errors.Join(err, putBack(kept, dst))
	}
	return kept, err
}

// makeIdle folds the log of the old history back into its file, which is
// refused while any other program has it open. A damaged file is left as it
// is: being rid of it is what a restore is for.
func makeIdle(ctx context.Context, dst string, opts Options) (err error) {
	if !exists(dst) {
		return nil
	}
	opts.ReadOnly = false
	s := &file{path: dst, opts: opts}
	if s.readers, err = sql.Open("sqlite", s.dsn(true)); err != nil {
		return err
	}
	err = s.inspect(ctx, migrations)
	if err := s.Close(); err != nil {
		return err
	}
	switch kind := kindOf(err); {
	case kind == record.ErrDamaged || errors.Is(err, record.ErrNewer):
		return nil
	case err != nil:
		return err
	}
	if s.writer, err = sql.Open("sqlite", s.dsn(false)); err != nil {
		return err
	}
	s.writer.SetMaxOpenConns(1)
	// Leaving WAL mode takes sole use of the file.
	_, err = s.writer.ExecContext(ctx, "PRAGMA journal_mode = DELETE")
	return errors.Join(err, s.Close())
}

// verifiedCopy copies src beside dst, brings it up to date and verifies it.
// The caller renames or removes the file.
func verifiedCopy(ctx context.Context, src, dst string, opts Options, progress func(done, total int)) (string, record.Report, error) {
	source, err := filepath.Abs(src)
	if err != nil {
		return "", record.Report{}, err
	}
	opts.ReadOnly, opts.noCopy = false, true
	old := &file{path: source, opts: opts}
	if old.readers, err = sql.Open("sqlite", old.dsn(true)); err != nil {
		return "", record.Report{}, err
	}
	var fresh string
	if err = old.inspect(ctx, migrations); err == nil {
		fresh, err = old.vacuumBeside(ctx, dst)
	}
	if err := errors.Join(err, old.Close()); err != nil {
		return "", record.Report{}, fmt.Errorf("read %s: %w", src, err)
	}
	report, err := verifyFresh(ctx, fresh, opts, progress, record.JournalEntry{Action: "restore", Subject: filepath.Base(dst),
		Detail: "from " + source})
	if err != nil {
		return "", report, errors.Join(fmt.Errorf("%s: %w", src, err), os.Remove(fresh))
	}
	return fresh, report, nil
}

// verifyFresh verifies a copy and notes in its journal what it is for.
func verifyFresh(ctx context.Context, fresh string, opts Options, progress func(done, total int),
	entry record.JournalEntry) (record.Report, error) {
	s, err := Open(ctx, fresh, opts)
	if err != nil {
		return record.Report{}, err
	}
	report, err := s.Verify(ctx, progress)
	if damage := report.Of(record.FaultDamage); err == nil && len(damage) > 0 {
		err = fmt.Errorf("%s: %w", damage[0].Problem, record.ErrDamaged)
	}
	if err == nil {
		_, err = s.AddJournal(ctx, entry)
	}
	if err := errors.Join(err, s.Close()); err != nil {
		return report, err
	}
	// All must be in the one file that is going to be renamed.
	return report, aloneThere(fresh)
}

// companions are the ends of the names of the files that belong to a database.
// Left beside another one they would be taken for its own and spoil it.
var companions = []string{"-wal", "-shm", "-journal"}

// setAside gives a history and its companions another name, and returns it;
// it is empty when there was nothing. The old name stays, too, until the new
// file takes it, so that at no moment there is no history.
func setAside(dst string, opts Options) (kept string, err error) {
	kept = fmt.Sprintf("%s.before-restore-%s", dst, fileStamp(opts.Now()))
	for n := 2; exists(kept); n++ {
		kept = fmt.Sprintf("%s.before-restore-%s-%d", dst, fileStamp(opts.Now()), n)
	}
	if err := renameCompanions(dst, kept); err != nil {
		return kept, err
	}
	if !exists(dst) {
		return "", nil
	}
	if os.Link(dst, kept) == nil {
		return kept, nil
	}
	// Some file systems have no second names.
	return kept, os.Rename(dst, kept)
}

// putBack undoes setAside.
func putBack(kept, dst string) error {
	if kept == "" {
		return nil
	}
	err := renameCompanions(kept, dst)
	switch {
	case !exists(kept):
	case exists(dst):
		err = errors.Join(err, os.Remove(kept))
	default:
		err = errors.Join(err, os.Rename(kept, dst))
	}
	return err
}

func renameCompanions(from, to string) error {
	for _, end := range companions {
		if err := os.Rename(from+end, to+end); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return nil
}

// aloneThere refuses a name beside which there are companions of a database.
func aloneThere(path string) error {
	for _, end := range companions {
		if exists(path + end) {
			return fmt.Errorf("%s%s shows that a database of that name is in use: %w", path, end, record.ErrExists)
		}
	}
	return nil
}

// fileStamp names a moment in the name of a file that is set aside.
func fileStamp(t time.Time) string { return t.UTC().Format("20060102T150405Z") }
