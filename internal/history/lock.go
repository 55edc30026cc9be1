package history

import (
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"

	"coilkeep/internal/record"
)

// errHeld is what tryLock returns when another process holds the lock.
var errHeld = errors.New("held by another process")

// lockPath names the file whose lock tells who serves a history. The lock is
// not taken on the history itself, because closing any descriptor of that file
// would drop the locks of SQLite. The file stays behind when the lock is given
// up: removing it would let two owners lock two files of one name.
func lockPath(history string) string { return history + ".lock" }

// lock takes the lock and leaves the number of this process in the file, for
// people to read. Closing the file, or the end of the process, gives it up.
func lock(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		if errors.Is(err, os.ErrPermission) {
			return nil, fmt.Errorf("%w (%w)", record.ErrReadOnly, err)
		}
		return nil, err
	}
	if err := tryLock(f); err != nil {
		if errors.Is(err, errHeld) {
			err = fmt.Errorf("process %s: %w", lockHolder(path), record.ErrLocked)
		}
		return nil, errors.Join(err, f.Close())
	}
	if err := writeHolder(f); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

func writeHolder(f *os.File) error {
	if err := f.Truncate(0); err != nil {
		return err
	}
	_, err := f.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
	return err
}

// lockHolder is the process number in the lock file, or "unknown".
func lockHolder(path string) string {
	text, err := os.ReadFile(path)
	number := strings.TrimSpace(string(text))
	if err != nil || number == "" {
		return "unknown"
	}
	return number
}
