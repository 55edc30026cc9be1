package history

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"path"

	"coilkeep/internal/record"
)

// applicationID marks the file as ours in its header: "coil" in ASCII.
const applicationID = 0x636f696c

//go:embed migrations/*.sql
var migrationFiles embed.FS

// migrations are the steps from an empty file to the present schema. Step i
// brings version i to i+1. A step that was released is never edited; a new one
// is appended.
var migrations = mustReadMigrations(migrationFiles)

// mustReadMigrations panics when the embedded files cannot be read or are not
// numbered from 0001 without gaps: a bug in the program, found at start-up.
func mustReadMigrations(files fs.FS) []string {
	names, err := fs.Glob(files, "migrations/*.sql")
	if err != nil {
		panic(err)
	}
	steps := make([]string, 0, len(names))
	for i, name := range names {
		var number int
		if _, err := fmt.Sscanf(path.Base(name), "%04d_", &number); err != nil || number != i+1 {
			panic(fmt.Sprintf("history: %s should be numbered %04d", name, i+1))
		}
		text, err := fs.ReadFile(files, name)
		if err != nil {
			panic(err)
		}
		steps = append(steps, string(text))
	}
	return steps
}

// inspect refuses a file that is not ours, or of a version that steps cannot
// serve. It changes nothing, but for taking back a change that another program
// was stopped in the middle of.
func (s *file) inspect(ctx context.Context, steps []string) error {
	err := s.look(ctx, steps)
	if kindOf(err) == record.ErrUnfinished && !s.opts.ReadOnly {
		return errors.Join(s.takeBack(ctx), s.look(ctx, steps))
	}
	return err
}

// takeBack lets SQLite roll back an unfinished change, by reading over a
// connection that may write and has no settings that would change the file.
func (s *file) takeBack(ctx context.Context) error {
	db, err := sql.Open("sqlite", fileURL(s.path, url.Values{
		"mode":    {"rw"},
		"_pragma": {fmt.Sprintf("busy_timeout(%d)", s.opts.BusyTimeout.Milliseconds())},
	}))
	if err != nil {
		return err
	}
	var objects int
	err = db.QueryRowContext(ctx, "SELECT COUNT(*) FROM sqlite_schema").Scan(&objects)
	return errors.Join(err, db.Close())
}

func (s *file) look(ctx context.Context, steps []string) (err error) {
	// In one transaction, because another program may be creating the file.
	tx, err := s.readers.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, tx.Rollback()) }()
	var application, version, objects int
	for _, ask := range []struct {
		query string
		into  *int
	}{
		{"SELECT COUNT(*) FROM sqlite_schema", &objects},
		{"PRAGMA application_id", &application},
		{"PRAGMA user_version", &version},
	} {
		if err := tx.QueryRowContext(ctx, ask.query).Scan(ask.into); err != nil {
			return err
		}
	}
	readOnly := s.opts.ReadOnly
	empty := application == 0 && version == 0 && objects == 0
	switch {
	case empty && (readOnly || s.opts.MustExist):
		return fmt.Errorf("the file is empty: %w", record.ErrMissing)
	case empty:
		return nil
	case application != applicationID:
		return fmt.Errorf("application id %#x: %w", application, record.ErrForeign)
	case version > len(steps):
		return fmt.Errorf("version %d, this program knows %d: %w", version, len(steps), record.ErrNewer)
	case version < len(steps) && readOnly:
		return fmt.Errorf("version %d, this program needs %d: %w", version, len(steps), record.ErrOlder)
	}
	return nil
}

// migrate brings the file to the version of steps, after keeping a copy of what
// was there, all in one transaction: of several programs that open the file
// together one does it, the others wait and find it done, and nobody ever sees a
// version in between.
func (s *file) migrate(ctx context.Context, steps []string) error {
	version, err := versionOf(ctx, s.writer)
	if err != nil || version == len(steps) {
		return err
	}
	return s.write(ctx, "migrate", func(tx *transaction) error {
		if version, err = versionOf(ctx, tx); err != nil || version >= len(steps) {
			return err
		}
		if version > 0 && !s.opts.noCopy {
			if err := s.keepBefore(ctx, len(steps)); err != nil {
				return fmt.Errorf("keep a copy before migrating: %w", err)
			}
		}
		for i, statements := range steps[version:] {
			mark := fmt.Sprintf("\nPRAGMA application_id = %d; PRAGMA user_version = %d;", applicationID, version+i+1)
			if _, err := tx.ExecContext(ctx, statements+mark); err != nil {
				return fmt.Errorf("migrate to version %d: %w", version+i+1, err)
			}
		}
		s.opts.Logger.Info("history is up to date", "file", s.path, "version", len(steps))
		return nil
	})
}

// versionOf is the number of steps that were applied to the file.
func versionOf(ctx context.Context, q querier) (version int, err error) {
	err = q.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version)
	return version, err
}

// keepBefore keeps a copy of the file as it is before it is migrated. It is read
// beside the transaction that migrates.
func (s *file) keepBefore(ctx context.Context, version int) error {
	name := fmt.Sprintf("%s.before-version-%d-%s", s.path, version, fileStamp(s.opts.Now()))
	if err := s.copyTo(ctx, name, false); err != nil {
		return err
	}
	s.opts.Logger.Info("kept a copy of the history before migrating it", "file", name)
	return nil
}
